"""Watching a folder: takes whole files once, sets bad ones aside, survives what happens in factories."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from cli.made_logs import write_log

from tracekit.errors import OutputError
from tracekit.fleet import watch as watching
from tracekit.fleet.batch import Job
from tracekit.fleet.watch import Seen, Watch, look, take, watch
from tracekit.history.place import LocalPlace, open_place
from tracekit.history.read import read_rows
from tracekit.model.station import Station, StationFacts
from tracekit.options.watch import WatchOptions

JAN_US = 1_735_689_600_000_000
QUICK = WatchOptions(poll_s=0.01, settle_s=0.0)


class Heard:
    """Collects what the watch says."""

    def __init__(self) -> None:
        self.events: list[tuple[str, dict[str, object]]] = []

    def __call__(self, event: str, facts: Mapping[str, object]) -> None:
        """Keep one event."""
        json.dumps(facts)
        self.events.append((event, dict(facts)))

    def names(self) -> list[str]:
        """The events' names."""
        return [name for name, _ in self.events]


@pytest.fixture
def heard() -> Heard:
    return Heard()


@pytest.fixture
def watched(tmp_path: Path) -> Watch:
    """A folder to watch, with a history beside it; logs are dated by hand."""
    drop = tmp_path / "drop"
    drop.mkdir()
    station = Station(station=StationFacts(name="Glaze 1"))
    history = tmp_path / "history"
    template = Job(log="", folder=tmp_path, stations=(station,), history=str(history), started_us=JAN_US)
    return Watch(folder=drop, template=template, out=tmp_path / "out", notes=LocalPlace(history), options=QUICK)


def logs_in(watched: Watch) -> int:
    """Logs that the history counts."""
    return len(read_rows(open_place(watched.template.history)).table.categories["log_id"])


def test_a_log_is_done_once(watched: Watch, heard: Heard) -> None:
    """A dropped log gives a page and goes into the history; the next run finds nothing to do."""
    write_log(watched.folder / "a.csv")
    assert watch(watched, heard, once=True) == 1
    assert heard.names() == ["watching", "done"]
    assert heard.events[1][1]["file"] == "a.csv"
    assert (watched.out / "a" / "report.html").exists()
    assert logs_in(watched) == 1
    again = Heard()
    assert watch(watched, again, once=True) == 0
    assert again.names() == ["watching"]


def test_a_lost_note_or_a_second_name_changes_nothing(watched: Watch, heard: Heard) -> None:
    """Done again after its note was lost, or under another name, a log is still counted once."""
    write_log(watched.folder / "a.csv")
    watch(watched, heard, once=True)
    for note in (Path(watched.template.history) / "watched").rglob("*.json"):
        note.unlink()
    (watched.folder / "b.csv").write_bytes((watched.folder / "a.csv").read_bytes())
    assert watch(watched, heard, once=True) == 2
    assert logs_in(watched) == 1


def test_a_changed_file_is_done_again(watched: Watch, heard: Heard) -> None:
    """A logger that writes a new recording under the old name is followed."""
    write_log(watched.folder / "a.csv", seed=1)
    watch(watched, heard, once=True)
    write_log(watched.folder / "a.csv", seed=2)
    os.utime(watched.folder / "a.csv", (1, 1))
    assert watch(watched, heard, once=True) == 1
    assert logs_in(watched) == 2


def test_a_bad_file_is_set_aside_with_its_reason(watched: Watch, heard: Heard) -> None:
    """Files that are no logs are moved aside, each with its reason; nothing there is overwritten; good ones go on."""
    (watched.folder / "bad.csv").write_text("hello\n")
    (watched.folder / "half.parquet").write_bytes(b"PAR1" + b"x" * 50)
    write_log(watched.folder / "good.csv")
    assert watch(watched, heard, once=True) == 1
    (watched.folder / "bad.csv").write_text("hello again\n")
    watch(watched, heard, once=True)
    aside = watched.folder / "set-aside"
    names = sorted(p.name for p in aside.iterdir())
    assert names == [
        "2-bad.csv", "2-bad.csv.reason.txt", "bad.csv", "bad.csv.reason.txt", "half.parquet", "half.parquet.reason.txt",
    ]  # fmt: skip
    assert (aside / "bad.csv.reason.txt").read_text(encoding="utf-8").strip()
    assert sorted(p.name for p in watched.folder.iterdir() if p.is_file()) == ["good.csv"]


