"""Pieces of delimited text as columns, through Arrow's parser."""

from collections import deque
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import field, replace

import numpy as np
import pyarrow as pa
import pyarrow.csv as pcsv
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.trace import Rejection
from tracekit.options.read import ReadOptions
from tracekit.read.encoding import DAMAGE
from tracekit.read.restarts import RESTART, tells_restart
from tracekit.read.rows import Rows
from tracekit.read.sections import check_sections
from tracekit.read.values import NumberForm, column_numbers

OPEN = b"\x03"
AGAIN = b"\x04"
FOOT = b"\x07"
CUT = b"\x02"
"""Stands at the end of a last line that may be cut."""

MISSING = (
    "", "NaN", "nan", "NAN", "-NaN", "-nan", "NA", "N/A", "n/a", "#N/A", "#N/A N/A", "#NA", "#NV", "NULL", "null",
    "None", "1.#QNAN", "-1.#QNAN", "1.#IND", "-1.#IND", "#NUM!", "#VALUE!", "#DIV/0!", "#REF!", "inf", "-inf", "Inf",
    "-Inf", "---", "--", "-", "----", "-----", "*", "**", "***", "****", "?", "??", "???", "OVR", "OVER", "UNDER",
    "OL", "+OL", "-OL", "+OVER", "-OVER", "OVF", "Overflow", "Underflow", "Overrange", "Underrange", "BAD", "Bad",
    "bad", "Err", "ERR", "ERROR", "Error", "error", "Invalid", "INVALID", "invalid", "BURNOUT", "Burnout", "No Data",
    "no data", "Missing", "missing", "Fault", "FAULT",
)  # fmt: skip
"""Words that loggers write where there is no reading (common practice, no source)."""


_LAST = ord("E")
"""Figures, signs and exponents stand up to here in ASCII; "nan" and "inf", which are no words for a parser, do not."""


class Words:
    """Whether a column of numbers held anything but numbers: then words are looked for at once."""

    def __init__(self) -> None:
        """Nothing was met yet."""
        self.met = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TextShape:
    """How a text is cut into columns.

    names      of all columns, unique
    types      Arrow types of the columns that are wanted; the others are not read
    multiline  quoted fields may hold line ends
    file_name  of the file, whose rows then must be one table; empty where lines are no longer those of the file
    units      below the names, empty where none stand there
    words      what was met in the pieces so far
    """

    names: tuple[str, ...]
    types: Mapping[str, pa.DataType]
    delimiter: str = ","
    quote: str | None = '"'
    multiline: bool = False
    decimal: str = "."
    file_name: str = ""
    units: tuple[str, ...] = ()
    words: Words = field(default_factory=Words, compare=False)


def parse(text: bytes, shape: TextShape, first_line: int, line_count: int = -1) -> Rows:
    """One piece of text, whole lines each, as columns of the wanted types.

    A field that is not of its column's type comes out null; a line with too many or too few fields is rejected.
    `line_count` spares counting the lines again.
    Raises LogReadError where another table begins among the rows.
    """
    if shape.quote and not shape.multiline:
        text = _mark_open_quotes(text, shape)
    bad: list[tuple[int, str]] = []
    lenient = False
    try:
        batch = _typed(text, shape, bad)
    except pa.ArrowInvalid:
        bad.clear()
        batch, lenient = _read_leniently(text, shape, bad), True
    whole = not bad and batch.num_rows == (line_count if line_count >= 0 else text.count(b"\n"))
    if shape.file_name and (lenient or not whole):
        again = check_sections(text, shape.names, shape.units, shape.delimiter, first_line, shape.file_name)
        if lenient and again:
            text = _marked(text, again, shape)
            bad.clear()
            batch = _read_leniently(text, shape, bad)
            whole = False
    lines = None if whole else _line_numbers(text, first_line, [row for row, _ in bad], batch.num_rows)
    rejected = _rejections(text, first_line, bad)
    columns = {name: _single(batch[name]) for name in shape.types}
    return Rows(columns=columns, count=batch.num_rows, first_line=first_line, lines=lines, rejected=rejected)


