"""Cuts a program at every act that changes a file: the process ends there, or the disk is full there.

An act is an opening for writing, a write (which is cut in its middle), a sync, a rename, a removal, a new folder. At a cut
the bytes that were not synced are lost too, as at a loss of power.
"""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

DIED = 97
FINISHED = 96


class Acts:
    """Counts acts; at number `last` it ends the process (`error` None) or raises `error`.

    It raises it again at each act after that, or with `once` at that one alone.
    """

    def __init__(self, last: int, error: OSError | None = None, *, once: bool = False) -> None:
        self.last = last
        self.error = error
        self.once = once
        self.count = 0
        self.unsynced: dict[str, Path] = {}
        self.early: list[str] = []

    def act(self, before: Callable[[], object] = lambda: None) -> None:
        """Count one act."""
        self.count += 1
        if self.count < self.last or (self.once and self.count > self.last):
            return
        before()
        if self.error is not None:
            raise self.error
        for path in self.unsynced.values():
            if path.exists():
                os.truncate(path, 0)
        os._exit(DIED)


class Cut:
    """A file whose writes are acts."""

    def __init__(self, file: Any, path: Path, acts: Acts) -> None:
        self._file, self._path, self._acts = file, path, acts

    def write(self, data):
        def half():
            self._file.write(data[: len(data) // 2])
            self._file.flush()

        self._acts.act(half)
        self._acts.unsynced[str(self._path)] = self._path
        return self._file.write(data)

    def __getattr__(self, name):
        return getattr(self._file, name)

    def __enter__(self):
        return self

    def __exit__(self, *reason):
        self._file.close()


@contextmanager
def acting(acts: Acts) -> Iterator[Acts]:
    """Within it every act on files by `pathlib` and `os` is counted."""
    kept = {name: getattr(Path, name) for name in ("open", "replace", "rename", "mkdir", "unlink", "rmdir", "hardlink_to", "write_text", "write_bytes")}
    sync = os.fsync

    def opened(self, mode="r", *more, **named):
        if not set(mode) & set("wxa+"):
            return kept["open"](self, mode, *more, **named)
        acts.act()
        return Cut(kept["open"](self, mode, *more, **named), self, acts)

    def synced(number):
        acts.act()
        place = str(Path(f"/proc/self/fd/{number}").readlink())
        acts.unsynced.pop(place, None)
        sync(number)

    def moved(name):
        def move(self, target):
            acts.act()
            if str(self) in acts.unsynced:
                acts.early.append(str(self))
            return kept[name](self, target)

        return move

    def linked(self, target):
        acts.act()
        if str(target) in acts.unsynced:
            acts.early.append(str(target))
        return kept["hardlink_to"](self, target)

    def other(name):
        def do(self, *more, **named):
            acts.act()
            return kept[name](self, *more, **named)

        return do

    def written(name):
        def write(self, data, *more, **named):
            with self.open("w" if name == "write_text" else "wb", **({"encoding": "utf-8"} if name == "write_text" else {})) as file:
                return file.write(data)

        return write

    patched = {"hardlink_to": linked, "open": opened, "replace": moved("replace"), "rename": moved("rename"), "write_text": written("write_text"), "write_bytes": written("write_bytes")}
    patched |= {name: other(name) for name in ("mkdir", "unlink", "rmdir")}
    try:
        for name, do in patched.items():
            setattr(Path, name, do)
        os.fsync = synced
        yield acts
    finally:
        for name, do in kept.items():
            setattr(Path, name, do)
        os.fsync = sync


def ended_at(last: int, program: Callable[[], object]) -> tuple[bool, int]:
    """Run a program in a process that is cut at its act number `last`; whether it finished, and files renamed unsynced."""
    child = os.fork()
    if child == 0:
        status = 1
        try:
            with acting(Acts(last)) as acts:
                program()
                status = FINISHED - len(acts.early)
        finally:
            os._exit(status)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    assert status == DIED or 80 < status <= FINISHED, status
    return status != DIED, 0 if status == DIED else FINISHED - status
