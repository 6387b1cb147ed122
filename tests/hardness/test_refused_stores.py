"""A history in a store that refuses, breaks off or is full, at every single request: nothing lost, nothing doubled.

One message says where and why, a reader never takes part of a history for the whole, and the next run mends.
"""

import errno
import inspect
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import pytest
from fleet.test_watch import Heard
from hardness.made import csv_text, rows
from hardness.test_refused_writes import ACTS, EVENT, content, long_there, whole
from hardness.trial import command, leftovers
from history.made_up_records import log_id_of, simple_record
from history.test_store_address import BUCKET, s3, s3_server

from tracekit.errors import OutputError, UsageError
from tracekit.fleet import watch as watching
from tracekit.fleet.watch import watch
from tracekit.history.add import add_record
from tracekit.history.events import note_event
from tracekit.history.place import open_place
from tracekit.history.store import StorePlace
from tracekit.history.upkeep import EVER_US, forget

fsspec = pytest.importorskip("fsspec", reason="the extra fleet is not installed")
__all__ = ["s3", "s3_server"]  # fixtures
MOST_REQUESTS = 400
REQUESTS = ("ls", "cat_file", "pipe_file", "rm_file", "mv", "makedirs", "exists", "modified")
SAID = {
    "refused": "Access Denied", "full": "No space left on device", "broken off": "connection reset by peer",
    "answer lost": "no answer within 30 s", "partial write": "connection reset by peer",
}  # fmt: skip


def refusal(why: str) -> Exception:
    """What a store raises."""
    kinds = {"refused": PermissionError, "answer lost": TimeoutError}
    return OSError(errno.ENOSPC, SAID[why]) if why == "full" else kinds.get(why, ConnectionResetError)(SAID[why])