def _mark_open_quotes(text: bytes, shape: TextShape) -> bytes:
    """Mark lines with an odd number of quotes, so that they are rejected and do not swallow the lines below."""
    if b'"' not in text:
        return text
    data = np.frombuffer(text, np.uint8)
    ends = np.nonzero(data == 10)[0]
    starts = np.concatenate([[0], ends[:-1] + 1])
    odd = np.nonzero(np.bitwise_xor.reduceat((data == ord('"')).view(np.uint8), starts))[0]
    if len(odd) == 0:
        return text
    mark = (shape.delimiter.encode() + OPEN) * (len(shape.names) + 1)
    parts, place = [], 0
    for number in odd.tolist():
        end = int(ends[number]) if number < len(ends) else len(text)
        start = int(ends[number - 1]) + 1 if number else 0
        parts += [text[place:start], text[start:end].replace(b'"', b"").rstrip(b"\r"), mark]
        place = end
    return b"".join([*parts, text[place:]])


def _marked(text: bytes, lines: list[tuple[int, int]], shape: TextShape) -> bytes:
    """The text with some lines, by begin and end, marked to be rejected: they are the header once more."""
    mark = (shape.delimiter.encode() + AGAIN) * (len(shape.names) + 1)
    parts, place = [], 0
    for _, stop in lines:
        parts += [text[place:stop], mark]
        place = stop
    return b"".join([*parts, text[place:]])


def _reason(row: pcsv.InvalidRow) -> str:
    for mark, reason in (
        (AGAIN, "the header once more"),
        (DAMAGE, "zero bytes in the line"),
        (CUT, "last line is cut"),
        (FOOT, "at the end, as a footer of numbers"),
        (OPEN, "a quote is not closed"),
    ):
        if mark.decode() in (row.text or ""):
            return reason
    if tells_restart(row.text or ""):
        return RESTART
    return f"{row.actual_columns} fields instead of {row.expected_columns}"


def _typed(text: bytes, shape: TextShape, bad: list[tuple[int, str]]) -> pa.Table:
    """A piece by the types of its columns. Raises ArrowInvalid where a field does not fit its type.

    Columns of numbers in which no word can stand are read as such: to compare each cell with the words that mean a
    missing reading takes a fifteenth of the time.
    """
    numeric = all(pa.types.is_floating(kind) or pa.types.is_integer(kind) for kind in shape.types.values())
    if numeric and not shape.words.met and text and int(np.frombuffer(text, np.uint8).max()) <= _LAST:
        try:
            return _read(text, shape, shape.types, bad, missing=("",))
        except pa.ArrowInvalid:
            bad.clear()
            shape.words.met = True
    return _read(text, shape, shape.types, bad)


def _read(
    text: bytes,
    shape: TextShape,
    types: Mapping[str, pa.DataType],
    bad: list[tuple[int, str]],
    missing: tuple[str, ...] = MISSING,
) -> pa.Table:
    def note(row: pcsv.InvalidRow) -> str:
        bad.append((row.number, _reason(row)))
        return "skip"

    return pcsv.read_csv(
        pa.BufferReader(text),
        read_options=pcsv.ReadOptions(column_names=list(shape.names), use_threads=False, block_size=len(text) + 1),
        parse_options=pcsv.ParseOptions(
            delimiter=shape.delimiter,
            quote_char=shape.quote or False,
            newlines_in_values=shape.multiline,
            invalid_row_handler=note,
        ),
        convert_options=pcsv.ConvertOptions(
            column_types=dict(types),
            include_columns=list(types),
            null_values=list(missing),
            strings_can_be_null=True,
            check_utf8=False,
            decimal_point=shape.decimal,
        ),
    )


def _read_leniently(text: bytes, shape: TextShape, bad: list[tuple[int, str]]) -> pa.Table:
    """The same where some field does not fit its type: read as text, then converted where possible."""
    table = _read(text, shape, dict.fromkeys(shape.types, pa.binary()), bad)
    arrays = [_convert(_single(table[name]), kind, shape.decimal) for name, kind in shape.types.items()]
    return pa.table(arrays, names=list(shape.types))


