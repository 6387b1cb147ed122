"""Stamps of whole columns as nanoseconds, without a loop over rows."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.read.rows import valid
from tracekit.read.stampform import StampForm
from tracekit.read.stamps import MONTHS
from tracekit.read.stampwords import all_spelled_out

NS = 1_000_000_000
_DAY_NS = 86_400 * NS
_PACKED_DATE, _PACKED_BOTH = 10_000_000, 10_000_000_000_000
_CENTURY = 20_000_000_000_000
"""What is lacking from a date and clock in one number whose year has two figures."""
_FARTHEST_S = (1 << 62) / NS

_BELOW_S = {"fraction": 0, "centi": NS // 100, "milli": NS // 1000, "micro": NS // 1_000_000}
"""Sizes of counts that follow the seconds [ns]; that of a fraction depends on its figures."""

_MOST_SHAPES, _MOST_DIGITS = 64, 18

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class _Runs:
    """Runs of digits, one entry each: values of shape (n,) or (1,), lengths, the byte before; PM flags (n,)."""

    values: list[Ints]
    lengths: list[int]
    before: list[NDArray[np.uint8]]
    afternoon: NDArray[np.bool_]


def stamp_ns(array: pa.Array, form: StampForm) -> tuple[Ints, NDArray[np.bool_]]:
    """Nanoseconds of stamps in text, and where they are sound, both of shape (n,).

    Dates count from 1970 (as UTC where the zone is written, else as local time), stamps without a date from zero.
    """
    if pa.types.is_floating(array.type):
        return _clock_of_floats(array, form)
    if pa.types.is_integer(array.type):
        array = array.cast(pa.string())
    if form.spelled:
        array = all_spelled_out(array)
    if form.worded:
        array = _numbered_months(array, weekday=form.weekday)
    texts = array.cast(pa.binary())
    data = np.frombuffer(texts.buffers()[2] or b"", np.uint8)
    offsets = np.frombuffer(texts.buffers()[1], np.int32)[texts.offset : texts.offset + len(texts) + 1].astype(np.int64)
    rows = len(texts)
    ns, sound = np.zeros(rows, np.int64), np.zeros(rows, np.bool_)
    widths = np.diff(offsets)
    if rows and widths[0] > 0 and (widths == widths[0]).all():
        cells = data[offsets[0] : offsets[-1]].reshape(rows, int(widths[0]))
        if bool((cells[0] == cells[-1]).all()) and bool((cells == cells[0]).all()):
            cells = cells[:1]  # as the dates of a day are
        ns, sound = _matrix(np.ascontiguousarray(cells.T), form)
    else:
        for width in np.unique(widths[(widths > 0) & (widths < 64)]).tolist():
            here = np.nonzero(widths == width)[0]
            cells = data[offsets[here][None, :] + np.arange(width)[:, None]]
            ns[here], sound[here] = _matrix(cells, form)
    return np.broadcast_to(ns, (rows,)), sound & valid(texts)


def _clock_of_floats(array: pa.Array, form: StampForm) -> tuple[Ints, NDArray[np.bool_]]:
    """Hours, minutes and seconds side by side in numbers with a fraction, which are a clock and never a date."""
    values = np.asarray(array.cast(pa.float64()).to_numpy(zero_copy_only=False), np.float64)
    if not {"packed_short", "packed_short_ms"}.isdisjoint(form.fields):
        return _short_of_floats(values / 1e3 if "packed_short_ms" in form.fields else values)
    seconds = values / 1e3 if "clock_ms" in form.fields else values
    sound = np.isfinite(seconds) & (seconds >= 0) & (seconds < 240_000)
    seconds = np.where(sound, seconds, 0.0)
    whole = np.floor(seconds).astype(np.int64)
    minute, second = whole // 100 % 100, whole % 100
    sound &= (minute < 60) & (second < 60)
    ns = (whole // 10_000 * 3600 + minute * 60 + second) * NS + np.rint((seconds - whole) * 1e6).astype(np.int64) * 1000
    return ns, sound


def _short_of_floats(values: NDArray[np.float64]) -> tuple[Ints, NDArray[np.bool_]]:
    """Stamps yymmddhhmmss in numbers, which hold tenths of a millisecond beside so many figures; shape (n,)."""
    sound = np.isfinite(values) & (values > 0) & (values < 1e12)
    filled = np.where(sound, values, 10_101_000_000.0)
    whole = np.floor(filled).astype(np.int64)
    below = np.rint((filled - whole) * 1e4).astype(np.int64) * (NS // 10_000)
    runs = _Runs([whole], [12], [np.zeros(1, np.uint8)], np.zeros(1, np.bool_))
    ns, real = _combine(runs, StampForm(fields=("packed_short",)), len(values))
    return ns + below, sound & real


def _numbered_months(array: pa.Array, *, weekday: bool) -> pa.Array:
    """Names of months replaced by their numbers, after the name of a day was taken off."""
    texts = pc.utf8_lower(array.cast(pa.binary()).cast(pa.string(), safe=False))
    if weekday:
        texts = pc.replace_substring_regex(texts, r"^\s*\p{L}+\.?,?\s+", "", max_replacements=1)
    for accented, plain in zip("äáéûşğźú", "aaeusgzu", strict=True):
        texts = pc.replace_substring(texts, accented, plain)
    for starts, number in MONTHS:
        pattern = r"(?:" + "|".join(starts.split()) + r")\p{L}*\.?"
        texts = pc.replace_substring_regex(texts, pattern, f"{number:02d}", max_replacements=1)
    return texts


def _matrix(cells: NDArray[np.uint8], form: StampForm) -> tuple[Ints, NDArray[np.bool_]]:
    """Stamps of equal length, one per column of `cells` (width, n); those of one shape are taken together."""
    figures = cells - np.uint8(48)
    digit = figures < 10
    rows = cells.shape[1]
    if all(bool((line == line[0]).all()) for line in digit):
        return _shape(cells, figures, digit[:, 0], form)
    ns, sound = np.zeros(rows, np.int64), np.zeros(rows, np.bool_)
    key = np.zeros(rows, np.int64)
    for line in digit:
        key = key * 2 + line
    shapes, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    for k in range(min(len(shapes), _MOST_SHAPES)):
        here = np.nonzero(inverse == k)[0]
        ns[here], sound[here] = _shape(cells[:, here], figures[:, here], digit[:, first[k]], form)
    return ns, sound


def _shape(
    cells: NDArray[np.uint8], figures: NDArray[np.uint8], digit: NDArray[np.bool_], form: StampForm
) -> tuple[Ints, NDArray[np.bool_]]:
    """Stamps whose digits stand at the same places; a missing fraction counts as zero."""
    rows = cells.shape[1]
    edges = np.diff(np.concatenate([[0], digit.view(np.int8), [0]]))
    starts, stops = np.nonzero(edges == 1)[0].tolist(), np.nonzero(edges == -1)[0].tolist()
    lengths = [stop - start for start, stop in zip(starts, stops, strict=True)]
    if max(lengths, default=0) > _MOST_DIGITS:
        return np.zeros(rows, np.int64), np.zeros(rows, np.bool_)
    values = [_number(figures[a:b]) for a, b in zip(starts, stops, strict=True)]
    before = [cells[max(a - 1, 0)] for a in starts]
    below = next((f for f in _BELOW_S if f in form.fields), None)
    if below is not None and len(values) == len(form.fields) - 1:
        place = form.fields.index(below)
        values.insert(place, np.zeros(1, np.int64))
        lengths.insert(place, 1)
        before.insert(place, cells[0])
    if len(values) != len(form.fields):
        return np.zeros(rows, np.int64), np.zeros(rows, np.bool_)
    afternoon = ((cells[~digit] | 32) == ord("p")).any(axis=0) if form.twelve else np.zeros(1, np.bool_)
    return _combine(_Runs(values, lengths, before, afternoon), form, rows)


def _number(figures: NDArray[np.uint8]) -> Ints:
    """Numbers from their figures (length, n); of shape (1,) where all are the same."""
    same = [bool((line == line[0]).all()) for line in figures]
    if all(same):
        return np.array([int("".join(map(str, figures[:, 0].tolist())))], np.int64)
    total = np.zeros(1, np.int64)
    for line, constant in zip(figures, same, strict=True):
        total = total * 10 + (line[:1] if constant else line)
    return total


def _combine(runs: _Runs, form: StampForm, rows: int) -> tuple[Ints, NDArray[np.bool_]]:
    """Nanoseconds from the values of the runs, and where all are in range."""
    part: dict[str, Ints] = {}
    for value, name in zip(runs.values, form.fields, strict=True):
        part |= _unpack(value, name)
    zero = np.zeros(1, np.int64)
    hour, minute, second = (part.get(f, zero) for f in ("hour", "minute", "second"))
    sound = (minute < 60) & (second < 61)
    if form.has_date or form.twelve or form.has_packed_clock:
        sound = sound & (hour < 25)
    if form.twelve:
        hour = hour % 12 + 12 * runs.afternoon
    ns = ((hour * 60 + minute) * 60 + second) * NS
    if "fraction" in part:
        length = runs.lengths[form.fields.index("fraction")]
        sound = sound & (length <= 9)
        ns = ns + part["fraction"] * 10 ** max(9 - length, 0)
    for count, size in _BELOW_S.items():
        if size and count in part:
            sound = sound & (part[count] * size < NS)
            ns = ns + part[count] * size
    if "days" in part:
        ns = ns + part["days"] * _DAY_NS
    if "day" in part:
        days, real = _days(part["year"], part["month"], part["day"])
        ns, sound = ns + days * _DAY_NS, sound & real
    if "day_of_year" in part:
        days, real = _days_of_year(part["year"], part["day_of_year"])
        ns, sound = ns + days * _DAY_NS, sound & real
    if "zone_h" in part:
        written = part["zone_h"]
        minutes = np.where(written > 99, written // 100 * 60 + written % 100, written * 60) + part.get("zone_m", zero)
        sign = np.where(runs.before[form.fields.index("zone_h")] == ord("-"), -1, 1)
        ns = ns - sign * minutes * 60 * NS
    return np.broadcast_to(ns, (rows,)), np.broadcast_to(sound, (rows,))


def _unpack(value: Ints, name: str) -> dict[str, Ints]:
    """Parts of 20240326, 101714 or 20240326101714, the last two also with three figures more for milliseconds."""
    if name.endswith("_ms"):
        return {**_unpack(value // 1000, name.removesuffix("_ms")), "milli": value % 1000}
    if name == "packed_short":
        return _unpack(value + _CENTURY, "packed")
    if name not in ("packed", "clock"):
        return {name: value}
    biggest = int(value.max(initial=0))
    if name == "clock" or biggest < _PACKED_DATE:
        return {"hour": value // 10000, "minute": value // 100 % 100, "second": value % 100}
    date = value // 1_000_000 if biggest >= _PACKED_BOTH else value
    parts = {"year": date // 10000, "month": date // 100 % 100, "day": date % 100}
    return parts | (_unpack(value % 1_000_000, "clock") if biggest >= _PACKED_BOTH else {})


def _days(year: Ints, month: Ints, day: Ints) -> tuple[Ints, NDArray[np.bool_]]:
    """Days since 1970 and where the date exists; years of two digits lie between 1970 and 2069."""
    year = np.where(year < 100, np.where(year < 70, year + 2000, year + 1900), year)
    real = (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31) & (year >= 1970) & (year < 2200)
    months = np.where(real, (year - 1970) * 12 + month - 1, 0).astype("M8[M]")
    days = months.astype("M8[D]").astype(np.int64)
    following = (months + 1).astype("M8[D]").astype(np.int64)
    result = days + np.where(real, day - 1, 0)
    return result, real & (result < following)


def _days_of_year(year: Ints, day: Ints) -> tuple[Ints, NDArray[np.bool_]]:
    """Days since 1970 of a day that is counted through its year from 1, and where the date exists."""
    first, real = _days(year, np.ones_like(year), np.ones_like(year))
    following = _days(year + 1, np.ones_like(year), np.ones_like(year))[0]
    result = first + day - 1
    return result, real & (day >= 1) & (result < following)


def moment_ns(array: pa.Array) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Nanoseconds of a column of a type of time or date, and where it holds any, shape (n,)."""
    kind = array.type
    if pa.types.is_date(kind):
        array = array.cast(pa.timestamp("ms"))
        kind = array.type
    factor = {"s": 10**9, "ms": 10**6, "us": 10**3, "ns": 1}[kind.unit]
    whole = array.cast(pa.int64() if kind.bit_width == 64 else pa.int32()).cast(pa.int64())
    values = np.frombuffer(whole.buffers()[1], np.int64)[whole.offset : whole.offset + len(whole)]
    return values * factor, valid(array)


def within_reach(seconds: NDArray[np.float64]) -> NDArray[np.float64]:
    """Seconds from the first row, NaN in place where they lie further off than nanoseconds in 64 bits reach."""
    if not len(seconds) or (seconds.min() > -_FARTHEST_S and seconds.max() < _FARTHEST_S):
        return seconds
    seconds[~(np.abs(seconds) < _FARTHEST_S)] = np.nan
    return seconds