def test_a_growing_file_is_waited_for(watched: Watch) -> None:
    """A file counts as complete only when size and time have stayed the same for the settling time."""
    slow = replace(watched, options=WatchOptions(settle_s=10.0))
    path = watched.folder / "a.csv"
    seen: dict[str, Seen] = {}
    path.write_text("time_s")
    assert look(slow, seen, 0.0) == ([], 1)
    path.write_text("time_s,pressure_kpa")
    assert look(slow, seen, 11.0) == ([], 1)
    assert look(slow, seen, 20.0) == ([], 1)
    assert look(slow, seen, 21.5) == ([path], 0)


def test_what_is_no_log_is_left_alone(watched: Watch, tmp_path: Path) -> None:
    """Empty, hidden, partial and foreign files, folders and links are not touched."""
    for name in ("empty.csv", ".hidden.csv", "~lock.csv", "photo.jpg", "a.csv.part"):
        (watched.folder / name).write_bytes(b"" if name == "empty.csv" else b"x")
    (watched.folder / "folder.csv").mkdir()
    outside = tmp_path / "secret.csv"
    outside.write_text("x")
    (watched.folder / "link.csv").symlink_to(outside)
    assert look(watched, {}, 100.0) == ([], 0)


def test_a_file_that_vanishes_is_no_error(watched: Watch, heard: Heard) -> None:
    """A file removed between the look and the taking is passed over."""
    assert take(watched, watched.folder / "gone.csv", heard) is False
    assert heard.events == []


