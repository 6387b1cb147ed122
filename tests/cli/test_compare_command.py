"""`tracekit compare`, `verify`, `plan` and `volume`: what they write, print and refuse."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from made_logs import write_log

from tracekit import cli

# Typed by hand from the contract, so that no change of the program changes them.
ESTIMATE = {"value", "lower", "upper", "level", "unit", "n", "method"}
MEASURE = {"before", "after", "difference", "margin", "verdict"}
COMPARISON = {"measures", "rates", "obstacles", "primary", "rule", "verdict"}
PLAN = {"measure", "margin", "power", "cycles", "sample_interval_s", "looks", "rule", "sha256"}


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A station that leaks at 4 kPa/s, the same mended to 1 kPa/s, and a second day of that."""
    place = tmp_path_factory.mktemp("logs")
    write_log(place / "before.csv", decay_kpa_s=4.0, cycles=40)
    write_log(place / "after.csv", decay_kpa_s=1.0, cycles=40, seed=2)
    write_log(place / "later.csv", decay_kpa_s=1.0, cycles=40, seed=3)
    return place


@pytest.fixture(scope="module")
def sheet(logs: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sheet of the repair."""
    out = tmp_path_factory.mktemp("sheet")
    arguments = ["--primary", "decay_rate_kpa_s", "--accept", "decay_rate_kpa_s<=2", "--quiet", "--out", str(out)]
    assert cli.run(["compare", str(logs / "before.csv"), str(logs / "after.csv"), *arguments]) == 0
    return out


def _read(path: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return found


def test_the_files_of_a_comparison(sheet: Path) -> None:
    """The folder holds the sheet as page and as JSON; the repair is demonstrated and the limit kept."""
    assert {p.name for p in sheet.iterdir()} == {"comparison.json", "report.html"}
    document = _read(sheet / "comparison.json")
    assert document["verdict"] == "demonstrated"
    assert document["primary"] == "decay_rate_kpa_s"
    assert [a["decision"] for a in document["acceptance"]] == ["accepted"]
    assert "The improvement is demonstrated" in (sheet / "report.html").read_text(encoding="utf-8")


def test_every_key_of_the_contract(sheet: Path) -> None:
    """Names and nesting of comparison.json are those that other programs read."""
    document = _read(sheet / "comparison.json")
    assert document["schema"] == "tracekit.comparison/1"
    assert set(document) >= COMPARISON
    measures, rates = document["measures"], document["rates"]
    assert isinstance(measures, dict)
    assert isinstance(rates, dict)
    assert {"decay_rate_kpa_s", "evacuation_time_s", "hold_vacuum_kpa", "release_time_s"} <= set(measures)
    assert {"drop_share", "miss_share"} <= set(rates)
    for found in measures.values():
        assert set(found) >= MEASURE
        assert found["verdict"] in ("better", "worse", "equivalent", "undecided")
        assert ("cycles_needed" in found) is (found["verdict"] == "undecided")
        for name in ("before", "after", "difference"):
            assert set(found[name]) >= ESTIMATE or found[name]["status"] in ("withheld", "lower_bound", "upper_bound")
    leak = measures["decay_rate_kpa_s"]
    change = leak["after"]["value"] - leak["before"]["value"]
    assert leak["difference"]["value"] == pytest.approx(change, abs=0.3)  # sides are matched and adjusted apart
    for name in ("drop_share", "miss_share"):
        assert set(rates[name]) >= {"before", "after"}
        assert set(rates[name]["before"]) >= ESTIMATE
    assert all({"code", "text"} <= set(o) for o in document["obstacles"])


def test_the_screen(logs: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without options the answer, the measures and the place of the sheet are printed; --json prints the document."""
    out = tmp_path / "out"
    assert cli.run(["compare", str(logs / "before.csv"), str(logs / "after.csv"), "--out", str(out)]) == 0
    told = capsys.readouterr()
    assert "better" in told.out
    assert str(out / "report.html") in told.out
    assert told.err == ""
    assert cli.run(["compare", str(logs / "before.csv"), str(logs / "after.csv"), "--out", str(out), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["schema"] == "tracekit.comparison/1"


def test_where_it_goes_without_out(logs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without --out the folder is tracekit-out/ and AFTER's name."""
    monkeypatch.chdir(tmp_path)
    assert cli.run(["compare", str(logs / "before.csv"), str(logs / "after.csv"), "--quiet"]) == 0
    assert (tmp_path / "tracekit-out" / "after" / "comparison.json").exists()


def test_several_logs_a_side(logs: Path, tmp_path: Path) -> None:
    """Further logs join a side; the same file twice counts once."""
    more = ["--also-after", str(logs / "later.csv"), "--also-before", str(logs / "before.csv")]
    arguments = ["compare", str(logs / "before.csv"), str(logs / "after.csv"), *more, "--quiet", "--out", str(tmp_path)]
    assert cli.run(arguments) == 0
    document = _read(tmp_path / "comparison.json")
    assert [r["source"] for r in document["after"]] == ["after.csv", "later.csv"]
    assert len(document["before"]) == 1


def test_a_station_file_is_named_by_its_hash(logs: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The sheet names the station file's hash; checked with another file it does not hold."""
    file = tmp_path / "loader.toml"
    file.write_text('[station]\nname = "Loader 2"\nvolume_ml = 60.0\n', encoding="utf-8")
    pair = [str(logs / "before.csv"), str(logs / "after.csv")]
    assert cli.run(["compare", *pair, "--station", str(file), "--quiet", "--out", str(tmp_path / "out")]) == 0
    target = str(tmp_path / "out" / "comparison.json")
    assert list(_read(Path(target))["station_files"]) == ["loader.toml"]
    assert cli.run(["verify", target, *pair, "--station", str(file)]) == 0
    assert "holds" in capsys.readouterr().out
    assert cli.run(["verify", target, *pair]) == 2
    told = capsys.readouterr().err
    assert "the sheet names loader.toml (SHA-256 " in told
    assert "given: none; give --station FILE that the sheet was made with" in told
    assert "{" not in told


def test_the_command_of_a_sheet_works(logs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Logs and station files of one base name are told apart by their folders; the printed command is run as it is."""
    for side, ambient in (("before", 99.0), ("after", 102.0)):
        (tmp_path / side).mkdir()
        shutil.copy(logs / f"{side}.csv", tmp_path / side / "log.csv")
        text = f'[station]\nname = "Loader 2"\nambient_kpa = {ambient}\n'
        (tmp_path / side / "s.toml").write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    files = ["--station", "before/s.toml", "--station-after", str(tmp_path / "after" / "s.toml")]
    assert cli.run(["compare", "before/log.csv", str(tmp_path / "after/log.csv"), *files, "--quiet", "--out", "."]) == 0
    assert len(_read(tmp_path / "comparison.json")["station_files"]) == 2
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    command = page.partition("tracekit verify ")[2].partition("<")[0]
    assert command == (
        "comparison.json before/log.csv after/log.csv --station before/s.toml --station-after after/s.toml"
    )
    assert cli.run(["verify", *command.split()]) == 0


def test_verify(sheet: Path, logs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The sheet holds with its own logs, in either order and renamed."""
    copy = logs / "renamed.csv"
    shutil.copy(logs / "after.csv", copy)
    assert cli.run(["verify", str(sheet / "comparison.json"), str(copy), str(logs / "before.csv")]) == 0
    assert "2 logs, every hash" in capsys.readouterr().out


def test_verify_finds_what_was_altered(sheet: Path, logs: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A verdict that was changed, a log that was changed and a missing log end with 2 and one message."""
    altered = tmp_path / "altered.json"
    document = _read(sheet / "comparison.json") | {"verdict": "no_change"}
    altered.write_text(json.dumps(document), encoding="utf-8")
    pair = [str(logs / "before.csv"), str(logs / "after.csv")]
    assert cli.run(["verify", str(altered), *pair]) == 2
    assert "verdict is no_change on the sheet, demonstrated from the logs" in capsys.readouterr().err
    assert cli.run(["verify", str(sheet / "comparison.json"), pair[0], str(logs / "later.csv")]) == 2
    told = capsys.readouterr().err
    assert "later.csv is not the log" in told
    assert told.count("\n") == 1
    assert cli.run(["verify", str(sheet / "report.html"), *pair]) == 2
    assert "no figures of a diagnosis" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["compare", "before.csv"], "Add AFTER or --accept"),
        (["compare", "before.csv", "nowhere.csv"], "no such file"),
        (["compare", "before.csv", "after.csv", "--primary", "decay"], "a measure that can be compared"),
        (["compare", "before.csv", "after.csv", "--accept", "2"], "a measure, <= or >=, and a number"),
        (["compare", "before.csv", "after.csv", "--plan", "nowhere.json"], "a JSON file"),
        (["compare", "before.csv", "after.csv", "--only", "Loader 9"], "Correct --only"),
        (["plan", "--change", "much"], "per cent"),
        (["plan", "--measure", "leak"], "a measure that can be compared"),
        (["plan", "--change", "0.1%"], "More cycles do not help"),
        (["volume", "after.csv", "before.csv"], "--orifice-mm"),
        (["volume", "after.csv", "before.csv", "--orifice-mm", "0.3", "--only", "x"], "Correct --only"),
        (["volume", "before.csv", "after.csv", "--orifice-mm", "0.3"], "swapped"),
    ],
)
def test_refusals(
    arguments: list[str], words: str, logs: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What cannot be done ends with 2 and one message that says what to do."""
    monkeypatch.chdir(logs)
    assert cli.run(arguments) == 2
    told = capsys.readouterr().err
    assert words in told
    assert told.startswith("tracekit: ")
    assert told.count("\n") == 1


def test_one_recording_against_a_limit(logs: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--accept works with one recording alone, and the sheet of it can be checked."""
    arguments = ["--accept", "decay_rate_kpa_s<=2", "--out", str(tmp_path)]
    assert cli.run(["compare", str(logs / "before.csv"), *arguments]) == 0
    assert "The agreed limit is not kept" in capsys.readouterr().out
    assert cli.run(["verify", str(tmp_path / "comparison.json"), str(logs / "before.csv")]) == 0
    assert "1 log, every" in capsys.readouterr().out


def test_a_frozen_plan(logs: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan is frozen once, used by compare, and refused when it was altered."""
    frozen = tmp_path / "frozen.json"
    plan = ["plan", "--from", str(logs / "before.csv"), "--measure", "decay_rate_kpa_s", "--change", "50%"]
    assert cli.run([*plan, "--freeze", str(frozen), "--out", str(tmp_path / "plan")]) == 0
    assert "Frozen in" in capsys.readouterr().out
    assert {p.name for p in (tmp_path / "plan").iterdir()} == {"plan.json", "report.html"}
    assert cli.run([*plan, "--freeze", str(frozen), "--out", str(tmp_path / "plan")]) == 2
    assert "there is a file already" in capsys.readouterr().err
    pair = [str(logs / "before.csv"), str(logs / "after.csv")]
    assert cli.run(["compare", *pair, "--plan", str(frozen), "--quiet", "--out", str(tmp_path / "out")]) == 0
    document = _read(tmp_path / "out" / "comparison.json")
    assert document["primary_source"] == "frozen plan"
    assert document["plan"]["sha256"] == _read(frozen)["sha256"]
    assert cli.run(["verify", str(tmp_path / "out" / "comparison.json"), *pair]) == 0
    frozen.write_text(json.dumps(_read(frozen) | {"margin": 3.0}), encoding="utf-8")
    capsys.readouterr()
    assert cli.run(["compare", *pair, "--plan", str(frozen), "--quiet", "--out", str(tmp_path / "out")]) == 2
    assert "an unaltered plan" in capsys.readouterr().err


def test_a_plan_from_typical_figures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without a pilot the plan says that it rests on typical figures; --json prints it."""
    assert cli.run(["plan", "--json", "--looks", "3", "--out", str(tmp_path)]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["basis"] == "typical figures"
    assert set(document) >= PLAN | {"schema"}
    assert all(set(look) == {"cycles", "bound"} for look in document["looks"])
    assert len(document["looks"]) == 3
    assert cli.run(["plan", "--measure", "drop_share", "--change", "100%", "--quiet", "--out", str(tmp_path)]) == 0
    assert capsys.readouterr().out == ""


def test_volume(logs: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The volume is written, printed with its budget, and as JSON."""
    pair = [str(logs / "after.csv"), str(logs / "before.csv")]
    assert cli.run(["volume", *pair, "--orifice-mm", "0.1", "--discharge", "0.8", "--out", str(tmp_path)]) == 0
    assert capsys.readouterr().out.startswith("Volume: ")
    assert {p.name for p in tmp_path.iterdir()} == {"volume.json", "report.html"}
    by_flow = ["--orifice-c-dm3-s-bar", "0.00125", "--orifice-b", "0.4", "--orifice-u", "0.01"]
    assert cli.run(["volume", *pair, *by_flow, "--json", "--out", str(tmp_path)]) == 0
    document = json.loads(capsys.readouterr().out)
    assert set(document) >= {"schema", "volume_ml", "budget", "warnings"}
    assert set(document["volume_ml"]) == ESTIMATE
    assert all(set(line) >= {"source", "u", "share"} for line in document["budget"])
    assert sum(line["share"] for line in document["budget"]) == pytest.approx(1.0, abs=0.01)
    assert document["volume_ml"]["unit"] == "mL"
    # 3 kPa/s more through 0.156 · 0.1² · 0.8 dm³/(s·bar): 1.25e-11 m³/(s·Pa) · 1e5 · 101 325 / 3000 = 42 mL
    assert document["volume_ml"]["value"] == pytest.approx(42.0, rel=0.08)


def test_starts_of_logs_without_dates(logs: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--started and --started-after date both sides: the order in time is checked, and a wrong one told."""
    pair = ["compare", str(logs / "before.csv"), str(logs / "after.csv"), "--primary", "decay_rate_kpa_s", "--out", str(tmp_path)]
    early, late = "2025-03-02T06:00+00:00", "2025-03-04T06:00+00:00"
    assert cli.run([*pair, "--started", early, "--started-after", late]) == 0
    assert "has no date" not in capsys.readouterr().out
    assert "2025-03-02T06:00Z" in (tmp_path / "report.html").read_text(encoding="utf-8")
    assert cli.run(["verify", str(tmp_path / "comparison.json"), *pair[1:3]]) == 0
    capsys.readouterr()
    assert cli.run(pair) == 0
    assert "has no date" in capsys.readouterr().out
    assert cli.run([*pair, "--started", late, "--started-after", early]) == 0
    swapped = {o["code"] for o in _read(tmp_path / "comparison.json")["obstacles"]}
    assert any("order" in code or "time" in code for code in swapped), swapped


@pytest.mark.parametrize("more", [["--started", "someday"], ["--started", "2025-03-02", "--also-before", "later.csv"]])
def test_a_start_that_says_nothing_is_refused(more: list[str], logs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """What is no time, and one start for several logs: status 2 and a message that names the option."""
    monkeypatch.chdir(logs)
    assert cli.run(["compare", "before.csv", "after.csv", *more, "--out", str(tmp_path)]) == 2
    assert "--started" in capsys.readouterr().err
