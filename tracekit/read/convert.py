"""Rows of a file as samples: seconds, kPa gauge, packed digitals."""

from collections.abc import Iterable, Iterator, Mapping

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.trace import PRESENT_BIT, RELEASE_BIT, SUPPLY_BIT
from tracekit.options.evidence import EVIDENCE
from tracekit.read.changed import OTHER_UNIT
from tracekit.read.clock import Samples
from tracekit.read.columns import Column, fetch
from tracekit.read.digitals import LevelPlan, filled_cells
from tracekit.read.onchange import Holder
from tracekit.read.plan import Plan, StationPlan
from tracekit.read.pressure import SENTINELS, PressurePlan
from tracekit.read.quality import bad_rows
from tracekit.read.rows import Rows, carried
from tracekit.read.timeread import TimeReader
from tracekit.read.values import column_numbers, word_codes

BITS = {"supply": SUPPLY_BIT, "release": RELEASE_BIT, "part_present": PRESENT_BIT}
_LEAST_KPA = -115.0
_MOST_KPA = 1e4  # no sensor at a vacuum cup reads more; keeps what is reckoned from it finite
"""Below there is no gauge pressure; such readings are missing."""
_LOOKED_AT = 1000  # of them in a piece of rows: enough to see whether each is another one

Missing = list[tuple[str, NDArray[np.int64]]]
Rejected = list[tuple[str, NDArray[np.int64], int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Portion:
    """Decoded rows on their way to blocks.

    stations  samples per station, None where a station has none here
    shared    the stations stand in the same rows
    rejected  reason, first line numbers, rows
    missing   reason, line numbers of rows that are used though a value is missing
    """

    stations: tuple[Samples | None, ...]
    rows_read: int
    shared: bool = False
    rejected: tuple[tuple[str, NDArray[np.int64], int], ...] = ()
    missing: tuple[tuple[str, NDArray[np.int64]], ...] = ()


class LevelReader:
    """Levels of one digital; a level that is missing is that of the row before.

    Where a signal is written on change alone an empty cell is no loss.
    """

    def __init__(self, role: str, plan: LevelPlan, columns: Mapping[str, Column]) -> None:
        """Read as planned."""
        self._role = role
        self._plan = plan
        self._column = columns[plan.column]
        self._beside = columns[plan.beside] if plan.beside else None
        self._last = plan.start

    def read(self, columns: Mapping[str, pa.Array], lines: NDArray[np.int64], missing: Missing) -> NDArray[np.int8]:
        """Levels of some rows, shape (n,)."""
        own = fetch(columns, self._column)
        beside = None if self._beside is None else (fetch(columns, self._beside), self._beside)
        level = self._plan.levels(own, self._column, beside)
        if len(level) == 0:
            return level
        if level.min() < 0:
            unknown = level < 0
            self._note(unknown, own, lines, missing)
            level = carried(level, unknown, self._last)
        self._last = int(level[-1])
        return level

    def _note(self, unknown: NDArray[np.bool_], own: pa.Array, lines: NDArray[np.int64], missing: Missing) -> None:
        lost = unknown
        if self._plan.changes:
            lost = unknown & filled_cells(own) & (self._plan.kind != "event")
        if lost.any():
            missing.append((f"no level of {self._role}, the last one is taken to hold", lines[lost]))


class PulseReader:
    """The level of a valve with two coils: on from the on coil's pulse to the off coil's."""

    def __init__(self, on: LevelReader, off: LevelReader) -> None:
        """Latch between two coils."""
        self._on = on
        self._off = off
        self._last = 0

    def read(self, columns: Mapping[str, pa.Array], lines: NDArray[np.int64], missing: Missing) -> NDArray[np.int8]:
        """Levels of some rows, shape (n,)."""
        on, off = self._on.read(columns, lines, missing), self._off.read(columns, lines, missing)
        if len(on) == 0:
            return on
        level = np.where(off == 1, np.int8(0), np.where(on == 1, np.int8(1), np.int8(-1)))
        level = carried(level, level < 0, self._last)
        self._last = int(level[-1])
        return level


def level_readers(station: StationPlan, columns: Mapping[str, Column]) -> dict[str, LevelReader | PulseReader]:
    """Readers of the digitals of a station, by role."""
    readers: dict[str, LevelReader | PulseReader] = {
        role: LevelReader(role, plan, columns) for role, plan in station.digitals.items()
    }
    on = readers.get("supply")
    if station.off_coil is not None and isinstance(on, LevelReader):
        off = LevelReader("supply off", station.off_coil, columns)
        readers["supply"] = PulseReader(on, off)
    return readers


class PressureReader:
    """Gauge pressure of one station's readings; numbers that stand for no reading come out missing.

    Such a number is a known sentinel that lies far from the reading before it.
    """

    def __init__(self, plan: PressurePlan) -> None:
        """Read as planned."""
        self._plan = plan
        low, high = plan.usual
        self._far = 0.1 * (high - low) if np.isfinite(high - low) else np.inf
        room = 1.5 * self._far
        self._low, self._high = low - room, high + room
        self._inside = tuple(s for s in SENTINELS if self._low <= s <= self._high)
        self._last = np.nan
        self._deep: set[float] = set()

    def read(self, raw: NDArray[np.float64], lines: NDArray[np.int64], missing: Missing) -> NDArray[np.float64]:
        """Gauge pressure [kPa], NaN where there is none or it is impossible, shape (n,)."""
        if len(raw) == 0:
            return raw
        kpa = self._plan.kpa(raw)
        low, high = float(raw.min()), float(raw.max())
        usual = low >= self._low and high <= self._high
        if usual:
            ends = (low, high) if kpa is raw else (kpa.min(), kpa.max())
            usual = bool(ends[0] >= _LEAST_KPA and ends[1] <= _MOST_KPA)
        odd = self._sentinels(raw, () if usual else SENTINELS)
        if usual and odd is None:
            self._last = float(raw[-1])
            return kpa
        empty = ~np.isfinite(kpa)
        if empty.any():
            missing.append(("no pressure, or not a number", lines[empty]))
            kpa = np.where(empty, np.nan, kpa)
        beyond = (kpa < _LEAST_KPA) | (kpa > _MOST_KPA)
        odd = beyond if odd is None else odd | beyond
        if odd.any():
            if len(self._deep) <= EVIDENCE.other_unit_values:
                self._deep.update(raw[kpa < _LEAST_KPA][:_LOOKED_AT].tolist())
            many = len(self._deep) > EVIDENCE.other_unit_values
            missing.append((OTHER_UNIT if many else "an impossible pressure, taken as missing", lines[odd]))
            kpa = np.where(odd, np.nan, kpa)
        sound = raw[~odd & ~empty]
        self._last = float(sound[-1]) if len(sound) else self._last
        return kpa

    def _sentinels(self, raw: NDArray[np.float64], more: tuple[float, ...]) -> NDArray[np.bool_] | None:
        """True for sentinels far from the reading before, None where there are none, shape (n,)."""
        found: NDArray[np.bool_] | None = None
        for value in more or self._inside:
            same = raw == value
            if same.any():
                found = same if found is None else found | same
        if found is None:
            return None
        doubtful = found | ~np.isfinite(raw)
        index = np.maximum.accumulate(np.where(doubtful, -1, np.arange(len(raw))))
        before = np.where(index < 0, self._last, raw[np.maximum(index, 0)])
        outside = (raw < self._low) | (raw > self._high)
        return found & (outside | (np.abs(raw - before) > self._far))


class ContextReader:
    """Columns that are carried along, as codes into the words met so far."""

    def __init__(self, plan: Plan) -> None:
        """Carry the columns that the plan names."""
        self._columns = [plan.columns[name] for name in plan.context]
        self._known: list[dict[str, int]] = [{} for _ in self._columns]

    def read(self, columns: Mapping[str, pa.Array]) -> tuple[NDArray[np.int32], ...]:
        """Codes of each column, -1 where empty, each of shape (n,)."""
        found = []
        for column, known in zip(self._columns, self._known, strict=True):
            codes, words = word_codes(fetch(columns, column))
            table = [known.setdefault(word.strip(), len(known)) for word in words]
            found.append(np.array([*table, -1], np.int32)[codes])
        return tuple(found)

    def values(self) -> dict[str, tuple[str, ...]]:
        """Words of each column by code."""
        return {c.name: tuple(known) for c, known in zip(self._columns, self._known, strict=True)}


class Decoder:
    """Turns rows with a column per channel into portions."""

    def __init__(self, plan: Plan) -> None:
        """Follow a plan."""
        self._plan = plan
        self.time = TimeReader(plan.time, plan.columns)
        self.context = ContextReader(plan)
        self._readers = [(PressureReader(s.pressure), level_readers(s, plan.columns)) for s in plan.stations]
        self._station = {name: i for i, name in enumerate(plan.station_names)}
        first = plan.stations[0]
        self._holder = Holder(plan.hold_s) if plan.hold_s > 0 else None
        self._named = [(PressureReader(first.pressure), level_readers(first, plan.columns)) for _ in plan.station_names]

    def portions(self, rows: Iterable[Rows]) -> Iterator[Portion]:
        """Portions of a whole file."""
        for piece in rows:
            yield self.decode(piece)

    def decode(self, rows: Rows) -> Portion:
        """Samples of some rows."""
        plan = self._plan
        lines = rows.lines if rows.lines is not None else np.arange(rows.first_line, rows.first_line + rows.count)
        rejected: Rejected = [(r.reason, np.array(r.first_lines, np.int64), r.rows) for r in rows.rejected]
        missing: Missing = []
        time_s = self.time.read(rows)
        timely = np.isfinite(time_s)
        if not timely.all():
            rejected.append(("no time, or none that can be read", lines[~timely], int((~timely).sum())))
        sampled = timely & ~self._changes(rows) if plan.change_rows else timely
        keep = None if sampled.all() else sampled
        context = self.context.read(rows.columns)
        if plan.station_column is not None and len(plan.station_names) > 1:
            stations = self._by_column(rows, time_s, lines, timely, missing, rejected, context)
        else:
            whole = [
                self._samples(s, readers, rows.columns, time_s, lines, missing, context)
                for s, readers in zip(plan.stations, self._readers, strict=True)
            ]
            stations = [_kept(samples, keep) for samples in whole]
            if self._holder is not None:
                stations = [s and self._holder.fill(s) for s in stations]
        if keep is not None:
            dropped = lines[~keep]
            missing = [(reason, kept) for reason, at in missing if len(kept := at[~np.isin(at, dropped)])]
        return Portion(
            stations=tuple(stations),
            rows_read=rows.count + sum(r.rows for r in rows.rejected),
            shared=plan.station_column is None and len(plan.stations) > 1,
            rejected=tuple(rejected),
            missing=tuple(missing),
        )

    def _changes(self, rows: Rows) -> NDArray[np.bool_]:
        """True for rows that hold a change of a digital and no reading: their levels hold from the next sample on."""
        station = self._plan.stations[0]
        column = self._plan.columns[station.pressure.column]
        held = np.zeros(rows.count, np.bool_)
        for plan in station.digitals.values():
            if plan.changes:
                held |= filled_cells(fetch(rows.columns, self._plan.columns[plan.column]))
        return held & ~filled_cells(fetch(rows.columns, column))

    def _samples(
        self,
        station: StationPlan,
        readers: tuple[PressureReader, Mapping[str, LevelReader | PulseReader]],
        columns: Mapping[str, pa.Array],
        time_s: NDArray[np.float64],
        lines: NDArray[np.int64],
        missing: Missing,
        context: tuple[NDArray[np.int32], ...],
    ) -> Samples:
        column = self._plan.columns[station.pressure.column]
        raw = column_numbers(fetch(columns, column), column.profile.form)
        if station.pressure.beside:
            other = self._plan.columns[station.pressure.beside]
            raw = (raw + column_numbers(fetch(columns, other), other.profile.form)) / 2
        if self._plan.quality is not None:
            raw = self._without_bad(raw, fetch(columns, self._plan.columns[self._plan.quality.column]), lines, missing)
        kpa = readers[0].read(raw, lines, missing)
        digital = np.zeros(len(time_s), np.uint8)
        for role, reader in readers[1].items():
            digital |= reader.read(columns, lines, missing).view(np.uint8) * np.uint8(BITS[role])
        return Samples(time_s=time_s, pressure_kpa=kpa, digital=digital, lines=lines, context=context)

    def _without_bad(
        self, raw: NDArray[np.float64], marks: pa.Array, lines: NDArray[np.int64], missing: Missing
    ) -> NDArray[np.float64]:
        """Readings without those that the logger marks as bad."""
        assert self._plan.quality is not None
        bad = bad_rows(marks, self._plan.quality)
        if not bad.any():
            return raw
        missing.append(("marked as bad by its quality", lines[bad]))
        return np.where(bad, np.nan, raw)

    def _by_column(
        self,
        rows: Rows,
        time_s: NDArray[np.float64],
        lines: NDArray[np.int64],
        timely: NDArray[np.bool_],
        missing: Missing,
        rejected: Rejected,
        context: tuple[NDArray[np.int32], ...],
    ) -> list[Samples | None]:
        """Samples of the stations that a column names."""
        plan = self._plan
        assert plan.station_column is not None
        codes, words = word_codes(fetch(rows.columns, plan.columns[plan.station_column]))
        table = np.array([*(self._station.get(w.strip(), -1) for w in words), -1])
        code = table[codes]
        lost = (code < 0) & timely
        if lost.any():
            rejected.append(("no station, or an unknown one", lines[lost], int(lost.sum())))
        wanted = _channels(plan.stations[0]) | ({plan.quality.column} if plan.quality else set())
        used = [c for c in self._plan.columns.values() if c.name in wanted]
        result: list[Samples | None] = []
        for number, readers in enumerate(self._named):
            index = np.nonzero((code == number) & timely)[0]
            if len(index) == 0:
                result.append(None)
                continue
            take = pa.Array.from_buffers(pa.int64(), len(index), [None, pa.py_buffer(index.astype(np.int64))])
            columns = {c.source or c.name: rows.columns[c.source or c.name].take(take) for c in used}
            picked = tuple(c[index] for c in context)
            station = self._plan.stations[0]
            result.append(self._samples(station, readers, columns, time_s[index], lines[index], missing, picked))
        return result


def _channels(station: StationPlan) -> set[str]:
    off = [station.off_coil.column] if station.off_coil else []
    beside = [station.pressure.beside] if station.pressure.beside else []
    listed = [d.beside for d in station.digitals.values() if d.beside]
    return {station.pressure.column, *beside, *(d.column for d in station.digitals.values()), *listed, *off}


def _kept(samples: Samples, keep: NDArray[np.bool_] | None) -> Samples | None:
    picked = samples if keep is None else samples.take(keep)
    return picked if len(picked) else None
