"""Watching a folder into which a logger drops its files, also over a network share: by looking again and again.

A file is taken when its size and time have stayed the same for a while and it can be opened. The history tells what was
done already, and a note per file saves reading it again; so a restart, a lost note or a file dropped twice changes
nothing. A file that was taken too early and has grown since is done again, and the part that was counted is withdrawn.
A file that stays unreadable is moved aside together with its reason. Waiting is timed by a clock that nobody sets.
"""

import errno
import hashlib
import importlib.metadata
import os
import re
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import field, replace
from pathlib import Path
from types import TracebackType
from typing import Self

from tracekit.errors import OutputError, TracekitError, UsageError, message
from tracekit.fleet.batch import LAST_GOOD, Job, Outcome, run_job
from tracekit.fleet.watch_alarm import Telling, found_of, tell
from tracekit.fleet.watch_files import logs_below, opens, set_aside, stamp_of
from tracekit.fleet.watch_notes import Note, Notes
from tracekit.fleet.watch_trend import TrendWatch, note_due
from tracekit.frozen import dataclass
from tracekit.history.good import NoGoodLogError
from tracekit.history.place import Place, open_place
from tracekit.history.upkeep import compact, withdraw
from tracekit.options.watch import WatchOptions

_Stamp = tuple[int, int]
Say = Callable[[str, Mapping[str, object]], None]
_SHORT_OF = {errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EMFILE, errno.ENFILE, errno.ENOMEM}
"""What the system may be short of: room, handles, memory."""
_ENDED = "Reading it ended the program"
_DATING = re.compile(r"(Give|Pass) --started .*")
"""What one log is dated by; of a watch each file has a date of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """What to watch: `folder` for new logs, `template` for how each is diagnosed, `out` for the results.

    notes         where it is kept which files are done and what was told
    date_by_file  every log is dated by the last change of its file: for logs without dates
    recursive     folders inside the folder are watched too
    telling       whom to tell when a log is bad
    """

    folder: Path
    template: Job
    out: Path
    notes: Place
    date_by_file: bool = False
    recursive: bool = False
    telling: Telling = field(default_factory=Telling)
    options: WatchOptions = field(default_factory=WatchOptions)

    def name_of(self, path: Path) -> str:
        """A file's name below the watched folder, with `/` between its parts."""
        return path.relative_to(self.folder).as_posix()

    def trends(self) -> TrendWatch:
        """Who tells of alarms over time."""
        files = {s.station.name or s.source: s for s in self.template.stations}
        return TrendWatch(self.template.history, files, (self.notes, self.folder), self.telling, self.options)

    def notes_on_files(self) -> Notes:
        """The notes on the files of this folder."""
        return Notes(self.notes, self.folder)


@dataclass(frozen=True, slots=True)
class Seen:
    """A file as last looked at: its stamp, since when it has not changed (monotonic seconds), what came of it.

    done    nothing more is to be done while it stays as it is
    failed  it could not be read; it is tried once more when it has stayed the same for long
    """

    stamp: _Stamp
    since_s: float
    done: bool = False
    failed: bool = False


def watch(watch_: Watch, say: Say, *, once: bool = False) -> int:
    """Take every log that is dropped into the folder, until interrupted; with `once` only those that are there now.

    `say` receives an event's name and its facts. Gives the number of logs done. With `once`, files that go on growing
    or stay locked are left for the next time. With `once` raises OutputError where results cannot be written (a full
    disk); else that is waited out. Nothing is lost: the next look goes on.
    """
    seen: dict[str, Seen] = {}
    trends = watch_.trends()
    done, pause_s, merged, there = 0, 0.0, 0, True
    progress_s = time.monotonic()
    version = importlib.metadata.version("tracekit")
    where = open_place(watch_.template.history).where
    say("watching", {"folder": str(watch_.folder), "history": where, "version": version, "process": os.getpid()})
    while True:
        there = _told_whether_there(watch_.folder, there, say)
        ready, waiting = look(watch_, seen, time.monotonic())
        for path in ready:
            try:
                done += _taken(watch_, path, seen, say, once=once)
                trends.look(say)
                pause_s, progress_s = 0.0, time.monotonic()
            except OutputError as error:
                say("cannot_write", {"file": watch_.name_of(path), "reason": str(error)})
                if once:
                    raise
                pause_s = min(2.0 * pause_s + watch_.options.poll_s, watch_.options.longest_pause_s)
                break
        if done - merged >= watch_.options.merge_every:
            merged = done
            _merge(watch_, say)
        if once and _enough(watch_, waiting, progress_s):
            trends.look(say, now=True)
            if waiting:
                say("left", {"files": waiting, "why": "growing or locked"})
            return done
        trends.look(say)
        time.sleep(max(watch_.options.poll_s, pause_s))


def _enough(watch_: Watch, waiting: list[str], progress_s: float) -> bool:
    """Whether nothing is waited for, or nothing has got ready for so long that it will not."""
    patience_s = 2.0 * (watch_.options.settle_s + watch_.options.poll_s)
    return not waiting or time.monotonic() - progress_s > patience_s


