"""`tracekit history`, `trend` and `watch`: what they print, write and refuse, and how they end."""

import csv
import json
import math
from pathlib import Path

import pytest
from history.made_up_records import simple_record
from made_logs import write_log

from tracekit import cli
from tracekit.cli.trend import _end_of
from tracekit.history.add import add_record
from tracekit.history.digest import _with_interval
from tracekit.model.station import Limit, Station


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A history of 40 days of a leak that grows by 3 % a day, with a limit."""
    folder = tmp_path_factory.mktemp("made") / "history"
    file = Station(limits={"decay_rate_kpa_s": Limit(max=8.0)})
    for number in range(40):
        add_record(folder, simple_record(number, decay=1.5 * 1.03**number * (1 + 0.02 * (-1) ** number)), stations=file)
    return str(folder)


def test_history_lists(made: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Without options the stations are listed, as text or JSON, and nothing is changed."""
    before = sorted(Path(made).rglob("*"))
    assert cli.run(["history", made]) == 0
    assert "1 station, 40 logs" in capsys.readouterr().out
    assert cli.run(["history", made, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["stations"][0]["logs"] == 40
    assert sorted(Path(made).rglob("*")) == before


def test_history_keeps_order(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Check, compact, event, forget and export each say what they did; damage ends with 2."""
    folder = tmp_path / "h"
    for number in range(12):
        add_record(folder, simple_record(number))
    place = str(folder)
    assert cli.run(["history", place, "--event", "2025-01-05 Glaze 1: cups changed", "--check"]) == 0
    assert "0 damaged" in capsys.readouterr().out
    assert cli.run(["history", place, "--compact"]) == 0
    assert "files merged into" in capsys.readouterr().out
    assert cli.run(["history", place, "--export", str(tmp_path / "x.csv")]) == 0
    with (tmp_path / "x.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {r["station"] for r in rows} == {"Glaze 1"}
    assert len({r["log_id"] for r in rows}) == 12
    assert cli.run(["history", place, "--forget", "--only", "Glaze 1", "--to", "2025-01-04"]) == 0
    assert "3 logs forgotten" in capsys.readouterr().out
    cli.run(["history", place])
    assert "9 logs" in capsys.readouterr().out
    victim = next((folder / "summaries").rglob("*.parquet"))
    victim.write_bytes(victim.read_bytes()[:-9])
    assert cli.run(["history", place, "--check"]) == 2
    assert victim.name in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["history", "nowhere"], "no history there"),
        (["history", "nowhere", "--compact"], "no history there"),
        (["history", "HERE", "--event", "cups changed"], "--event"),
        (["history", "HERE", "--forget"], "--only, --from or --to"),
        (["history", "HERE", "--from", "2025-01-01"], "--forget"),
        (["history", "HERE", "--forget", "--from", "2025-02-01", "--to", "2025-01-01"], "a time before"),
        (["history", "HERE", "--forget", "--from", "soon"], "no date"),
        (["history", "HERE", "--forget", "--only", "Glase 1"], 'Did you mean "Glaze 1"'),
        (["history", "HERE", "--forget", "--only", "Glaze 1", "--from", "2035-01-01"], "no log"),
        (["history", "HERE", "--event", "2025-01-05 Glase 1: cups changed"], 'Did you mean "Glaze 1"'),
        (["history", "HERE", "--export", "no-such-folder/x.csv"], "cannot be written"),
        (["watch", ".", "--history", "h", "--webhook", "ftp://works/x"], "--webhook"),
        (["watch", ".", "--history", "h", "--exec", "mail 'x"], "--exec"),
        (["watch", ".", "--history", "h", "--baseline", "nowhere.csv"], "nowhere.csv"),
        (["watch", ".", "--history", "h", "--recursive"], "lies in the watched folder"),
        (["trend", "nowhere"], "no history there"),
        (["trend", "HERE", "--limit", "decay_rate<=4"], "Did you mean"),
        (["trend", "HERE", "--limit", "four"], "a measure, <= or >=, a number"),
        (["trend", "HERE", "--limit", "decay_rate_kpa_s<=1e"], "a number"),
        (["trend", "HERE", "--as-of", "now"], "no date"),
        (["watch", "nowhere", "--history", "HERE"], "no such folder"),
    ],
)
def test_refusals(
    made: str, arguments: list[str], said: str, capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Bad usage ends with 2 and one message that says what to do."""
    monkeypatch.chdir(tmp_path)
    assert cli.run([made if a == "HERE" else a for a in arguments]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert said in told.err
    assert "Traceback" not in told.err
    assert len(told.err.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_trend_writes_and_says(made: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command writes trend.json, the fleet's page and a page per station, and prints the digest."""
    out = tmp_path / "out"
    assert cli.run(["trend", made, "--out", str(out)]) == 0
    told = capsys.readouterr().out
    assert " growing" in told or "in alarm" in told
    assert {p.name for p in out.iterdir()} == {"trend.json", "report.html", "stations"}
    assert [p.name for p in (out / "stations").iterdir()] == ["Glaze-1.html"]
    leak = json.loads((out / "trend.json").read_text(encoding="utf-8"))["stations"][0]["measures"]["decay_rate_kpa_s"]
    slope = leak["relative_slope"]
    assert slope["lower"] - 1e-6 < math.log(1.03) < slope["upper"] + 1e-6
    assert leak["crossing"]["earliest"] < leak["crossing"]["date"] < leak["crossing"]["latest"]


def test_trend_json_and_digest(made: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """--json prints the document that is written; --format prints the digest and writes nothing."""
    monkeypatch.chdir(tmp_path)
    assert cli.run(["trend", made, "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    written = json.loads(Path("tracekit-out/trend/trend.json").read_text(encoding="utf-8"))
    assert printed | {"created": ""} == written | {"created": ""}
    monkeypatch.chdir(tmp_path / "tracekit-out")
    for form in ("text", "json"):
        assert cli.run(["trend", made, "--format", form]) == 0
        assert "Glaze 1" in capsys.readouterr().out
    assert [p.name for p in Path().iterdir()] == ["trend"]


def test_limits_of_the_command_line_come_last(made: str, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A limit given on the command line counts only where the history has none."""
    rules = ["--limit", "decay_rate_kpa_s<=2", "--limit", "evacuation_time_s<=0.1"]
    assert cli.run(["trend", made, "--json", "--out", str(tmp_path), *rules]) == 0
    measures = json.loads(capsys.readouterr().out)["stations"][0]["measures"]
    assert measures["decay_rate_kpa_s"]["limit"] == {"max": 8.0, "severity": "major", "state": "within", "source": "history"}
    assert measures["evacuation_time_s"]["limit"]["state"] == "over"


def test_watch_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line of JSON per event, each with its time; the history is there afterwards."""
    (tmp_path / "drop").mkdir()
    write_log(tmp_path / "drop" / "a.csv")
    call = ["watch", str(tmp_path / "drop"), "--history", str(tmp_path / "h"), "--out", str(tmp_path / "out"),
            "--once", "--settle", "0", "--poll", "0.1", "--date-by-file"]  # fmt: skip
    assert cli.run(call) == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [line["event"] for line in lines] == ["watching", "done"]
    assert all(line["time"].endswith("+00:00") for line in lines)
    assert cli.run(["history", str(tmp_path / "h")]) == 0


def test_a_date_alone_is_its_whole_day() -> None:
    """A trend as of a day counts the logs of that day; as of a time, none after it."""
    day_us = 86_400 * 1_000_000
    assert _end_of("1970-01-02") == 2 * day_us - 1
    assert _end_of("1970-01-02T06:00Z") == day_us + day_us // 4


@pytest.mark.parametrize(("figures", "told"), [
    ((4.04, 2.1, 7.78), "4 (2 to 8)"),
    ((0.539, 0.337, 0.816), "0.5 (0.3 to 0.9)"),
    ((1234.5, 1190.0, 1280.0), "1230 (1190 to 1280)"),
    ((-0.004, -0.12, 0.11), "0.0 (-0.2 to 0.2)"),
    ((2.0, 2.0, 2.0), "2"),
])  # fmt: skip
def test_the_digest_tells_no_digit_that_the_interval_leaves_open(figures, told):
    """Figures stop at the first digit of half their interval, whose bounds are rounded outward."""
    assert _with_interval(*figures) == told


def test_an_event_given_to_trend_is_sent_to_the_history(made: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Trend only reads: the message names the command that notes a repair, whole."""
    assert cli.run(["trend", made, "--event", "2025-01-05 Glaze 1: cups changed"]) == 2
    assert f'tracekit history {made} --event "2025-01-05 Glaze 1: cups changed"' in capsys.readouterr().err
