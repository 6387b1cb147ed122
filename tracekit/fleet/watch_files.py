"""The files of a watched folder: which are there, whether they can be opened, and moving bad ones aside."""

import itertools
import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path

ASIDE = "set-aside"
_Stamp = tuple[int, int]
_DEEPEST = 8
Say = Callable[[str, Mapping[str, object]], None]


def logs_below(folder: Path, endings: tuple[str, ...], *, recursive: bool) -> Iterator[tuple[str, _Stamp]]:
    """Names (with `/`) and stamps of the logs in the folder, and below it where `recursive`.

    Links and hidden or partial files and folders are left alone, and so is what was set aside.
    """
    yield from _inside(folder, "", endings, _DEEPEST if recursive else 0)


def _inside(folder: Path, above: str, endings: tuple[str, ...], deeper: int) -> Iterator[tuple[str, _Stamp]]:
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                if entry.name.startswith((".", "~")):
                    continue
                try:
                    if entry.is_file(follow_symlinks=False) and entry.name.casefold().endswith(endings):
                        facts = entry.stat(follow_symlinks=False)
                        yield f"{above}{entry.name}", (facts.st_size, facts.st_mtime_ns)
                    elif deeper and entry.name != ASIDE and entry.is_dir(follow_symlinks=False):
                        yield from _inside(folder / entry.name, f"{above}{entry.name}/", endings, deeper - 1)
                except OSError:
                    continue
    except OSError:
        return


def opens(path: Path) -> bool:
    """Whether the file can be opened: a logger may hold it locked, a share may be gone."""
    try:
        with path.open("rb") as file:
            return bool(file.read(1))
    except OSError:
        return False


def stamp_of(path: Path) -> _Stamp | None:
    """Size and time of last change [ns] of a file, None where it is gone."""
    try:
        facts = path.stat()
    except OSError:
        return None
    return facts.st_size, facts.st_mtime_ns


def set_aside(path: Path, reason: str, say: Say) -> bool:
    """Move a bad file into a folder beside it, its reason first; nothing there is overwritten. True where it moved."""
    folder = path.parent / ASIDE
    if folder.is_symlink():
        say("cannot_set_aside", {"file": path.name, "reason": reason, "why": f"{ASIDE} is a link"})
        return False
    try:
        folder.mkdir(exist_ok=True)
        target, why = _free_name(folder, path.name)
        try:
            why.write_text(f"{reason}\n", encoding="utf-8", errors="replace")
            path.rename(target)
        except OSError:
            with suppress(OSError):
                why.unlink()
            raise
    except OSError as error:
        say("cannot_set_aside", {"file": path.name, "reason": reason, "why": error.strerror or str(error)})
        return False
    say("set_aside", {"file": path.name, "reason": reason, "to": f"{ASIDE}/{target.name}"})
    return True


def _free_name(folder: Path, name: str) -> tuple[Path, Path]:
    """A name that nothing has, and the place of its reason, made empty here: so no other watch takes the same name."""
    for number in itertools.count(1):
        target = folder / (name if number == 1 else f"{number}-{name}")
        why = target.with_name(f"{target.name}.reason.txt")
        if not os.path.lexists(target):
            with suppress(FileExistsError):
                why.open("x").close()
                return target, why
    raise AssertionError
