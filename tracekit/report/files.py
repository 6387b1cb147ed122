"""Writes results into a folder: all files beside their final names first, then renamed, nothing else touched."""

import json
import os
import secrets
import stat
import time
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from functools import partial
from pathlib import Path, PurePosixPath
from typing import Any, BinaryIO

import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet

from tracekit.errors import OutputError, message
from tracekit.model.outside import visible
from tracekit.model.result import DiagnosisRecord
from tracekit.report.alone import alone
from tracekit.report.arrow import arrow_table, csv_table
from tracekit.report.json import diagnosis_json, plain_object

Write = Callable[[BinaryIO], None]

TABLES = ("cycles", "periods", "edges")
_MARK, _STALE_S = 6, 3600.0  # bytes of the mark of an unfinished file, and when it is nobody's any more
_TODO, _ANOTHER = "Choose another folder with --out.", "Choose another name or place."


def write_result(
    record: DiagnosisRecord, folder: str | Path, *, csv: bool = False, pages: Mapping[str, str] | None = None
) -> tuple[Path, ...]:
    """Write `diagnosis.json`, the three tables and `pages` (text by relative path); gives the paths written.

    With `csv` each table is written as CSV besides. Files of the same name are replaced whole.

    Raises OutputError where the folder cannot be written; then no file of this call is left behind.
    """
    writes: dict[str, Write] = {"diagnosis.json": json_write(diagnosis_json(record))}
    for name in TABLES:
        table = getattr(record, name)
        writes[f"{name}.parquet"] = _parquet_write(partial(arrow_table, table, name))
        if csv:
            writes[f"{name}.csv"] = _csv_write(partial(csv_table, table))
    for name, text in (pages or {}).items():
        writes[name] = text_write(text)
    return write_files(folder, writes)