def test_a_file_that_changes_while_read_is_taken_later(
    watched: Watch, heard: Heard, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file that fails because it was rewritten meanwhile is not set aside."""
    path = watched.folder / "a.csv"
    path.write_text("half")
    original = watching.run_job

    def rewriting(job: Job) -> object:
        write_log(path)
        Path(job.log).with_name("half.csv").write_text("half")
        return original(replace(job, log=str(path.with_name("half.csv"))))

    monkeypatch.setattr(watching, "run_job", rewriting)
    assert take(watched, path, heard) is False
    assert heard.names() == ["changed_while_read"]
    assert path.exists()


def test_an_internal_error_ends_one_file_not_the_watch(
    watched: Watch, heard: Heard, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever a file makes go wrong inside, it is set aside and the watch goes on; an interrupt is let through."""
    write_log(watched.folder / "a.csv")

    def broken(job: Job) -> object:
        raise ZeroDivisionError("x")

    monkeypatch.setattr(watching, "run_job", broken)
    assert watch(watched, heard, once=True) == 0
    assert "internal error, ZeroDivisionError" in str(heard.events[-1][1]["reason"])

    def interrupted(job: Job) -> object:
        raise KeyboardInterrupt("stop")

    write_log(watched.folder / "a.csv")
    monkeypatch.setattr(watching, "run_job", interrupted)
    with pytest.raises(KeyboardInterrupt, match="stop"):
        watch(watched, heard, once=True)
    assert (watched.folder / "a.csv").exists()


def test_a_full_disk_is_waited_out(watched: Watch, heard: Heard, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where results cannot be written the log stays, the watch says so and tries again; with --once it ends with the error."""
    write_log(watched.folder / "a.csv")
    original = watching.run_job
    tries = []

    def full(job: Job) -> object:
        tries.append(job)
        if len(tries) < 3:
            raise OutputError("disk full")
        return original(job)

    monkeypatch.setattr(watching, "run_job", full)
    with pytest.raises(OutputError, match="disk full"):
        watch(watched, heard, once=True)
    assert (watched.folder / "a.csv").exists()

    class EnoughError(Exception):
        """Ends the endless watch of this test."""

    def say(event: str, facts: Mapping[str, object]) -> None:
        heard(event, facts)
        if event == "done":
            raise EnoughError(event)

    with pytest.raises(EnoughError, match="done"):
        watch(watched, say)
    assert heard.names().count("cannot_write") == 2
    assert logs_in(watched) == 1


def test_a_log_without_date_needs_one_or_the_files(watched: Watch, heard: Heard) -> None:
    """A log without dates is set aside with what to do; with `date_by_file` its file's last change dates it."""
    undated = replace(watched, template=replace(watched.template, started_us=None))
    write_log(watched.folder / "a.csv")
    watch(undated, heard, once=True)
    assert "--started" in str(heard.events[-1][1]["reason"])
    write_log(watched.folder / "a.csv")
    os.utime(watched.folder / "a.csv", (1_700_000_000, 1_700_000_000))
    assert watch(replace(undated, date_by_file=True), heard, once=True) == 1
    start = read_rows(open_place(watched.template.history)).table.codes("start_time")
    assert set((start // 1_000_000).tolist()) == {1_700_000_000}


def test_the_command_for_an_alarm(watched: Watch, heard: Heard, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The command runs without a shell for logs that are bad enough, knows log and severity, and is ended when too slow."""
    write_log(watched.folder / "a.csv")
    original = watching.run_job
    monkeypatch.setattr(watching, "run_job", lambda job: replace(original(job), severity="major"))
    out = tmp_path / "told.txt"
    script = f"import os; open({str(out)!r}, 'w').write(os.environ['TRACEKIT_LOG'] + os.environ['TRACEKIT_SEVERITY'])"
    calling = replace(watched, command=(sys.executable, "-c", script))
    watch(calling, heard, once=True)
    assert out.read_text() == "a.csvmajor"
    assert heard.events[-1] == ("command_ran", {"file": "a.csv", "status": 0})
    write_log(watched.folder / "b.csv", seed=3)
    slow = replace(
        calling, command=(sys.executable, "-c", "import time; time.sleep(60)"), options=replace(QUICK, command_s=0.5)
    )
    begun = time.monotonic()
    watch(slow, heard, once=True)
    assert heard.names()[-1] == "command_too_slow"
    assert time.monotonic() - begun < 20
    write_log(watched.folder / "c.csv", seed=4)
    watch(replace(calling, command=("/no/such/program",)), heard, once=True)
    assert heard.names()[-1] == "command_failed"
    write_log(watched.folder / "d.csv", seed=5)
    watch(replace(calling, alarm_from=("critical",)), heard, once=True)
    assert heard.names()[-1] == "done"


def test_killed_in_the_middle_it_goes_on(tmp_path: Path) -> None:
    """Killed while it works, the watch completes everything at the next start, each log once; interrupted it ends with 130."""
    drop, history = tmp_path / "drop", tmp_path / "history"
    drop.mkdir()
    for n in range(4):
        write_log(drop / f"{n}.csv", seed=n)
    call = [
        sys.executable, "-m", "tracekit", "watch", str(drop), "--history", str(history), "--out", str(tmp_path / "out"),
        "--settle", "0", "--poll", "0.1", "--date-by-file",
    ]  # fmt: skip
    running = subprocess.Popen(call, stdout=subprocess.PIPE, text=True)
    assert running.stdout is not None
    while '"done"' not in running.stdout.readline():
        pass
    running.send_signal(signal.SIGKILL)
    running.communicate()
    running = subprocess.Popen(call, stdout=subprocess.PIPE, text=True)
    assert running.stdout is not None
    lines = [json.loads(running.stdout.readline())]
    while sum(line["event"] == "done" for line in lines) < 3:
        lines.append(json.loads(running.stdout.readline()))
    running.send_signal(signal.SIGINT)
    running.communicate()
    assert running.returncode == 130
    done = subprocess.run([*call, "--once"], capture_output=True, text=True, check=True)
    assert len(read_rows(open_place(history)).table.categories["log_id"]) == 4
    assert done.stderr == ""
