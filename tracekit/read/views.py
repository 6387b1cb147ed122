"""One station of a file in which rows of several stations stand below each other."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pyarrow as pa

from tracekit.model.station import Channel
from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column
from tracekit.read.head import Head, Question, joined, spread
from tracekit.read.timeplan import times_of
from tracekit.read.values import word_codes


def station_column(head: Head, given: Channel | None, context: Sequence[str] = ()) -> Column | None:
    """The column that names the station of each row, None where there is none; columns of `context` are none."""
    if given is not None and given.column is not None:
        return head.column(given.column)
    columns = [c for c in head.columns if c.name not in context]
    named = [c for c in columns if c.hints.weight("station") >= 0.9 and not _measures(c)]
    for column in named:
        if column.kind == "text" and len(column.words) <= EVIDENCE.most_stations:
            return column
        if column.kind == "number" and column.profile.whole and 1 < column.levels < EVIDENCE.most_station_numbers:
            codes, words = word_codes(column.array)
            times = [seconds for _, seconds in times_of(head, None)]
            if _interleaved(column) or any(_in_blocks(codes, len(words), t) for t in times):
                return column
    return next((c for c in columns if _parts_stamps(c, head) and _stations(c, head)), None)


def ask_station(head: Head, given: Channel | None, context: Sequence[str]) -> list[Question]:
    """The question whether the words that stand under every stamp are stations, where readings do not tell."""
    if given is not None and given.column is not None:
        return []
    columns = [c for c in head.columns if c.name not in context and c.hints.weight("time") < EVIDENCE.name_weight]
    column = next((c for c in columns if _parts_stamps(c, head) and _stations(c, head) is None), None)
    if column is None:
        return []
    words = joined(w.strip() for w in word_codes(column.array)[1])
    found = f'"{column.name}" holds {words} by turns under every stamp; whether these are stations does not show'
    line = f'station = {{ column = "{column.name}" }}'
    return [Question(found=found, line=f'{line}   # or context = ["{column.name}"] where all rows are of one station')]


def _stations(column: Column, head: Head) -> bool | None:
    """Whether words that part stamps are stations, None where that does not show.

    Rows of one station lie on the way from one stamp to the next, whatever else changes with them, as a sign of life
    does. Those of stations differ more from row to row than from stamp to stamp.
    """
    codes, words = word_codes(column.array)
    size = len(words)
    readings = [c for c in head.columns if c.kind == "number" and c.hints.weight("time") == 0 and _reads(c)]
    beside = len(set(codes[:size].tolist())) == size  # else one below the other
    if column.hints.weight("station") >= EVIDENCE.name_weight or not beside or not readings:
        return True
    values = max(readings, key=lambda c: c.hints.weight("pressure")).values
    whole = values[: len(values) // size * size].reshape(-1, size)
    step = np.diff(whole[:, 0])
    low, high = spread(values)
    moving = np.isfinite(whole[:-1]).all(axis=1) & (np.abs(step) > EVIDENCE.moving * (high - low))
    if np.count_nonzero(moving) < EVIDENCE.stamps_of_stations // 2:
        return None
    shares = np.median((whole[:-1][moving] - whole[:-1][moving][:, :1]) / step[moving][:, None], axis=0)
    if (np.abs(size * shares - np.arange(size)) < EVIDENCE.on_the_way).all():
        return False
    apart = float(np.nanmean(np.abs(np.diff(values)))) / float(np.nanmean(np.abs(values[size:] - values[:-size])))
    return True if apart > EVIDENCE.stations_apart else None


def _reads(column: Column) -> bool:
    """True for numbers that may be a pressure."""
    return column.levels > EVIDENCE.most_beside and not column.hints.sample_number


def _parts_stamps(column: Column, head: Head) -> bool:
    """True for a column whose words are stations, whatever its name.

    Each word stands once under every stamp, or times begin again where the next word does.
    """
    timely = column.hints.weight("time") >= EVIDENCE.name_weight or column.hints.time_unit is not None
    numbers = column.kind == "number" and column.levels <= EVIDENCE.most_beside
    whole = numbers and bool((column.values == np.rint(column.values)).all()) and not timely
    if not (whole or (column.kind == "text" and column.hints.weight("time") < EVIDENCE.name_weight)):
        return False
    if whole and np.count_nonzero(np.diff(column.values)) < EVIDENCE.always * (len(column.values) - 1):
        return False  # a state that stays from row to row, as most columns of whole numbers do
    codes, words = word_codes(column.array)
    size = len(words)
    if not 1 < size <= EVIDENCE.most_beside or (codes < 0).any():
        return False
    times = [seconds for _, seconds in times_of(head, None)]
    return any(_once_each(codes, size, t) or (column.kind == "text" and _in_blocks(codes, size, t)) for t in times)


def _once_each(codes: np.ndarray, size: int, seconds: np.ndarray) -> bool:
    """True where nearly every stamp stands in as many rows as there are words, one of each; a few rows may lack."""
    stamp = np.concatenate([[0], np.cumsum(seconds[1:] != seconds[:-1])])
    rows = np.bincount(stamp)
    if len(rows) < EVIDENCE.stamps_of_stations or float((rows == size).mean()) < EVIDENCE.whole_stamps:
        return False
    return len(np.unique(stamp * size + codes)) > EVIDENCE.always * len(codes)


def _in_blocks(codes: np.ndarray, size: int, seconds: np.ndarray) -> bool:
    """True where all rows of a word stand together and times fall back to near the first one where another begins."""
    starts = np.nonzero(np.diff(codes) != 0)[0] + 1
    falls = np.flatnonzero(seconds[1:] < seconds[:-1]) + 1
    if len(starts) != size - 1 or starts.tolist() != falls.tolist():
        return False
    lengths = np.diff(np.concatenate([[0], starts, [len(codes)]]))
    span = float(np.ptp(seconds[: starts[0]]))
    return bool(
        lengths.min() >= EVIDENCE.stamps_of_stations
        and (np.abs(seconds[starts] - seconds[0]) < EVIDENCE.near_start * span).all()
    )


def _measures(column: Column) -> bool:
    return any(
        column.hints.weight(r) >= EVIDENCE.name_weight
        for r in ("pressure", "supply", "release", "part_present", "time")
    )


def _interleaved(column: Column) -> bool:
    """True where the numbers of stations change from row to row, as those of a counter do not."""
    known = column.values[np.isfinite(column.values)]
    return len(known) > 1 and float((np.diff(known) != 0).mean()) > EVIDENCE.by_turns


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
