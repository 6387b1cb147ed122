"""Power fails, disks fill, programs are killed: nothing lost, nothing doubled, no half-written output, the next run mends."""

import errno
import json
import os
import random
import shutil
import signal
import time
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hardness.child import child, process
from hardness.cuts import Acts, acting, ended_at
from hardness.made import csv_text, rows
from hardness.trial import command, leftovers
from history.made_up_records import log_id_of, simple_record

from tracekit.errors import OutputError
from tracekit.history.add import add_record
from tracekit.history.events import note_event, parse_event, read_events
from tracekit.history.place import open_place
from tracekit.history.read import read_rows
from tracekit.history.upkeep import check, compact
from tracekit.report.files import json_write, text_write, write_files

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="the system has no fork to kill programs with")
MOST_ACTS = 200


def output(name: str):
    """Results whose files tell which run wrote them: JSON, a table, a page, a page in a folder."""
    table = pa.table({"name": [name] * 3})
    writes = {
        "diagnosis.json": json_write({"name": name}), "cycles.parquet": lambda sink: pq.write_table(table, sink),
        "report.html": text_write(name), f"stations/{name}.html": text_write(name), "stations/x.html": text_write(name),
    }  # fmt: skip
    return lambda folder: write_files(folder, writes)


def sound(folder: Path) -> set[str]:
    """Reads every finished file of an output folder; gives what the pages say."""
    for path in folder.rglob("*"):
        if path.is_file() and not path.name.endswith(".part"):
            if path.suffix == ".json":
                json.loads(path.read_text(encoding="utf-8"))
            elif path.suffix == ".parquet":
                pq.read_table(path)
            elif path.suffix == ".html":
                assert path.read_text() in ("old", "new")
            else:
                assert path.read_bytes().endswith(b"\n"), path
    return {p.read_text() for p in folder.rglob("*.html")}


def test_output_survives_a_cut_at_every_act(tmp_path, tally):
    """Wherever the power fails while results replace older ones, each file is the old or the new one, whole; the next run mends."""
    for last in range(1, MOST_ACTS):
        folder = tmp_path / str(last)
        output("old")(folder)
        finished, early = ended_at(last, lambda folder=folder: output("new")(folder))
        pages = sound(folder)
        assert early == 0, "renamed before it was synced"
        for path in folder.rglob(".*.part"):
            os.utime(path, (1, 1))
        output("new")(folder)
        sound(folder)
        mended = (folder / "report.html").read_text() == "new" and leftovers(folder) == []
        word = "right" if pages <= {"old", "new"} and mended else "half-written"
        tally.add("cuts, output replaced", word, (last, pages, leftovers(folder)))
        assert word == "right", (last, leftovers(folder))
        if finished:
            break
    assert 20 < last < MOST_ACTS - 1


def test_history_survives_a_cut_at_every_act(tmp_path, tally):
    """Wherever the power fails, a log is wholly in the history or wholly out; adding it again completes it, once."""
    for last in range(1, MOST_ACTS):
        folder = tmp_path / str(last)
        add_record(folder, simple_record(1))
        finished, early = ended_at(last, lambda folder=folder: (add_record(folder, simple_record(2)), compact(open_place(folder))))
        place = open_place(folder)
        there = set(read_rows(place).table.texts("log_id"))
        assert early == 0, "renamed before it was synced"
        assert {log_id_of(1)} <= there <= {log_id_of(1), log_id_of(2)}
        add_record(folder, simple_record(2))
        table = read_rows(place).table
        marks = list(zip(table.texts("log_id"), table.texts("station"), table.texts("name"), table.texts("context"), table.texts("kind"), strict=True))
        good = set(table.texts("log_id")) == {log_id_of(1), log_id_of(2)} and len(marks) == len(set(marks)) and check(place).sound
        tally.add("cuts, history", "right" if good else "silent loss", last)
        assert good, last
        if finished:
            break
    assert 10 < last < MOST_ACTS - 1