def json_write(document: Mapping[str, object]) -> Write:
    """Writes a document as JSON text, without nulls, NaN and characters that a terminal would obey."""
    text = json.dumps(plain_object(document), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    return text_write(visible(text))


def text_write(text: str) -> Write:
    """Writes a text as UTF-8."""
    return bytes_write(text.encode("utf-8", "replace"))


def bytes_write(data: bytes) -> Write:
    """Writes bytes."""
    return lambda sink: _write_bytes(sink, data)


def write_files(
    folder: str | Path, writes: Mapping[str, Write], todo: str = _TODO, *, kept: str = ""
) -> tuple[Path, ...]:
    """Write several files of a folder, by relative path with `/`: all of them, or none.

    Each is written beside its place and synced; only when all are there they are renamed into place. With `kept`, which
    says why, a file that is there stays, even one that came while these were written.

    Raises OutputError with one message where that fails; it says `todo`.
    """
    root = Path(folder)
    targets = {_inside(root, name): write for name, write in writes.items()}
    staged: list[tuple[Path, Path]] = []
    made: list[Path] = []
    complete = False
    try:
        _refuse_folders(root, targets)
        for target, write in targets.items():
            _make_folder(target.parent, made)
            staged.append((_staged(target, write), target))
        with alone(root):
            for beside, target in staged:
                if kept:
                    _take_free_name(beside, target, kept)
                else:
                    beside.replace(target)
        complete = True
    except (OSError, pa.ArrowException) as error:
        raise _refused(root, error, todo) from error
    finally:
        if not complete:
            _take_back([beside for beside, _ in staged], made)
    for parent in {target.parent for target in targets}:
        _sync_folder(parent)
        _remove_stale(parent, {target.name for target in targets})
    return tuple(targets)


def write_file(path: Path, write: Write, *, kept: str = "") -> None:
    """Write one file, whole or not at all; what is there and is no file (a device, a pipe) is written to.

    With `kept`, which says why, a file that is there is never replaced.

    Raises OutputError where that fails.
    """
    try:
        if path.parent.is_dir() and _is_plain(path):
            write_files(path.parent, {path.name: write}, todo=_ANOTHER, kept=kept)
            return
        with path.open("wb") as sink:
            write(sink)
    except OSError as error:
        raise _refused(path, error, _ANOTHER) from error


def refuse_existing(path: Path, why: str) -> None:
    """Refuse at once, before any work, a name that `write_file` would not replace the file of; `why` says why.

    Raises OutputError where there is a file of that name.
    """
    if path.exists():
        raise _taken(path, why)


def _taken(path: Path, why: str) -> OutputError:
    return OutputError(message(str(path), "there is a file already", "a new name", why))


def _is_plain(path: Path) -> bool:
    """Whether a name is free or a file's, by one look: another process may write the same file just now."""
    try:
        return stat.S_ISREG(path.stat().st_mode)
    except FileNotFoundError:
        return True


def check_folder(folder: str | Path) -> None:
    """Refuse at once, before any work, a folder that plainly cannot be written.

    Raises OutputError.
    """
    place = Path(folder)
    try:
        while not place.exists() and place != place.parent:
            place = place.parent
    except OSError as error:
        raise _refused(Path(folder), error, _TODO) from error
    if not place.is_dir():
        raise OutputError(message(str(folder), f"{place} is a file", "a folder to write to", _TODO))
    if not os.access(place, os.W_OK | os.X_OK):
        raise OutputError(message(str(folder), f"{place} may not be written", "a folder to write to", _TODO))


def _inside(root: Path, name: str) -> Path:
    """The place of a file below `root`; a name that leads out of it is refused."""
    parts = PurePosixPath(name).parts
    if not parts or ".." in parts or name.startswith("/") or "\\" in name:
        raise OutputError(message(str(root), f'the file name "{name}"', "a name inside the folder", _TODO))
    return root.joinpath(*parts)


def _refuse_folders(root: Path, targets: Iterable[Path]) -> None:
    """Refuse, before anything is written, a folder that stands where a file belongs."""
    for target in targets:
        if target.is_dir():
            raise OutputError(message(str(root), f"{target.name} is a folder", "room for a file", _TODO))


def _remove_stale(folder: Path, names: Iterable[str]) -> None:
    """Remove what a process that was killed left unfinished, once nobody can be writing it any more."""
    with suppress(OSError):
        for path in folder.glob(".*.part"):
            name, _, mark = path.name.removeprefix(".").removesuffix(".part").rpartition(".")
            if name in names and len(mark) == 2 * _MARK and time.time() - path.stat().st_mtime > _STALE_S:
                path.unlink(missing_ok=True)


def _refused(root: Path, error: Exception, todo: str) -> OutputError:
    held = _held_open(error)
    if held is not None:
        found, todo = f"{held.name} is open in another program", "Close it there (a spreadsheet?) and run again."
        return OutputError(message(str(root), found, "files that may be replaced", todo))
    said = getattr(error, "strerror", None) or " ".join(str(error).split())
    expected = "a folder to write to" if todo == _TODO else "a place that may be written"
    return OutputError(message(str(root), f"cannot be written ({said})", expected, todo))


def _held_open(error: Exception) -> Path | None:
    """The file that another program keeps from being replaced: it is there, its folder may be written, it may not."""
    name = getattr(error, "filename2", None) or getattr(error, "filename", None)
    if not isinstance(error, PermissionError) or name is None:
        return None
    path = Path(os.fsdecode(name))
    return path if path.is_file() and os.access(path.parent, os.W_OK | os.X_OK) else None


def _make_folder(folder: Path, made: list[Path]) -> None:
    """Make a folder and its parents; those made here are added to `made`, outermost first.

    Another process may make the same parent at the same moment, or take back the empty one it made.
    """
    missing = [place for place in (folder, *folder.parents) if not place.exists()]
    for place in reversed(missing):
        with suppress(FileExistsError):
            place.mkdir(parents=True)
            made.append(place)
    folder.mkdir(parents=True, exist_ok=True)


def _staged(target: Path, write: Write) -> Path:
    """The file written and synced beside its final place."""
    beside = target.with_name(f".{target.name}.{secrets.token_hex(_MARK)}.part")
    complete = False
    try:
        with beside.open("xb") as sink:
            write(sink)
            sink.flush()
            os.fsync(sink.fileno())
        complete = True
    finally:
        if not complete:
            beside.unlink(missing_ok=True)
    return beside


def _take_free_name(beside: Path, target: Path, why: str) -> None:
    """Give a finished file a name that no file has; one that has it by now stays, and `why` is told."""
    try:
        try:
            target.hardlink_to(beside)
        except FileExistsError:
            raise
        except OSError:  # a file system without links: the name is taken first, empty
            target.open("xb").close()
            beside.replace(target)
        else:
            beside.unlink()
    except FileExistsError as error:
        raise _taken(target, why) from error


def _take_back(staged: list[Path], made: list[Path]) -> None:
    """Remove what is left of a call that failed."""
    with suppress(OSError):
        for path in staged:
            path.unlink(missing_ok=True)
        for place in reversed(made):
            place.rmdir()


def _sync_folder(folder: Path) -> None:
    """Make the renames last; systems that cannot sync a folder do without."""
    with suppress(OSError):
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def _write_bytes(sink: BinaryIO, data: bytes) -> None:
    sink.write(data)


def _parquet_write(make: Callable[[], Any]) -> Write:
    """Writes a table that is made when its turn comes, so that no two are held at once."""
    return lambda sink: pyarrow.parquet.write_table(make(), sink, compression="zstd")


def _csv_write(make: Callable[[], Any]) -> Write:
    return lambda sink: pyarrow.csv.write_csv(make(), sink)
