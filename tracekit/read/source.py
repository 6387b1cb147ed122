"""From what a user hands in to a list of things that can be read."""

import glob
import os
import tempfile
import weakref
from collections.abc import Iterable
from pathlib import Path
from typing import Any, BinaryIO, Literal

import pyarrow as pa

from tracekit.errors import LogReadError, UsageError, message
from tracekit.frozen import dataclass

Kind = Literal["text", "parquet", "table"]
PATTERNS = (".csv", ".tsv", ".txt", ".log", ".dat", ".asc", ".parquet", ".pq", ".gz", ".zst", ".zip")


class Scratch:
    """A temporary file that goes when nobody holds it any more."""

    def __init__(self, path: Path) -> None:
        """Take charge of a file."""
        weakref.finalize(self, path.unlink, missing_ok=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One file or table to be read. `name` is a base name, never a path."""

    name: str
    path: Path | None = None
    table: pa.Table | None = None
    scratch: Scratch | None = None


def find_inputs(sources: Any, standard_input: BinaryIO | None = None) -> tuple[Input, ...]:
    """Files and tables behind a path, a list of them, a folder, a glob, "-" or a DataFrame / Arrow table.

    Raises LogReadError where there is nothing, UsageError where the kind of source is unknown.
    """
    if isinstance(sources, (list, tuple)):
        found = _each_once(i for source in sources for i in find_inputs(source, standard_input))
        if not found:
            raise LogReadError(message("logs", "an empty list", "at least one log", "Name a file."))
        return found
    if isinstance(sources, (str, os.PathLike)):
        return _from_path(os.fspath(sources), standard_input)
    return (Input(name="table", table=as_table(sources)),)


def _each_once(inputs: Iterable[Input]) -> tuple[Input, ...]:
    """Inputs without files that were named before."""
    seen: dict[object, Input] = {}
    for one in inputs:
        seen.setdefault(one.path.resolve() if one.path is not None else id(one), one)
    return tuple(seen.values())


def as_table(source: Any) -> pa.Table:
    """A DataFrame, record batch or Arrow table as an Arrow table."""
    if isinstance(source, pa.Table):
        return source
    if isinstance(source, pa.RecordBatch):
        return pa.Table.from_batches([source])
    if hasattr(source, "iloc") and hasattr(source, "columns"):
        return pa.Table.from_pandas(source, preserve_index=bool(source.index.name))
    found = type(source).__name__
    raise UsageError(message("log", found, "a path, a list of paths, a DataFrame or an Arrow table", "Hand in one."))


def _from_path(text: str, standard_input: BinaryIO | None) -> tuple[Input, ...]:
    if text == "-":
        return (_from_stream(standard_input),)
    path = Path(text)
    if _is_there(path):
        if path.is_dir():
            return _from_folder(path)
        if not path.is_file():
            todo = 'Give a pipe as standard input, with "-".'
            raise LogReadError(message(path.name, "neither a file nor a folder", "a log", todo))
        return (Input(name=path.name, path=path),)
    if any(c in text for c in "*?["):
        hits = _matches(text)
        found = tuple(Input(name=Path(h).name, path=Path(h)) for h in hits if Path(h).is_file())
        if found:
            return found
        raise LogReadError(message(text, "no file fits", "at least one log", "Check the pattern."))
    raise LogReadError(message(text, "no such file or folder", "a log", "Check the name."))


def _is_there(path: Path) -> bool:
    """Whether something has this name; no for a name that no file can have."""
    try:
        return path.exists()
    except OSError:
        return False


def _matches(text: str) -> list[str]:
    """Paths that fit a pattern; a descent does not follow links, which may lead in a circle."""
    place = Path(text)
    if "**" not in place.parts:
        return sorted(glob.glob(text))
    return sorted(map(str, Path(place.anchor).glob(str(place.relative_to(place.anchor)))))


def _from_folder(path: Path) -> tuple[Input, ...]:
    files = sorted(f for f in path.iterdir() if f.is_file() and f.suffix.lower() in PATTERNS)
    if not files:
        expected = "files that end in " + ", ".join(PATTERNS)
        raise LogReadError(message(path.name, "a folder without logs", expected, "Name the files one by one."))
    return tuple(Input(name=f.name, path=f) for f in files)


def _from_stream(stream: BinaryIO | None) -> Input:
    """Standard input goes to a temporary file first, because deciding what it is needs more than one look."""
    if stream is None:
        raise UsageError(message("-", "no standard input", "a stream of bytes", "Name a file."))
    with tempfile.NamedTemporaryFile(prefix="tracekit-", suffix=".in", delete=False) as copy:
        while piece := stream.read(1 << 20):
            copy.write(piece)
    return Input(name="standard input", path=Path(copy.name), scratch=Scratch(Path(copy.name)))
