"""Several logs and several station files on the command line: one recording, or separate ones, as their times say."""

import hashlib
import json
from pathlib import Path

import pytest
from made_logs import write_log

from tracekit import cli


def _cut(log: Path, *cuts: int) -> list[Path]:
    """A log as files of some rows each, in a folder of their own."""
    head, *rows = log.read_text(encoding="utf-8").splitlines()
    folder = log.parent / "pieces"
    folder.mkdir()
    paths = []
    for k, (start, stop) in enumerate(zip((0, *cuts), (*cuts, len(rows)), strict=True)):
        paths.append(folder / f"piece{9 - k}.csv")
        paths[-1].write_text("\n".join([head, *rows[start:stop]]) + "\n", encoding="utf-8")
    return paths


def _document(capsys: pytest.CaptureFixture[str]) -> dict[str, object]:
    return json.loads(capsys.readouterr().out)


@pytest.mark.parametrize("way", ["files", "folder", "glob"])
def test_files_that_continue_are_diagnosed_as_one(tmp_path: Path, capsys: pytest.CaptureFixture[str], way: str) -> None:
    """Pieces of a log, as files, folder or glob, give one diagnosis: that of the whole log, but for its hash."""
    log = write_log(tmp_path / "loader.csv")
    paths = _cut(log, 1500, 2900)
    named = {
        "files": [str(p) for p in paths],
        "folder": [str(paths[0].parent)],
        "glob": [str(tmp_path / "pieces/*.csv")],
    }
    results = []
    for logs in ([str(log)], named[way]):
        assert cli.run(["diagnose", *logs, "--out", str(tmp_path / "out"), "--json"]) == 0
        results.append(_document(capsys))
    whole, pieces = (r["logs"][0] for r in results)
    ids = sorted(hashlib.sha256(p.read_bytes()).hexdigest() for p in paths)
    assert pieces["log_id"] == hashlib.sha256("\n".join(ids).encode()).hexdigest()
    assert pieces["rows_used"] == whole["rows_used"]
    assert results[0]["stations"][0]["summary"] == results[1]["stations"][0]["summary"]


def test_inspect_tells_recordings_apart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Inspecting shows one recording for the pieces of a log and another for a log of other samples."""
    paths = _cut(write_log(tmp_path / "loader.csv"), 1500)
    other = write_log(tmp_path / "other.csv", seed=5)
    assert cli.run(["inspect", *map(str, paths), str(other), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [one["source"] for one in found] == ["piece9.csv, piece8.csv", "other.csv"]


def test_station_files_of_a_folder_find_their_logs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder of station files, or several --station, give each log the one that bears its name."""
    (tmp_path / "stations").mkdir()
    for name, volume in (("left", 50.0), ("right", 70.0)):
        text = f'[station]\nname = "{name}"\nvolume_ml = {volume}\n'
        (tmp_path / "stations" / f"{name}.toml").write_text(text, encoding="utf-8")
    logs = [str(write_log(tmp_path / f"{n}.csv", seed=k)) for k, n in enumerate(("right", "left"), 1)]
    given = [
        "--station",
        str(tmp_path / "stations" / "left.toml"),
        "--station",
        str(tmp_path / "stations" / "right.toml"),
    ]
    for stations in (["--station", str(tmp_path / "stations")], given):
        arguments = ["diagnose", *logs, "--out", str(tmp_path / "out"), "--json", "--workers", "1", *stations]
        assert cli.run(arguments) == 0
        found = [json.loads(line)["stations"][0] for line in capsys.readouterr().out.splitlines()]
        assert [s["station"] for s in found] == ["right", "left"]
        rates = [s["leak"] for s in found]
        ratio = [r["leak_rate_pa_m3_s"]["value"] / r["decay_rate_kpa_s"]["value"] for r in rates]
        assert ratio == pytest.approx([0.07, 0.05])


def test_station_files_of_which_none_belongs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Several station files of which none bears the log's name are refused with both names."""
    for name in "AB":
        (tmp_path / f"{name}.toml").write_text(f'[station]\nname = "{name}"\n', encoding="utf-8")
    log = write_log(tmp_path / "loader.csv")
    arguments = ["diagnose", str(log), "--out", str(tmp_path / "out")]
    given = [a for n in "AB" for a in ("--station", str(tmp_path / f"{n}.toml"))]
    assert cli.run([*arguments, *given]) == 2
    assert 'found "A", "B"; expected the name of a station in the log: "loader"' in capsys.readouterr().err


def test_inspect_tells_bad_logs_beside_good_ones(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of several logs the good ones are shown, the open and the bad ones told, each in one message, and the end is 2."""
    good = write_log(tmp_path / "good.csv")
    rows = good.read_text(encoding="utf-8").splitlines()[1:]
    (tmp_path / "open.csv").write_text("\n".join(["count,AI1,DI0,DI1,DI2", *rows]) + "\n", encoding="utf-8")
    (tmp_path / "bad.csv").write_text("nothing here\n", encoding="utf-8")
    names = ("good.csv", "open.csv", "bad.csv")
    assert cli.run(["inspect", *(str(tmp_path / n) for n in names), "--json"]) == 2
    told = capsys.readouterr()
    found = json.loads(told.out)
    assert [(one["source"], one["decided"]) for one in found] == [
        ("good.csv", True),
        ("open.csv", False),
        ("bad.csv", False),
    ]
    assert [line.split(":")[1].strip() for line in told.err.splitlines() if line.startswith("tracekit: ")] == [
        "open.csv",
        "bad.csv",
    ]
    assert found[1]["questions"]
