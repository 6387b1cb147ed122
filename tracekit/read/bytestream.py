"""The bytes of a file in pieces that end at line ends, hashed and unpacked on the way."""

import hashlib
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from io import BufferedReader
from pathlib import Path
from typing import IO, Protocol

import pyarrow as pa

from tracekit.errors import LogReadError, message

_GZIP, _ZSTD, _ZIP, _PARQUET = b"\x1f\x8b", b"\x28\xb5\x2f\xfd", b"PK\x03\x04", b"PAR1"

_DAMAGES = (
    zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError, struct.error, ValueError,
)  # fmt: skip
_STEP = 1 << 15  # what stands in a step before damage is lost
LONGEST_LINE = 16 << 20
"""Bytes after which a line without an end is cut, so that memory stays bounded."""


class Hash(Protocol):
    """What is used of a hash object."""

    def update(self, data: bytes, /) -> None:
        """Take in bytes."""
        ...


def packing_of(path: Path) -> str:
    """plain, gzip, zstd, zip or parquet, by the first bytes. Raises LogReadError where the file cannot be read."""
    with reading(path) as file:
        start = file.read(4)
    if not start:
        raise LogReadError(message(path.name, "an empty file", "rows of samples", "Export the log again."))
    known = {_GZIP: "gzip", _ZSTD: "zstd", _ZIP: "zip", _PARQUET: "parquet"}
    return next((name for magic, name in known.items() if start.startswith(magic)), "plain")


def file_hash(path: Path) -> str:
    """SHA-256 of the bytes of a file in hex."""
    with reading(path) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextmanager
def reading(path: Path) -> Iterator[BufferedReader]:
    """A file open for reading. Raises LogReadError where it cannot be opened, or read on, or is gone."""
    try:
        with path.open("rb") as file:
            yield file
    except OSError as error:
        found = error.strerror or "unreadable"
        raise LogReadError(message(path.name, found, "a readable file", "Check the name and the rights.")) from error


def size_of(path: Path) -> int:
    """Bytes of a file. Raises LogReadError where it is gone."""
    with reading(path) as file:
        return file.seek(0, 2)


def unpacked(
    path: Path, packing: str, size: int, digest: Hash | None = None, damage: list[str] | None = None
) -> Iterator[bytes]:
    """The content of a file in pieces of about `size` bytes; `digest` takes in the bytes as they stand in the file.

    Where compression is damaged what was unpacked before is given, and a note is added to `damage`.
    Raises LogReadError where nothing can be unpacked.
    """
    notes = damage if damage is not None else []
    with reading(path) as file:
        if packing == "plain":
            while piece := file.read(size):
                if digest is not None:
                    digest.update(piece)
                yield piece
            return
        if packing in ("zip", "zstd") and digest is not None:
            while piece := file.read(1 << 20):
                digest.update(piece)
            file.seek(0)
        step = min(size, _STEP)
        ways = {"zip": _unzip(path, step), "zstd": _from_zstd(file, step), "gzip": _from_gzip(file, step, digest)}
        found = False
        try:
            for piece in ways[packing]:
                found = True
                yield piece
        except LogReadError:
            raise
        except _DAMAGES as error:
            if not found:
                raise _broken(path.name) from error
            notes.append("the compressed file is damaged or cut: what follows the damage is lost")


def _from_zstd(file: IO[bytes], size: int) -> Iterator[bytes]:
    with pa.CompressedInputStream(pa.PythonFile(file, mode="r"), "zstd") as stream:
        while piece := stream.read(size):
            yield piece


def _from_gzip(file: IO[bytes], size: int, digest: Hash | None) -> Iterator[bytes]:
    """Unpack gzip, which may have several members, one after the other, and zeros at the end."""
    unpack, begun = zlib.decompressobj(wbits=31), False
    while raw := file.read(1 << 18):
        if digest is not None:
            digest.update(raw)
        while raw or unpack.unconsumed_tail:
            piece = unpack.decompress(raw, size)
            begun = True
            if piece:
                yield piece
            raw = unpack.unconsumed_tail
            if unpack.eof:
                raw = unpack.unused_data.lstrip(b"\0")
                unpack, begun = zlib.decompressobj(wbits=31), False
    if begun:
        yield from filter(None, [unpack.flush()])
        raise EOFError("gzip")


def _unzip(path: Path, size: int) -> Iterator[bytes]:
    with zipfile.ZipFile(path) as archive:
        members = [m for m in archive.infolist() if not m.is_dir()]
        if len(members) != 1:
            found = f"a zip file with {len(members)} members"
            raise LogReadError(message(path.name, found, "one log in it", "Unpack it and name the log."))
        with archive.open(members[0]) as member:
            while piece := member.read(size):
                yield piece


def _broken(name: str) -> LogReadError:
    return LogReadError(message(name, "a damaged compressed file", "a complete one", "Copy or export the log again."))


def whole_lines(pieces: Iterator[bytes], size: int, *, quoted: bool = False) -> Iterator[bytes]:
    """The same bytes in pieces of about `size` that end at a line end, the last one perhaps not.

    With `quoted` a line end between quotes is none. A line of more than `LONGEST_LINE` bytes is cut.
    """
    kept: list[bytes] = []
    length = quotes = 0
    for piece in pieces:
        kept.append(piece)
        length += len(piece)
        if length < size:
            quotes += piece.count(b'"') if quoted else 0
            continue
        cut = _last_end(piece, quotes if quoted else None)
        if cut == 0 and length < LONGEST_LINE:
            quotes += piece.count(b'"') if quoted else 0
            continue
        yield b"".join([*kept[:-1], memoryview(piece)[:cut]]) if cut else b"".join([*kept, b"\n"])
        kept = [piece[cut:]] if cut else []
        length = len(kept[0]) if kept else 0
        quotes = kept[0].count(b'"') if quoted and kept else 0
    rest = b"".join(kept)
    if rest:
        yield rest


def _last_end(piece: bytes, quotes: int | None) -> int:
    """Position after the last line end, one that is not between quotes where `quotes` before the piece are given."""
    cut = piece.rfind(b"\n") + 1
    while quotes is not None and cut and (quotes + piece.count(b'"', 0, cut)) % 2:
        cut = piece.rfind(b"\n", 0, cut - 1) + 1
    return cut
