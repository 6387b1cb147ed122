"""One station of a file in which rows of several stations stand below each other."""

from dataclasses import replace

import numpy as np
import pyarrow as pa

from tracekit.model.station import Channel
from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column
from tracekit.read.head import Head
from tracekit.read.timeplan import times_of
from tracekit.read.values import word_codes

_MOST_STATIONS, _MOST_NUMBERS = 400, 40
_MOST_BESIDE, _FEWEST_STAMPS, _ALWAYS, _NEAR = 16, 50, 0.98, 0.1


def station_column(head: Head, given: Channel | None) -> Column | None:
    """The column that names the station of each row, None where there is none."""
    if given is not None and given.column is not None:
        return head.column(given.column)
    named = [c for c in head.columns if c.hints.weight("station") >= 0.9 and not _measures(c)]
    for column in named:
        if column.kind == "text" and len(column.words) <= _MOST_STATIONS:
            return column
        if column.kind == "number" and column.profile.whole and 1 < column.levels < _MOST_NUMBERS:
            codes, words = word_codes(column.array)
            times = [seconds for _, seconds in times_of(head, None)]
            if _interleaved(column) or any(_in_blocks(codes, len(words), t) for t in times):
                return column
    return next((c for c in head.columns if _parts_stamps(c, head)), None)


def _parts_stamps(column: Column, head: Head) -> bool:
    """True for a column whose words are stations, whatever its name.

    Each word stands once under every stamp, or times begin again where the next word does.
    """
    whole = column.kind == "number" and column.profile.whole and column.hints.weight("time") < EVIDENCE.name_weight
    if not (whole or (column.kind == "text" and not column.hints.weight("time"))):
        return False
    if whole and np.count_nonzero(np.diff(column.values)) < _ALWAYS * (len(column.values) - 1):
        return False  # a state that stays from row to row, as most columns of whole numbers do
    codes, words = word_codes(column.array)
    size = len(words)
    if not 1 < size <= _MOST_BESIDE or (codes < 0).any():
        return False
    times = [seconds for _, seconds in times_of(head, None)]
    return any(_once_each(codes, size, t) or (column.kind == "text" and _in_blocks(codes, size, t)) for t in times)


def _once_each(codes: np.ndarray, size: int, seconds: np.ndarray) -> bool:
    """True where every stamp stands in as many rows as there are words, one of each, in one order."""
    whole = codes[: len(codes) // size * size].reshape(-1, size)
    if len(whole) < _FEWEST_STAMPS or float((whole == whole[0]).all(axis=1).mean()) < _ALWAYS:
        return False
    shared = float((np.diff(seconds) == 0).mean())
    return shared > _ALWAYS * (1 - 1 / size) and len(set(whole[0].tolist())) == size


def _in_blocks(codes: np.ndarray, size: int, seconds: np.ndarray) -> bool:
    """True where all rows of a word stand together and times fall back to near the first one where another begins."""
    starts = np.nonzero(np.diff(codes) != 0)[0] + 1
    falls = np.nonzero(np.diff(seconds) < 0)[0] + 1
    if len(starts) != size - 1 or starts.tolist() != falls.tolist():
        return False
    lengths = np.diff(np.concatenate([[0], starts, [len(codes)]]))
    span = float(np.ptp(seconds[: starts[0]]))
    return bool(lengths.min() >= _FEWEST_STAMPS and (np.abs(seconds[starts] - seconds[0]) < _NEAR * span).all())


def _measures(column: Column) -> bool:
    return any(column.hints.weight(r) >= 0.8 for r in ("pressure", "supply", "release", "part_present", "time"))


def _interleaved(column: Column) -> bool:
    """True where the numbers of stations change from row to row, as those of a counter do not."""
    known = column.values[np.isfinite(column.values)]
    return len(known) > 1 and float((np.diff(known) != 0).mean()) > 0.3


def one_station(head: Head, column: Column | None) -> tuple[Head, tuple[str, ...]]:
    """The rows of the station that has most, and the names of all stations in order of appearance."""
    if column is None:
        return head, ()
    codes, words = word_codes(column.array)
    counts = np.bincount(codes[codes >= 0], minlength=len(words))
    names = tuple(w.strip() for w in words)
    if len(words) == 1:
        return head, names
    mask = codes == int(counts.argmax())
    return _filtered(head, mask), names


def _filtered(head: Head, mask: np.ndarray) -> Head:
    index = pa.Array.from_buffers(
        pa.int64(), int(mask.sum()), [None, pa.py_buffer(np.nonzero(mask)[0].astype(np.int64))]
    )
    columns = tuple(
        replace(c, array=c.array.take(index), values=c.values[mask] if len(c.values) else c.values)
        for c in head.columns
    )
    return replace(head, columns=columns, rows=int(mask.sum()), restarts=())
