"""Watching a folder into which a logger drops its files, also over a network share: by looking again and again.

A file is taken when its size and time have stayed the same for a while and it can be opened. The history tells what was
done already, and a note per file saves reading it again; so a restart, a lost note or a file dropped twice changes
nothing. A file that cannot be diagnosed is moved aside together with its reason.
"""

import json
import os
import subprocess
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import TracebackType

from tracekit.errors import OutputError, TracekitError
from tracekit.fleet.batch import Job, Outcome, run_job
from tracekit.history.place import LocalPlace, open_place
from tracekit.history.schema import digest
from tracekit.history.upkeep import compact
from tracekit.options.watch import WatchOptions

ASIDE = "set-aside"
NOTES = "watched"
_Stamp = tuple[int, int]
Say = Callable[[str, Mapping[str, object]], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """What to watch: `folder` for new logs, `template` for how each is diagnosed, `out` for the results.

    notes         where it is kept which files are done
    date_by_file  every log is dated by the last change of its file: for logs without dates
    command       run for each log whose worst finding is one of `alarm_from`; empty: none
    """

    folder: Path
    template: Job
    out: Path
    notes: LocalPlace
    date_by_file: bool = False
    command: tuple[str, ...] = ()
    alarm_from: tuple[str, ...] = ("critical", "major")
    options: WatchOptions = field(default_factory=WatchOptions)


@dataclass(frozen=True, slots=True)
class Seen:
    """A file as last looked at: its stamp, since when it has not changed (monotonic seconds), whether it is done."""

    stamp: _Stamp
    since_s: float
    done: bool = False


def watch(watch_: Watch, say: Say, *, once: bool = False) -> int:
    """Take every log that is dropped into the folder, until interrupted; with `once` only those that are there now.

    `say` receives an event's name and its facts. Gives the number of logs done. With `once` raises OutputError where
    results cannot be written (a full disk); else that is waited out. Nothing is lost: the next look goes on.
    """
    seen: dict[str, Seen] = {}
    done, pause_s, merged = 0, 0.0, 0
    say("watching", {"folder": str(watch_.folder), "history": watch_.template.history})
    while True:
        ready, waiting = look(watch_, seen, time.monotonic())
        for path in ready:
            try:
                done += take(watch_, path, say)
                pause_s = 0.0
            except OutputError as error:
                say("cannot_write", {"file": path.name, "reason": str(error)})
                if once:
                    raise
                pause_s = min(2.0 * pause_s + watch_.options.poll_s, watch_.options.longest_pause_s)
                break
        if done - merged >= watch_.options.merge_every:
            merged = done
            _merge(watch_, say)
        if once and not waiting:
            return done
        time.sleep(max(watch_.options.poll_s, pause_s))


def look(watch_: Watch, seen: dict[str, Seen], now_s: float) -> tuple[list[Path], int]:
    """Files that are complete and not done yet, oldest first, and the number of those still waited for.

    `seen` is brought up to date.
    """
    ready: list[tuple[int, Path]] = []
    waiting = 0
    there = dict(_candidates(watch_.folder, watch_.options))
    for name in [n for n in seen if n not in there]:
        del seen[name]
    for name, stamp in there.items():
        if name not in seen or seen[name].stamp != stamp:
            seen[name] = Seen(stamp, now_s, is_done(watch_, name, stamp))
        if seen[name].done or stamp[0] == 0:
            continue
        quiet = now_s - seen[name].since_s >= watch_.options.settle_s
        if quiet and _opens(watch_.folder / name):
            ready.append((stamp[1], watch_.folder / name))
            seen[name] = Seen(stamp, now_s)
        else:
            waiting += 1
    return [path for _, path in sorted(ready, key=lambda r: (r[0], r[1].name))], waiting


def _candidates(folder: Path, options: WatchOptions) -> Iterator[tuple[str, _Stamp]]:
    """Names and stamps of the logs in the folder itself; links and hidden or partial files are left alone."""
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                name = entry.name.casefold()
                if not name.endswith(options.endings) or name.startswith((".", "~")):
                    continue
                try:
                    if entry.is_file(follow_symlinks=False):
                        facts = entry.stat(follow_symlinks=False)
                        yield entry.name, (facts.st_size, facts.st_mtime_ns)
                except OSError:
                    continue
    except OSError:
        return


def _opens(path: Path) -> bool:
    """Whether the file can be opened: a logger may hold it locked."""
    try:
        with path.open("rb") as file:
            return bool(file.read(1))
    except OSError:
        return False


def take(watch_: Watch, path: Path, say: Say) -> bool:
    """Diagnose one file into results and history; a bad one is moved aside. True where it went well.

    Raises OutputError where nothing can be written.
    """
    begun = time.monotonic()
    stamp = _stamp(path)
    if stamp is None:
        return False
    started_us = stamp[1] // 1000 if watch_.date_by_file else watch_.template.started_us
    job = replace(watch_.template, log=str(path), folder=watch_.out / path.stem, started_us=started_us)
    contained = _Contained()
    with contained:
        outcome = run_job(job)
    if contained.reason:
        if _stamp(path) != stamp:
            say("changed_while_read", {"file": path.name})
        else:
            set_aside(path, contained.reason, say)
        return False
    facts = {"file": path.name, "severity": outcome.severity or "none", "seconds": round(time.monotonic() - begun, 2)}
    say("done", {**facts, "history": list(outcome.notes)})
    _alarm(watch_, path, outcome, say)
    if _stamp(path) == stamp:
        _note_done(watch_, path.name, stamp)
    return True


class _Contained:
    """Keeps what is wrong with one file from ending the watch. What cannot be written, and an interrupt, go on."""

    def __init__(self) -> None:
        self.reason = ""

    def __enter__(self) -> None:
        """Nothing to prepare."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> bool:
        """Keep the reason of an error that belongs to the file."""
        if not isinstance(error, Exception) or isinstance(error, OutputError):
            return False
        internal = "" if isinstance(error, TracekitError) else f"internal error, {type(error).__name__}: "
        self.reason = internal + " ".join(str(error).split())
        return True


def _merge(watch_: Watch, say: Say) -> None:
    """Merge the small files of the history, now and then."""
    try:
        merged = compact(open_place(watch_.template.history))
    except TracekitError as error:
        say("cannot_merge", {"reason": str(error)})
        return
    say("merged", {"files_before": merged.before, "files_after": merged.after})


def _stamp(path: Path) -> _Stamp | None:
    try:
        facts = path.stat()
    except OSError:
        return None
    return facts.st_size, facts.st_mtime_ns


def is_done(watch_: Watch, name: str, stamp: _Stamp) -> bool:
    """Whether a note says that the file was done as it is now."""
    try:
        note = json.loads(watch_.notes.read(_note_name(watch_, name)))
        return bool(note["size"] == stamp[0] and note["time_ns"] == stamp[1])
    except (OSError, ValueError, KeyError, TypeError):
        return False


def _note_done(watch_: Watch, name: str, stamp: _Stamp) -> None:
    body = {"schema": "tracekit.watched/1", "file": name, "size": stamp[0], "time_ns": stamp[1]}
    watch_.notes.put(_note_name(watch_, name), json.dumps(body).encode())


def _note_name(watch_: Watch, name: str) -> str:
    """One note per watched folder and file name."""
    key = digest([str(watch_.folder.resolve()), name], 32)
    return f"{NOTES}/{key[:2]}/{key}.json"


def set_aside(path: Path, reason: str, say: Say) -> None:
    """Move a bad file into a folder beside it, with its reason; nothing there is overwritten."""
    folder = path.parent / ASIDE
    try:
        folder.mkdir(exist_ok=True)
        target = _free_name(folder, path.name)
        path.rename(target)
        target.with_name(f"{target.name}.reason.txt").write_text(f"{reason}\n", encoding="utf-8", errors="replace")
    except OSError as error:
        say("cannot_set_aside", {"file": path.name, "reason": reason, "why": error.strerror or str(error)})
        return
    say("set_aside", {"file": path.name, "reason": reason, "to": f"{ASIDE}/{target.name}"})


def _free_name(folder: Path, name: str) -> Path:
    target, n = folder / name, 1
    while target.exists():
        n += 1
        target = folder / f"{n}-{name}"
    return target


def _alarm(watch_: Watch, path: Path, outcome: Outcome, say: Say) -> None:
    """Run the user's command for a log that is bad enough: no shell, its facts in the environment, a time limit."""
    if not watch_.command or outcome.severity not in watch_.alarm_from:
        return
    facts = {
        "TRACEKIT_LOG": path.name, "TRACEKIT_SEVERITY": str(outcome.severity), "TRACEKIT_PAGE": str(outcome.page or ""),
    }  # fmt: skip
    try:
        ended = subprocess.run(  # noqa: S603 - the command is the user's own, given on the command line
            watch_.command, env={**os.environ, **facts}, timeout=watch_.options.command_s, check=False,
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        say("command_too_slow", {"file": path.name, "seconds": watch_.options.command_s})
    except OSError as error:
        say("command_failed", {"file": path.name, "why": error.strerror or type(error).__name__})
    else:
        say("command_ran", {"file": path.name, "status": ended.returncode})
