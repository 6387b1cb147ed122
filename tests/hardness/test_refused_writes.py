"""Disks that are full, and folders that may only be read, under a history and under a watch: at every single write.

Nothing is lost or doubled, one message says why, and the next run with room ends where one that was never refused ends.
"""

import errno
import hashlib
import os
import shutil
import time
from collections import Counter
from pathlib import Path

import pytest
from fleet.test_watch import QUICK, Heard
from hardness.cuts import Acts, acting
from hardness.trial import command, leftovers
from hardness.watched import watched
from history.made_up_records import cycles_table, facts_of, log_id_of, record_of, simple_record, station_result

from tracekit.errors import LogReadError, OutputError
from tracekit.fleet import watch as watching
from tracekit.fleet.batch import Job, Outcome
from tracekit.fleet.watch import Watch, watch
from tracekit.history.add import add_record
from tracekit.history.events import note_event, parse_event, read_events
from tracekit.history.place import open_place
from tracekit.history.read import read_rows
from tracekit.history.upkeep import EVER_US, check, compact, forget, withdraw
from tracekit.report.files import text_write, write_files

MOST_ACTS = 300
OFTEN = ["full", "read-only", *(pytest.param(why, marks=pytest.mark.full) for why in ("no rights", "input/output"))]
REFUSALS = {"full": errno.ENOSPC, "read-only": errno.EROFS, "no rights": errno.EACCES, "input/output": errno.EIO}
EVENT = parse_event("2025-01-02 Loader 2: cups changed")
ACTS = {
    "add": lambda place: add_record(place.where, simple_record(4)),
    "add again": lambda place: add_record(place.where, simple_record(2)),
    "note": lambda place: note_event(place, EVENT),
    "compact": compact,
    "forget": lambda place: forget(place, None, -EVER_US, EVER_US, log_id_of(1)),
    "withdraw": lambda place: withdraw(place, log_id_of(3)),
}


@pytest.fixture(autouse=True)
def _no_waiting(monkeypatch):
    """A file held open is waited for; not here."""
    monkeypatch.setattr(time, "sleep", lambda _: None)


def content(folder: Path | str) -> tuple[Counter, tuple, bool]:
    """Every row of a history by what marks it, its notes, and whether it is sound."""
    place = open_place(folder)
    table = read_rows(place).table
    columns = [table.texts(n) for n in ("log_id", "station", "name", "context", "kind")]
    return Counter(zip(*columns, strict=True)), read_events(place), check(place).sound


@pytest.mark.parametrize("once", [False, True], ids=["from then on", "once"])
@pytest.mark.parametrize("why", OFTEN)
@pytest.mark.parametrize("name", list(ACTS))
def test_a_history_whose_writes_are_refused(tmp_path, tally, name, why, once):
    """At whatever act a history's place refuses, what it holds is as before or as after, and trying again completes it."""
    start = tmp_path / "start"
    for number in (1, 2, 3):
        add_record(start, simple_record(number))
    shutil.copytree(start, tmp_path / "never")
    before = content(start)
    ACTS[name](open_place(tmp_path / "never"))
    after = content(tmp_path / "never")
    assert set(after[0].values()) == {1}
    refused = 0
    for last in range(1, MOST_ACTS):
        folder = tmp_path / str(last)
        shutil.copytree(start, folder)
        said = ""
        with acting(Acts(last, OSError(REFUSALS[why], os.strerror(REFUSALS[why])), once=once)) as acts:
            try:
                ACTS[name](open_place(folder))
            except OutputError as error:
                said = str(error)
        good = content(folder) in (before, after) and (not said or (os.strerror(REFUSALS[why]) in said and str(folder) in said))
        if name != "forget" or content(folder) == before:  # what is forgotten already cannot be forgotten again
            ACTS[name](open_place(folder))
        good = good and content(folder) == after
        tally.add(f"history: {why}, {'once' if once else 'from then on'}", ("refused" if said else "right") if good else "silent loss", (name, last, said))
        assert good, (last, said)
        refused += bool(said)
        if acts.count < last:
            break
        shutil.rmtree(folder)
    assert last < MOST_ACTS - 1
    assert refused > 2 or name in ("add again", "compact")


LINES = {
    "compact": ("--compact",), "note": ("--event", "2025-01-02 Glaze 1: cups changed"), "forget": ("--forget", "--only", "Glaze 1"), "export": ("--export", "FILE"),
}  # fmt: skip