def _told_whether_there(folder: Path, before: bool, say: Say) -> bool:
    """Whether the folder can be reached, told when that changes: a network share comes and goes."""
    there = folder.is_dir()
    if there != before:
        say("folder_is_back" if there else "folder_is_gone", {"folder": str(folder)})
    return there


def look(watch_: Watch, seen: dict[str, Seen], now_s: float) -> tuple[list[Path], list[str]]:
    """Files that are complete and not done yet, oldest first, and the names of those still waited for.

    `seen` is brought up to date.
    """
    ready: list[tuple[int, Path]] = []
    waiting: list[str] = []
    there = dict(logs_below(watch_.folder, watch_.options.endings, recursive=watch_.recursive))
    for name in [n for n in seen if n not in there]:
        del seen[name]
    for name, stamp in sorted(there.items()):
        if name not in seen or seen[name].stamp != stamp:
            seen[name] = Seen(stamp, now_s, is_done(watch_, name, stamp))
        known = seen[name]
        if known.done or stamp[0] == 0:
            continue
        quiet_s = now_s - known.since_s
        if known.failed and quiet_s < watch_.options.bad_s:
            continue
        if quiet_s >= watch_.options.settle_s and opens(watch_.folder / name):
            ready.append((stamp[1], watch_.folder / name))
        else:
            waiting.append(name)
    return [path for _, path in sorted(ready, key=lambda r: (r[0], r[1].name))], waiting


def is_done(watch_: Watch, name: str, stamp: _Stamp) -> bool:
    """Whether a note says that nothing is to be done with the file as it is now; what cannot be read says nothing."""
    try:
        note = watch_.notes_on_files().read(name)
    except UsageError:
        return False  # the file is taken, and then that is told
    return note is not None and note.stamp == stamp and note.state in ("done", "bad")


def _taken(watch_: Watch, path: Path, seen: dict[str, Seen], say: Say, *, once: bool) -> bool:
    """Take one file; one that cannot be read is tried again later, or set aside where it has stayed so for long."""
    name = watch_.name_of(path)
    before = seen[name]
    reason = take(watch_, path, say)
    if not reason:
        done = is_done(watch_, name, before.stamp)
        seen[name] = replace(before, done=done, since_s=before.since_s if done else time.monotonic())
        return done
    if not reason.startswith(_ENDED) and not _long_the_same(watch_, before, once=once):
        seen[name] = replace(before, failed=True)
        if not before.failed:
            say("not_readable_yet", {"file": name, "reason": reason})
        return False
    moved = set_aside(path, reason, say)
    note = Note(size=before.stamp[0], time_ns=before.stamp[1], state="begun" if moved else "bad")
    watch_.notes_on_files().write(name, note)
    seen[name] = replace(before, done=True)
    return False


def _long_the_same(watch_: Watch, seen: Seen, *, once: bool) -> bool:
    """Whether a file has not changed for so long that it is bad, not half written.

    With `once` there is no time to see that, so the time of the file's last change is believed.
    """
    if time.monotonic() - seen.since_s >= watch_.options.bad_s:
        return True
    return once and not 0.0 <= time.time() - seen.stamp[1] / 1e9 < watch_.options.bad_s


def take(watch_: Watch, path: Path, say: Say) -> str:
    """Diagnose one file into results and history. Gives why it cannot be read, "" where it can or has changed since.

    Raises OutputError where nothing can be written, or the history cannot be used.
    """
    name, stamp = watch_.name_of(path), stamp_of(path)
    if stamp is None:
        return ""
    notes = watch_.notes_on_files()
    try:
        note = _begin(notes, name, stamp, watch_.options)
    except UsageError as error:
        raise OutputError(str(error)) from error
    if note.tries > watch_.options.most_tries:
        return f"{_ENDED} {watch_.options.most_tries} times."
    try:
        return _read(watch_, path, note, say)
    except (KeyboardInterrupt, SystemExit, OutputError, UsageError) as error:  # the file did not end the program
        with suppress(OutputError):
            notes.write(name, replace(note, tries=note.tries - 1))
        if isinstance(error, UsageError):
            raise OutputError(str(error)) from error
        raise


def _read(watch_: Watch, path: Path, note: Note, say: Say) -> str:
    """Diagnose a file that was noted as begun, and tell what came of it. Gives why it cannot be read, else ""."""
    begun_s, name, stamp, notes = time.monotonic(), watch_.name_of(path), note.stamp, watch_.notes_on_files()
    with _Contained(watch_.template.history) as contained:
        outcome = _diagnosed(_job(watch_, path, stamp))
    if contained.reason:
        notes.write(name, replace(note, tries=0))
        if stamp_of(path) == stamp and opens(path):
            return _DATING.sub("Watch with --date-by-file.", contained.reason)
        say("changed_while_read", {"file": name})
        return ""
    facts = {"file": name, "severity": outcome.severity or "none", "seconds": round(time.monotonic() - begun_s, 2)}
    say("done", {**facts, "history": list(outcome.notes)})
    log_id = _log_id(outcome)
    _withdraw_part(watch_, path, note, log_id, say)
    note_due(watch_.notes, watch_.folder, outcome.document, (name, str(outcome.page or "")))
    tell(watch_.telling, watch_.notes, (name, str(outcome.page or "")), found_of(outcome), watch_.options, say)
    if stamp_of(path) == stamp:
        notes.write(name, replace(note, state="done", tries=0, log_id=log_id, log_size=stamp[0]))
    return ""