def _convert(texts: pa.Array, kind: pa.DataType, decimal: str) -> pa.Array:
    """Texts as a type, null where they are not of it."""
    if pa.types.is_dictionary(kind):
        return texts.dictionary_encode()
    if not (pa.types.is_floating(kind) or pa.types.is_integer(kind)):
        return texts
    values = column_numbers(texts, NumberForm(decimal=decimal))
    if pa.types.is_floating(kind):
        return _arrow_floats(values)
    fits = (values == np.rint(values)) & (np.abs(values) < 2.0 ** (kind.bit_width - 1))
    return _arrow_floats(np.where(fits, values, np.nan))


def _arrow_floats(values: NDArray[np.float64]) -> pa.Array:
    """Floats as an Arrow array, NaN kept."""
    return pa.Array.from_buffers(pa.float64(), len(values), [None, pa.py_buffer(np.ascontiguousarray(values))])


def _single(column: pa.ChunkedArray) -> pa.Array:
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()


def _line_numbers(text: bytes, first_line: int, bad: list[int], rows: int) -> NDArray[np.int64]:
    """Line numbers of the good rows where some lines are blank or bad."""
    numbers = _lines_with_text(text) + first_line
    keep = np.ones(len(numbers), np.bool_)
    keep[[b - 1 for b in bad if b <= len(numbers)]] = False
    numbers = numbers[keep]
    if len(numbers) < rows:
        return np.arange(first_line, first_line + rows)
    return numbers[:rows]


def _lines_with_text(text: bytes) -> NDArray[np.int64]:
    """Positions, counted from 0, of the lines that are not blank."""
    ends = np.nonzero(np.frombuffer(text, np.uint8) == 10)[0]
    lengths = np.diff(np.concatenate([[-1], ends])) - 1
    starts = ends - lengths
    only_return = (lengths == 1) & (np.frombuffer(text, np.uint8)[np.minimum(starts, len(text) - 1)] == 13)
    return np.nonzero((lengths > 0) & ~only_return)[0]


def _rejections(text: bytes, first_line: int, bad: list[tuple[int, str]]) -> tuple[Rejection, ...]:
    if not bad:
        return ()
    numbers = _lines_with_text(text) + first_line
    reasons: dict[str, list[int]] = {}
    for row, reason in bad:
        reasons.setdefault(reason, []).append(int(numbers[min(row - 1, len(numbers) - 1)]))
    return tuple(
        Rejection(reason=reason, rows=len(lines), first_lines=tuple(lines)) for reason, lines in reasons.items()
    )


Rewriter = Callable[[bytes], tuple[bytes, NDArray[np.int64] | None]]
"""Gives whole lines anew, and the position of the line from which each comes, None where they stay one to one."""


def _parse_anew(text: bytes, shape: TextShape, first_line: int, line_count: int, mend: Rewriter | None) -> Rows:
    """The same as `parse`, after lines were rewritten; line numbers stay those of the file."""
    anew, origin = (text, None) if mend is None else mend(text)
    if origin is None:
        return parse(anew, shape, first_line, line_count)
    rows = parse(anew, replace(shape, file_name=""), 0, len(origin))
    own = np.arange(rows.count) if rows.lines is None else rows.lines
    rejected = tuple(
        replace(r, first_lines=tuple((origin[list(r.first_lines)] + first_line).tolist())) for r in rows.rejected
    )
    return replace(rows, lines=origin[own] + first_line, first_line=first_line, rejected=rejected)


def parse_ahead(
    pieces: Iterator[bytes], shape: TextShape, first_line: int, options: ReadOptions, mend: Rewriter | None = None
) -> Iterator[Rows]:
    """Pieces of whole lines as columns, in order, rewritten and parsed in threads ahead of the consumer."""
    with ThreadPoolExecutor(options.parse_threads, thread_name_prefix="tracekit-parse") as pool:
        waiting: deque[Future[Rows]] = deque()
        try:
            for piece in pieces:
                count = int(np.count_nonzero(np.frombuffer(piece, np.uint8) == 10))  # lets the parsing threads go on
                waiting.append(pool.submit(_parse_anew, piece, shape, first_line, count, mend))
                first_line += count
                while len(waiting) > options.parse_threads:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        finally:
            for future in waiting:
                future.cancel()