def test_events_survive_a_cut_at_every_act(tmp_path, tally):
    """A noted repair is there or not; noting it again gives one."""
    event = parse_event("2025-01-02 Loader 2: cups changed")
    for last in range(1, MOST_ACTS):
        folder = tmp_path / str(last)
        add_record(folder, simple_record(1))
        finished, early = ended_at(last, lambda folder=folder: note_event(open_place(folder), event))
        note_event(open_place(folder), event)
        good = read_events(open_place(folder)) == (event,) and check(open_place(folder)).sound and early == 0
        tally.add("cuts, events", "right" if good else "silent loss", last)
        assert good, last
        if finished:
            break
    assert 2 < last < MOST_ACTS - 1


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EACCES, errno.EIO])
def test_a_full_or_read_only_disk_at_every_act(tmp_path, tally, number):
    """At whatever act the disk refuses, one message says so, no unfinished file stays, and old files are whole."""
    for last in range(1, MOST_ACTS):
        folder = tmp_path / str(last)
        write_files(folder, {"a.html": text_write("old"), "b.html": text_write("old")})
        acts = Acts(last, OSError(number, os.strerror(number)))
        try:
            with acting(acts):
                write_files(folder, {"a.html": text_write("new"), "b.html": text_write("new"), "c/d.html": text_write("new")})
        except OutputError as error:
            clean = os.strerror(number) in str(error) and sound(folder) <= {"old", "new"}
            tally.add("disk refuses, output", "refused" if clean else "half-written", last)
            assert clean
        else:
            tally.add("disk refuses, output", "right")
            break
    assert 5 < last < MOST_ACTS - 1


def test_a_full_disk_while_a_log_is_added(tmp_path, tally):
    """At whatever act the disk is full, one message says so and the history stays as it was."""
    for last in range(1, MOST_ACTS):
        folder = tmp_path / str(last)
        add_record(folder, simple_record(1))
        acts = Acts(last, OSError(errno.ENOSPC, "No space left on device"))
        try:
            with acting(acts):
                add_record(folder, simple_record(2))
        except OutputError as error:
            good = "No space left" in str(error) and set(read_rows(open_place(folder)).table.texts("log_id")) == {log_id_of(1)} and check(open_place(folder)).sound
            tally.add("disk refuses, history", "refused" if good else "silent loss", last)
            assert good, last
        else:
            break
    assert 2 < last < MOST_ACTS - 1


@pytest.fixture
def log(tmp_path):
    """A log of a few cycles."""
    header, cells = rows(4)
    path = tmp_path / "log.csv"
    path.write_text(csv_text(header, cells))
    return path


def test_two_processes_write_one_folder(tmp_path, tally):
    """Files of two runs that write one folder at the same time never mix: all are of one run."""
    names = [f"{n}.html" for n in range(12)]

    def writer(word):
        for _ in range(30):
            write_files(tmp_path / "out", {name: text_write(word) for name in names})

    children = []
    for word in ("old", "new"):
        number = os.fork()
        if number == 0:
            try:
                writer(word)
                os._exit(0)
            finally:
                os._exit(1)
        children.append(number)
    statuses = [os.waitstatus_to_exitcode(os.waitpid(c, 0)[1]) for c in children]
    words = {(tmp_path / "out" / name).read_text() for name in names}
    good = statuses == [0, 0] and len(words) == 1 and leftovers(tmp_path) == []
    tally.add("two processes, one folder", "right" if good else "half-written", (statuses, words))
    assert good, (statuses, words)


def test_a_folder_in_the_place_of_a_file(tmp_path):
    """A folder that stands where a file belongs is refused before anything is replaced."""
    write_files(tmp_path, {"a": text_write("old")})
    (tmp_path / "b").mkdir()
    with pytest.raises(OutputError, match="b is a folder"):
        write_files(tmp_path, {"a": text_write("new"), "b": text_write("new")})
    assert (tmp_path / "a").read_text() == "old"


