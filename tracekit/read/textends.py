"""The last lines of a text file, and all of its lines as they stand."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import pyarrow as pa

from tracekit.options.evidence import EVIDENCE
from tracekit.options.read import ReadOptions
from tracekit.read.bounds import bounded
from tracekit.read.bytestream import size_of, unpacked, whole_lines
from tracekit.read.cells import cell_kind, is_reading
from tracekit.read.delimited import parse
from tracekit.read.encoding import as_utf8, find_encoding
from tracekit.read.head import Head
from tracekit.read.rows import Rows
from tracekit.read.sniff import split
from tracekit.read.textfile import TextFile, first_bytes, last_lines, prepared, shape_of


def last_rows(file: TextFile, types: Mapping[str, pa.DataType]) -> Rows | None:
    """The last whole lines of a file that is not packed as columns of some types."""
    lines = [] if file.document is not None else last_lines(file.path, file.encoding, file.mend)
    if not lines:
        return None
    return parse(prepared("\n".join(lines).encode(), file.form), replace(shape_of(file, types), file_name=""), 1)


def ends_otherwise(file: TextFile, head: Head) -> bool:
    """True where the last lines of a file are not made like the first ones: another table may stand there."""
    if file.mend is not None or file.document is not None or file.form.multiline:
        return False
    lines = last_lines(file.path, file.encoding, None)[-EVIDENCE.last_lines :]
    known = [c for c in head.columns if c.kind == "number" and not c.source and c.name in file.names]
    if not lines or not known:
        return False
    rows = [split(line, file.form.delimiter, '"') for line in lines]
    fitting = [r for r in rows if len(r) == file.form.fields]
    if len(fitting) < EVIDENCE.last_share * len(rows):
        return True
    for column in known:
        cells = [r[file.names.index(column.name)] for r in fitting]
        words = sum(cell_kind(cell) == "text" and not is_reading(cell) for cell in cells)
        if words > EVIDENCE.last_share * len(cells):
            return True
    return False


def plain_lines(name: str, path: Path, packing: str, options: ReadOptions) -> Iterator[bytes]:
    """A text file as UTF-8 in pieces of whole lines."""
    raw, _ = first_bytes(path, packing, options)
    pieces = bounded(unpacked(path, packing, options.block_bytes), size_of(path), name, options)
    return whole_lines(as_utf8(pieces, find_encoding(raw, name)), options.block_bytes)