@pytest.mark.parametrize("why", ["full", "read-only"])
@pytest.mark.parametrize("name", list(LINES))
def test_a_command_on_a_history_whose_writes_are_refused(tmp_path, tally, name, why):
    """The command ends with status 2 and one line that says where and why, never with a traceback; again it ends well."""
    start = tmp_path / "start"
    for number in (1, 2, 3):
        add_record(start, simple_record(number))
    for last in range(1, MOST_ACTS):
        folder = tmp_path / str(last)
        shutil.copytree(start, folder)
        words = [tmp_path / f"{last}.csv" if word == "FILE" else word for word in LINES[name]]
        acts = Acts(last, OSError(REFUSALS[why], os.strerror(REFUSALS[why])))
        with acting(acts):
            ran = command("history", folder, *words)
        if acts.count < last:
            break
        told = ran.err.strip().splitlines()
        one = len(told) == 1 and os.strerror(REFUSALS[why]) in told[0] and "report it" not in told[0]
        good = (ran.status == 0 and not told) or (ran.status == 2 and one)
        tally.add(f"history command: {why}", ran.outcome() if good else "traceback", (name, last, ran.err))
        assert good, (last, ran.status, ran.err)
        assert set(content(folder)[0].values()) <= {1}
        assert command("history", folder, *words).status == 0 or name == "forget"
        assert content(folder)[2]
        shutil.rmtree(folder)
    assert ran.status == 0, ran.err
    assert 1 < last < MOST_ACTS - 1


def whole(job: Job) -> Outcome:
    """Does what the main job does, in no time: refuses what is no log, adds what is one, writes pages as all output is."""
    data = Path(job.log).read_bytes()
    if not data.startswith(b"time_s,pressure_kpa,supply"):
        raise LogReadError(f"{Path(job.log).name}: no log")
    log_id = hashlib.sha256(data).hexdigest()
    added = add_record(job.history, record_of(station_result(cycles_table(log_id, "Glaze 1")), facts=facts_of(log_id, job.started_us)))
    write_files(job.folder, {"report.html": text_write("page"), "cycles.csv": text_write("cycles")})
    return Outcome(log=job.log, document={"logs": [{"log_id": log_id}], "stations": []}, page=job.folder / "report.html", notes=tuple(one.text for one in added))


def long_there(place: Path) -> Watch:
    """The watched folder, its files old enough to be taken at once."""
    watch_ = watched(place)
    for path in watch_.folder.iterdir():
        os.utime(path, (1, 1))
    return watch_


@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "No space left on device"), OSError(errno.EMFILE, "Too many open files"), MemoryError()])
def test_a_log_is_not_blamed_for_what_the_system_lacks(tmp_path, monkeypatch, error):
    """No room beside the log, no handles, no memory: the log stays where it is, and is done once there are."""

    def short(job):
        raise error

    monkeypatch.setattr(watching, "run_job", short)
    made = long_there(tmp_path)
    for _ in range(QUICK.most_tries + 2):
        with pytest.raises(OutputError, match=r"system: .*; expected room to work in"):
            watch(made, Heard(), once=True)
    monkeypatch.setattr(watching, "run_job", whole)
    assert watch(made, Heard(), once=True) == 2, "neither was given up"
    assert sorted(p.name for p in made.folder.glob("*.csv")) == ["a.csv", "b.csv"]


@pytest.mark.parametrize("once", [False, True], ids=["from then on", "once"])
@pytest.mark.parametrize("why", OFTEN)
def test_a_watch_whose_writes_are_refused(tmp_path, tally, monkeypatch, why, once):
    """Wherever a watch's writes are refused no log is lost, set aside or counted twice; the next start does what is left."""
    monkeypatch.setattr(watching, "run_job", whole)
    refused = 0
    for last in range(1, MOST_ACTS):
        place = tmp_path / str(last)
        made, heard, said = long_there(place), Heard(), ""
        with acting(Acts(last, OSError(REFUSALS[why], os.strerror(REFUSALS[why])), once=once)) as acts:
            try:
                watch(made, heard, once=True)
            except OutputError as error:
                said = str(error)
        told = [facts for event, facts in heard.events if event in ("cannot_write", "cannot_set_aside", "cannot_merge")]
        for path in made.out.rglob(".*.part"):
            os.utime(path, (1, 1))  # its removal was refused as well; an hour later the next run removes it
        one = not said or os.strerror(REFUSALS[why]) in said
        watch(made, Heard(), once=True)
        rows, _, sound = content(Path(made.template.history))
        logs = {mark[0] for mark in rows}
        aside = sorted(p.name for p in made.folder.glob("*/*") if not p.name.endswith(".reason.txt"))
        pages = sorted(p.parent.name for p in made.out.rglob("report.html"))
        good = one and len(logs) == 2 and set(rows.values()) == {1} and sound and pages == ["a", "b"]
        good = good and sorted(p.name for p in made.folder.glob("*.csv")) in (["a.csv", "b.csv"], ["a.csv", "b.csv", "c.csv"]) and aside in (["c.csv"], ["2-c.csv"], [])  # a second name where a reason stayed
        good = good and (aside or any(facts.get("file") == "c.csv" for facts in told)) and leftovers(made.out) == []
        word = ("refused" if said or told else "right") if good else "silent loss"
        tally.add(f"watch: {why}, {'once' if once else 'from then on'}", word, (last, said, told, logs, aside, pages, leftovers(made.out)))
        assert good, (last, said, told, rows, aside, pages, leftovers(made.out))
        refused += bool(said or told)
        shutil.rmtree(place)
        if acts.count < last:
            break
    assert last < MOST_ACTS - 1
    assert refused > 10