def waited(running, seconds: float = 120.0) -> bool:
    """Whether a process ended in time."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if running.poll() is not None:
            return True
        time.sleep(0.02)
    return False


@pytest.mark.parametrize("command_line", [("diagnose",), ("tune",), ("compare", "LOG")])
def test_an_interrupt_leaves_a_clean_state(tmp_path, log, tally, command_line):
    """Ctrl-C in the middle of the work ends it with status 130 and one line, and leaves no file."""
    before = (
        "import signal, os\nimport tracekit.pipeline as pipeline\n"
        "def stopped(*more, **named):\n    os.kill(os.getpid(), signal.SIGINT)\n    return kept(*more, **named)\n"
        "kept = pipeline.estimate_leak\npipeline.estimate_leak = stopped\n"
    )
    words = [log if w == "LOG" else w for w in command_line]
    running = process(*words, log, "--out", tmp_path / "out", before=before)
    out, err = running.communicate(timeout=300)
    clean = running.returncode == 130 and err.strip() == "Interrupted." and not (tmp_path / "out").exists()
    tally.add("interrupted", "right" if clean else "traceback", (running.returncode, err[-500:]))
    assert clean, (running.returncode, out, err)


@pytest.mark.parametrize("change", ["cut to nothing", "cut in half", "grown", "replaced", "gone"])
def test_a_file_that_changes_while_it_is_read(tmp_path, log, tally, change):
    """A file that shrinks, grows, is replaced or vanishes under the reader is read as far as it goes, or refused in one message."""
    whole = log.read_bytes()
    acts = {
        "cut to nothing": "open(p, 'wb').close()",
        "cut in half": f"os.truncate(p, {len(whole) // 2})",
        "grown": "open(p, 'ab').write(open(p, 'rb').read()[-2000:])",
        "replaced": "open(p + '.new', 'wb').write(b'x' * 5000); os.replace(p + '.new', p)",
        "gone": "os.unlink(p)",
    }
    before = (
        f"import os\nfrom tracekit.read import opened\np = {str(log)!r}\nkept = opened.text_rows\n"
        f"def changed(*more):\n    {acts[change]}\n    return kept(*more)\nopened.text_rows = changed\n"
    )
    ended = child("diagnose", log, "--out", tmp_path / "out", "--quiet", before=before)
    word = ended.outcome()
    if word == "right":
        facts = json.loads((tmp_path / "out" / "diagnosis.json").read_text(encoding="utf-8"))["logs"][0]
        word = "right" if facts["rows_read"] == facts["rows_used"] + facts["rows_rejected"] else "silent loss"
    tally.add("file changes while read", word, (change, ended.status, ended.err[-500:]))
    assert word in ("right", "refused"), (word, ended.err)
    assert leftovers(tmp_path) == []


def forked(told: tuple[object, ...]) -> int:
    """A process that runs a command with what this one has loaded; its number."""
    child = os.fork()
    if child == 0:
        try:
            os._exit(command(*told).status)
        finally:
            os._exit(1)
    return child


def killed_runs(place: Path, kills: int, seed: int, tally) -> None:
    """Diagnose a log into a folder and a history again and again, killed at random instants; at the end all is mended.

    A run that ended before its kill does not count.
    """
    rng = random.Random(seed)
    log, out = place / "log.csv", place / "out"
    log.write_text(csv_text(*rows(3)))
    told = ("diagnose", log, "--quiet", "--out", out, "--csv", "--history", place / "history", "--started", "2025-01-01T00:00Z")
    begun = time.monotonic()
    assert os.waitpid(forked(("diagnose", log, "--quiet", "--out", place / "first", "--csv", "--history", place / "other", *told[-2:])), 0)[1] == 0
    longest = time.monotonic() - begun
    killed, unfinished = 0, 0
    while killed < kills:
        if rng.random() < 0.3 and out.exists():
            shutil.rmtree(out)  # as often into a new folder as over an older result
        running = forked(told)
        time.sleep(rng.uniform(0.0, longest))
        os.kill(running, signal.SIGKILL)
        if os.WIFEXITED(os.waitpid(running, 0)[1]):
            longest *= 0.95
            continue
        killed += 1
        unfinished += bool(leftovers(place))
        for path in out.rglob("*"):
            if path.is_file() and path.suffix in (".json", ".parquet", ".html", ".csv") and not path.name.startswith("."):
                assert path.stat().st_size > 0
                if path.suffix == ".json":
                    json.loads(path.read_text(encoding="utf-8"))
                elif path.suffix == ".parquet":
                    pq.read_table(path)
                elif path.suffix == ".html":
                    assert path.read_text(encoding="utf-8").rstrip().endswith("</html>")
        good = not (place / "history").exists() or check(open_place(place / "history")).sound
        tally.add("killed at random, diagnose", "right" if good else "half-written", killed)
        assert good
    for path in place.rglob(".*.part"):
        os.utime(path, (1, 1))
    assert command(*told).status == 0
    assert leftovers(out) == []
    assert len(set(read_rows(open_place(place / "history")).table.texts("log_id"))) == 1
    assert unfinished or kills < 50, "no kill fell into a write"


def test_three_kills(tmp_path, tally):
    """Killed at random instants, output and history are whole, and the next run mends."""
    killed_runs(tmp_path, 3, 5, tally)


@pytest.mark.full
def test_many_kills(tmp_path, tally):
    """The same 200 times (`TRACEKIT_FUZZ` scales it)."""
    killed_runs(tmp_path, max(int(200 * float(os.environ.get("TRACEKIT_FUZZ", "1"))), 5), 6, tally)