def _begin(notes: Notes, name: str, stamp: _Stamp, options: WatchOptions) -> Note:
    """Note that reading a file begins; how often it has begun without an end, and what it gave before, go on."""
    before = notes.read(name)
    note = Note(size=stamp[0], time_ns=stamp[1], state="begun", tries=1)
    if before is not None:
        tries = before.tries + 1 if before.stamp == stamp else 1
        note = replace(note, tries=tries, log_id=before.log_id, log_size=before.log_size)
    if note.tries <= options.most_tries:
        notes.write(name, note)
    return note


def _job(watch_: Watch, path: Path, stamp: _Stamp) -> Job:
    """What to do with a file. Files that differ in their endings only have folders of their own.

    Some systems leave points and blanks out at the end of a folder's name: they are no difference between two.
    """
    name, own = Path(watch_.name_of(path)), _kept_name(path)
    alike = not own or any(_kept_name(other) == own and other != path for other in path.parent.iterdir())
    folder = watch_.out / name.parent / (name.name if alike else own)
    started_us = stamp[1] // 1000 if watch_.date_by_file else watch_.template.started_us
    return replace(watch_.template, log=str(path), folder=folder, started_us=started_us)


def _kept_name(path: Path) -> str:
    """A file's name without its ending, as every system keeps it for a folder."""
    return path.stem.rstrip(". ")


def _diagnosed(job: Job) -> Outcome:
    """The main job; until the history has a good log of the station, without one to compare with."""
    try:
        return run_job(job)
    except NoGoodLogError:
        if job.baseline != LAST_GOOD:
            raise
        return run_job(replace(job, baseline=None))


def _log_id(outcome: Outcome) -> str:
    """The id of the log that was read, "" where it is not one log."""
    logs = (outcome.document or {}).get("logs", ())
    return str(logs[0]["log_id"]) if isinstance(logs, list | tuple) and len(logs) == 1 else ""


def _withdraw_part(watch_: Watch, path: Path, note: Note, log_id: str, say: Say) -> None:
    """Where the file was counted before, when only its beginning was there, take that beginning out of the history."""
    if not note.log_id or note.log_id == log_id or note.log_size >= note.size:
        return
    if _begins_with(path, note.log_size, note.log_id):
        withdraw(open_place(watch_.template.history), note.log_id)
        say("part_withdrawn", {"file": watch_.name_of(path), "log_id": note.log_id})


def _begins_with(path: Path, size: int, log_id: str) -> bool:
    """Whether the first `size` bytes of a file are the log of that id, which is the SHA-256 of its bytes."""
    found, left = hashlib.sha256(), size
    try:
        with path.open("rb") as file:
            while left > 0 and (block := file.read(min(left, 1 << 20))):
                found.update(block)
                left -= len(block)
    except OSError:
        return False
    return found.hexdigest() == log_id


class _Contained:
    """Keeps what is wrong with one file from ending the watch. What cannot be written, and an interrupt, go on.

    So does, as an OutputError, what is no fault of the file: something wrong with the history, no room for what is
    sorted beside the log, no handles or memory left.
    """

    def __init__(self, history: str) -> None:
        self.reason = ""
        self._history = open_place(history).where

    def __enter__(self) -> Self:
        """Nothing to prepare."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> bool:
        """Keep the reason of an error that belongs to the file."""
        if not isinstance(error, Exception) or isinstance(error, OutputError):
            return False
        said = " ".join(str(error).split())
        if isinstance(error, MemoryError) or (isinstance(error, OSError) and error.errno in _SHORT_OF):
            reason = getattr(error, "strerror", None) or "not enough memory"
            raise OutputError(message("system", reason, "room to work in", "The log is tried again.")) from error
        if isinstance(error, TracekitError) and said.startswith((f"{self._history}:", f"{self._history}/")):
            raise OutputError(said) from error
        internal = "" if isinstance(error, TracekitError) else f"internal error, {type(error).__name__}: "
        self.reason = internal + said
        return True


def _merge(watch_: Watch, say: Say) -> None:
    """Merge the small files of the history, now and then."""
    try:
        merged = compact(open_place(watch_.template.history))
    except TracekitError as error:
        say("cannot_merge", {"reason": str(error)})
        return
    say("merged", {"files_before": merged.before, "files_after": merged.after})