class Failing:
    """A file system of which request number `last` fails, and each after it unless `once`."""

    def __init__(self, files, last: int, why: str, *, once: bool) -> None:
        self.files, self.last, self.why, self.once = files, last, why, once
        self.count = 0

    def request(self, name, *more, **named):
        """Count a request; fail before it takes effect, after it (the answer is lost), or half through a write."""
        do = getattr(self.files, name)
        self.count += 1
        if self.count < self.last or (self.once and self.count > self.last):
            return do(*more, **named)
        if self.why == "answer lost":
            do(*more, **named)
        if self.why == "partial write" and name == "pipe_file":
            path, data = more
            do(path, data[: len(data) // 2])
        raise refusal(self.why)

    def __getattr__(self, name):
        found = getattr(self.files, name)
        if name not in REQUESTS:
            return found

        def requested(*more, **named):
            return self.request(name, *more, **named)

        requested.__signature__ = inspect.signature(found)
        return requested


@contextmanager
def failing(last: int, why: str, *, once: bool) -> Iterator[Failing]:
    """Within it the store of every place fails at a request."""
    kept, made = StorePlace._store, Failing(None, last, why, once=once)

    def store(self):
        made.files, root = kept(self)
        return made, root

    try:
        StorePlace._store = store
        yield made
    finally:
        StorePlace._store = kept


class Copies:
    """Fresh copies of one history at addresses of a kind."""

    def __init__(self, base: str) -> None:
        self.base = base
        self.start = f"{base}/start"
        self.files, root = fsspec.core.url_to_fs(self.start)
        for number in (1, 2, 3):
            add_record(self.start, simple_record(number))
        self.data = {name[name.index("/start/") + 7 :]: self.files.cat_file(name) for name in self.files.find(root)}

    def copy(self, name: object) -> str:
        """The address of a new copy."""
        _, root = fsspec.core.url_to_fs(f"{self.base}/{name}")
        for inner, data in self.data.items():
            self.files.makedirs(f"{root}/{inner}".rpartition("/")[0], exist_ok=True)
            self.files.pipe_file(f"{root}/{inner}", data)
        return f"{self.base}/{name}"

    def gone(self, address: str) -> None:
        """Remove a copy."""
        self.files.rm(fsspec.core.url_to_fs(address)[1], recursive=True)


@pytest.fixture(params=["memory", "folders", pytest.param("s3", marks=pytest.mark.full)])
def copies(request, tmp_path, monkeypatch) -> Copies:
    """A history of three logs in memory, on a server with folders, in a store of objects."""
    monkeypatch.setattr(time, "sleep", lambda _: None)
    if request.param == "s3":
        request.getfixturevalue("s3")
        return Copies(f"s3://{BUCKET}/copies")
    return Copies(f"memory://{tmp_path.name}" if request.param == "memory" else f"local://{tmp_path.as_posix()}")


@pytest.mark.parametrize("once", [False, True], ids=["from then on", "once"])
@pytest.mark.parametrize("why", list(SAID))
@pytest.mark.parametrize("name", list(ACTS))
def test_a_store_whose_requests_fail(copies, tally, name, why, once):
    """At whatever request a store fails, its history is as before or as after, and trying again completes it."""
    before = content(copies.start)
    never = copies.copy("never")
    ACTS[name](open_place(never))
    after = content(never)
    refused = 0
    for last in range(1, MOST_REQUESTS):
        address, said = copies.copy(last), ""
        with failing(last, why, once=once) as store:
            try:
                ACTS[name](open_place(address))
            except (OutputError, UsageError) as error:
                said = str(error)
        now = content(address)
        if why == "partial write" and not now[2]:  # what was cut off is named, counts for nobody, and stays in the way of nothing
            now = (*now[:2], True)
        good = now in (before, after) and (not said or (SAID[why] in said and copies.base in said))
        if name != "forget" or now == before:  # what is forgotten already cannot be forgotten again
            ACTS[name](open_place(address))
        good = good and content(address)[:2] == after[:2]
        tally.add(f"store: {why}, {'once' if once else 'from then on'}", ("refused" if said else "right") if good else "silent loss", (name, last, said))
        assert good, (last, said, now[0] - after[0], after[0] - now[0])
        refused += bool(said)
        copies.gone(address)
        if store.count < last:
            break
    assert last < MOST_REQUESTS - 1
    assert refused or once


READS = {
    "listed": ("history",), "checked": ("history", "--check"), "exported": ("history", "--export", "-"), "trended": ("trend", "--format", "text"),
}  # fmt: skip


@pytest.mark.parametrize("once", [False, True], ids=["from then on", "once"])
@pytest.mark.parametrize("why", ["refused", "answer lost"])
@pytest.mark.parametrize("name", list(READS))
def test_a_store_that_cannot_be_read_for_a_moment(copies, tally, name, why, once):
    """At whatever request reading fails, the whole history is told or one message; never what is left as if it were all.

    A noted repair and a log that was forgotten are part of the whole.
    """
    address = copies.copy("read")
    note_event(open_place(address), EVENT)
    forget(open_place(address), None, -EVER_US, EVER_US, log_id_of(1))
    verb, *options = READS[name]
    whole = command(verb, address, *options)
    assert whole.status == 0, whole.err
    for last in range(1, MOST_REQUESTS):
        with failing(last, why, once=once) as store:
            ran = command(verb, address, *options)
        one = len(ran.err.strip().splitlines()) == 1 and SAID[why] in ran.err and copies.base in ran.err
        good = ran.out == whole.out if ran.status == 0 else ran.status == 2 and one
        tally.add(f"store read: {why}, {'once' if once else 'from then on'}", ran.outcome() if good else "silent loss", (name, last, ran.err))
        assert good, (last, ran.status, ran.err, ran.out)
        if store.count < last:
            break
    assert 3 < last < MOST_REQUESTS - 1


@pytest.mark.parametrize("once", [False, True], ids=["from then on", "once"])
@pytest.mark.parametrize("why", list(SAID))
def test_a_diagnosis_into_a_store_that_fails(copies, tmp_path, tally, why, once):
    """Results are whole, the log is in the history once or not at all, one message says why; again it ends well."""
    header, cells = rows(3)
    (tmp_path / "log.csv").write_text(csv_text(header, cells))

    def diagnosed(address, out):
        return command("diagnose", tmp_path / "log.csv", "--quiet", "--out", out, "--history", address, "--started", "2025-03-01T00:00Z")

    before = content(copies.start)[0]
    never = copies.copy("never")
    assert diagnosed(never, tmp_path / "out").status == 0
    after = content(never)[0]
    files = {p.name for p in (tmp_path / "out").iterdir()}
    for last in range(1, MOST_REQUESTS):
        address, out = copies.copy(last), tmp_path / f"out {last}"
        with failing(last, why, once=once) as store:
            ran = diagnosed(address, out)
        said = ran.err.strip().splitlines()
        good = content(address)[0] in (before, after) and {p.name for p in out.iterdir()} == files and leftovers(out) == []
        good = good and (ran.status == 0 or (ran.status == 2 and len(said) == 1 and SAID[why] in said[0] and copies.base in said[0]))
        good = good and diagnosed(address, out).status == 0 and content(address)[0] == after
        tally.add(f"store, diagnose: {why}", ran.outcome() if good else "silent loss", (last, ran.err))
        assert good, (last, ran.status, ran.err)
        copies.gone(address)
        if store.count < last:
            break
    assert 3 < last < MOST_REQUESTS - 1


@pytest.mark.parametrize("after", range(1, 12))
def test_a_watch_whose_store_cannot_be_read_for_a_moment(copies, tmp_path, tally, monkeypatch, after):
    """A log whose history does not answer stays where it is, is blamed for nothing, and counts once when it does."""
    monkeypatch.setattr(watching, "run_job", whole)
    address = copies.copy(f"watched {after}")
    made = long_there(tmp_path / "place")
    made = replace(made, template=replace(made.template, history=address), notes=open_place(address))
    with failing(after, "broken off", once=False), pytest.raises((OutputError, UsageError), match="connection reset by peer"):
        watch(made, Heard(), once=True)
    assert sorted(p.name for p in made.folder.glob("*.csv")) == ["a.csv", "b.csv", "c.csv"]
    watch(made, Heard(), once=True)
    assert sorted(p.name for p in made.folder.glob("*.csv")) == ["a.csv", "b.csv"]
    counts = content(address)[0]
    tally.add("store, watch", "refused" if set(counts.values()) == {1} else "silent loss", after)
    assert set(counts.values()) == {1}
    assert len({mark[0] for mark in counts}) == 5
