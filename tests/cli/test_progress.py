"""Progress inside one long log: what it says, when it says nothing, and that it counts what was read."""

import gzip
import io
import zipfile
from types import SimpleNamespace

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from history.made_up_records import simple_record
from made_logs import write_log

from tracekit import cli
from tracekit.cli import progress
from tracekit.cli.heard_place import heard_place
from tracekit.history.add import add_record
from tracekit.history.place import open_place
from tracekit.pipeline import measure
from tracekit.read.expected import expected_rows


class Terminal(io.StringIO):
    """A standard error that a person looks at."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("rows", "total", "seconds", "said"),
    [
        (1_200_000, 3_604_000, 0.75, "1 200 000 of about 3 600 000 rows, 1.6 million a second, 2 s left"),
        (45_678, 9_000_000, 1.0, "45 700 of about 9 000 000 rows, 45 700 a second, 3 min left"),
        (812, 1000, 2.0, "812 of about 1 000 rows, 406 a second, 0 s left"),
        (2_000_000, None, 4.0, "2 000 000 rows, 500 000 a second"),
        (1_100, 1_000, 1.0, "1 100 rows, 1 100 a second"),  # more than was expected: no time is made up
    ],
)
def test_rows_rate_and_time_left(rows, total, seconds, said):
    """Rows read, their rate, and what is left of the total at that rate; no guess where there is no total."""
    assert progress.rows_pace(rows, total, seconds) == said


def test_expected_rows_by_kind_of_file(tmp_path):
    """Parquet tells its rows, text and gzip nearly; two files add up; what does not show is None."""
    log = write_log(tmp_path / "a.csv", cycles=20)
    assert expected_rows([log]) == pytest.approx(8001, rel=0.02)
    assert expected_rows([log, str(log)]) == pytest.approx(16002, rel=0.02)
    packed = tmp_path / "a.csv.gz"
    packed.write_bytes(gzip.compress(log.read_bytes()))
    assert expected_rows([packed]) == pytest.approx(8001, rel=0.1)
    table = tmp_path / "a.parquet"
    pq.write_table(pa.table({"pressure_kpa": [1.0] * 1234}), table)
    assert expected_rows([table]) == 1234
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.write(log, "a.csv")
    (tmp_path / "broken.csv.gz").write_bytes(b"\x1f\x8bnot really")
    (tmp_path / "broken.parquet").write_bytes(b"PAR1not really")
    for name in ("a.zip", "broken.csv.gz", "broken.parquet", "absent.csv", "-"):
        assert expected_rows([tmp_path / name]) is None
    assert expected_rows(["-"]) is None


def test_the_hook_counts_every_row_that_was_read(tmp_path):
    """What is heard grows and ends at the rows that the facts of the log say."""
    heard = []
    found = measure(write_log(tmp_path / "a.csv", cycles=20), heard=heard.append)
    assert heard == sorted(heard)
    assert heard[-1] == found.facts.rows_read == 8000


@pytest.mark.parametrize("command", ["diagnose", "compare"])
def test_a_person_sees_progress_and_a_clean_line_after(command, tmp_path, monkeypatch):
    """The last line says how far the log is, in 79 characters; it is empty again when results are printed."""
    terminal = Terminal()
    monkeypatch.setattr("sys.stderr", terminal)
    monkeypatch.setattr(progress, "_PATIENCE_S", 0.0)
    monkeypatch.setattr(progress, "_EVERY_S", 0.0)
    monkeypatch.chdir(tmp_path)
    logs = [
        str(write_log(tmp_path / f"{name}.csv", decay_kpa_s=rate)) for name, rate in (("first", 1.0), ("second", 1.4))
    ]
    assert cli.run([command, *(logs if command == "compare" else logs[:1]), "--quiet"]) == 0
    lines = terminal.getvalue().split("\r\x1b[2K")
    told = [line for line in lines if "rows" in line]
    assert told
    assert all(line.startswith(("first.csv: ", "second.csv: ")) and len(line) < 80 for line in told)
    assert lines[-1] == ""


def test_nothing_is_shown_or_looked_up_where_output_is_piped(tmp_path, monkeypatch, capsys):
    """Without a terminal standard error stays empty and no file is looked at for its rows."""
    monkeypatch.setattr(progress, "expected_rows", lambda paths: pytest.fail("nobody looks"))
    assert cli.run(["diagnose", str(write_log(tmp_path / "a.csv")), "--out", str(tmp_path / "out"), "--quiet"]) == 0
    assert capsys.readouterr().err == ""


def test_progress_waits_until_a_rate_is_known(monkeypatch):
    """In the first half second nothing flickers by."""
    screen = Terminal()
    monkeypatch.setattr("sys.stderr", screen)
    clock = iter([100.0, 100.49, 100.51])
    monkeypatch.setattr(progress, "time", SimpleNamespace(monotonic=lambda: next(clock)))
    seen = progress.ReadingProgress("a.csv", 1000)
    seen(500)
    assert screen.getvalue() == ""
    seen(510)
    assert "510 of about 1 000 rows" in screen.getvalue()


@pytest.mark.parametrize("command", ["inspect", "volume", "tune"])
def test_other_commands_that_read_a_whole_log_show_it_too(command, tmp_path, monkeypatch):
    """Inspecting, tuning and finding a volume tell the rows read, and clear the line when they have read."""
    logs = [str(write_log(tmp_path / f"{name}.csv", cycles=20)) for name in ("a", "b")]
    arguments = {"volume": [*logs, "--orifice-mm", "0.3"]}.get(command, logs[:1])
    seen = Terminal()
    monkeypatch.setattr("sys.stderr", seen)
    monkeypatch.setattr(progress, "_PATIENCE_S", 0.0)
    monkeypatch.setattr(progress, "_EVERY_S", 0.0)
    cli.run([command, *arguments, "--out", str(tmp_path / "out"), "--quiet"])
    assert "rows, " in seen.getvalue()
    assert "\r\x1b[2K" in seen.getvalue().split("a second")[-1]


def test_several_logs_to_tune_are_counted(tmp_path, monkeypatch):
    """Between the logs it is said how many are done and what is left; a step without rows says what it does."""
    logs = [str(write_log(tmp_path / f"{name}.csv", cycles=20)) for name in ("a", "b", "c")]
    seen = Terminal()
    monkeypatch.setattr("sys.stderr", seen)
    monkeypatch.setattr(progress, "_PATIENCE_S", 0.0)
    monkeypatch.setattr(progress, "_EVERY_S", 0.0)
    assert cli.run(["tune", *logs, "--out", str(tmp_path / "out"), "--quiet"]) == 0
    lines = seen.getvalue().split("\r\x1b[2K")
    assert [line.split(", ")[0] for line in lines if " of 3 logs" in line] == ["tune: 1 of 3 logs", "tune: 2 of 3 logs"]
    assert sum("trying settings" in line for line in lines) == 3
    assert lines[-1] == ""


@pytest.mark.parametrize("act", [[], ["--check"], ["--compact"], ["--export", "out.csv"]])
def test_long_work_on_a_history_counts_its_files(act, tmp_path, monkeypatch):
    """Listing, checking, merging and saving a history tell the files read of those that are there; then the line is clear."""
    place = tmp_path / "history"
    for number in range(6):
        add_record(place, simple_record(number))
    folders = ("summaries",) if act[:1] in ([], ["--export"]) else ("summaries", "cycles")
    files = sum(len(list((place / folder).rglob("*.parquet"))) for folder in folders)
    seen = Terminal()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stderr", seen)
    monkeypatch.setattr(progress, "_PATIENCE_S", 0.0)
    monkeypatch.setattr(progress, "_EVERY_S", 0.0)
    assert cli.run(["history", str(place), *act, "--quiet"]) == 0
    lines = seen.getvalue().split("\r\x1b[2K")
    assert [line.split(",")[0] for line in lines if line][-1] == f"history: {files} of {files} files"
    assert lines[-1] == ""


def test_a_trend_counts_its_stations(tmp_path, monkeypatch):
    """Each station that is done is told, with how many there are; then the line is clear."""
    place = tmp_path / "history"
    for number in range(3):
        add_record(place, simple_record(number))
    seen = Terminal()
    monkeypatch.setattr("sys.stderr", seen)
    monkeypatch.setattr(progress, "_PATIENCE_S", 0.0)
    monkeypatch.setattr(progress, "_EVERY_S", 0.0)
    assert cli.run(["trend", str(place), "--out", str(tmp_path / "trend"), "--quiet"]) == 0
    lines = seen.getvalue().split("\r\x1b[2K")
    assert [line.split(",")[0] for line in lines if " stations" in line] == ["trend: 1 of 1 stations"]
    assert lines[-1] == ""


def test_a_history_is_not_counted_where_output_is_piped(tmp_path, capsys):
    """Without a terminal the place is the one that was opened."""
    place = open_place(tmp_path)
    assert heard_place(place) is place
    assert capsys.readouterr().err == ""


def test_counts_beyond_what_was_expected_are_not_told(monkeypatch):
    """A file that came while others were read does not make "7 of 6 files"."""
    seen = Terminal()
    monkeypatch.setattr("sys.stderr", seen)
    monkeypatch.setattr(progress, "_PATIENCE_S", 0.0)
    monkeypatch.setattr(progress, "_EVERY_S", 0.0)
    told = progress.CountedProgress("history", 6, "files")
    told(7)
    assert seen.getvalue() == ""
