"""Rows of a file as samples: seconds, kPa gauge, packed digitals."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trace import PRESENT_BIT, RELEASE_BIT, SUPPLY_BIT
from tracekit.read.clock import Samples
from tracekit.read.rows import Rows, levels, numbers

BITS = {"supply": SUPPLY_BIT, "release": RELEASE_BIT, "part_present": PRESENT_BIT}


@dataclass(frozen=True, slots=True, kw_only=True)
class Portion:
    """Decoded rows on their way to blocks.

    stations  samples per station, None where a station has none here
    rejected  reason, first line numbers, rows
    missing   reason, line numbers of rows that are used though a value is missing
    """

    stations: tuple[Samples | None, ...]
    rows_read: int
    rejected: tuple[tuple[str, NDArray[np.int64], int], ...] = ()
    missing: tuple[tuple[str, NDArray[np.int64]], ...] = ()
    warnings: tuple[str, ...] = ()
    start_time_us: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Which column is what. `digitals` maps supply, release and part_present to columns."""

    time: str
    pressure: str
    digitals: Mapping[str, str]


class Decoder:
    """Turns rows into portions; remembers the first time and the last level of each digital."""

    def __init__(self, plan: Plan) -> None:
        """Follow a plan."""
        self._plan = plan
        self._origin_s = np.nan
        self._level = dict.fromkeys(plan.digitals, 0)

    def decode(self, rows: Rows) -> Portion:
        """Samples of some rows."""
        time_s = numbers(rows.columns[self._plan.time])
        pressure_kpa = numbers(rows.columns[self._plan.pressure])
        lines = rows.lines if rows.lines is not None else np.arange(rows.first_line, rows.first_line + rows.count)
        rejected = [(r.reason, np.array(r.first_lines, np.int64), r.rows) for r in rows.rejected]
        missing: list[tuple[str, NDArray[np.int64]]] = []
        digital = self._pack(rows, lines, missing)
        samples = Samples(time_s=time_s, pressure_kpa=pressure_kpa, digital=digital, lines=lines)
        timeless = ~np.isfinite(time_s)
        if timeless.any():
            rejected.append(("no time, or not a number", lines[timeless], int(timeless.sum())))
            samples = samples.take(~timeless)
        if len(samples):
            samples = self._from_origin(samples)
        empty = ~np.isfinite(samples.pressure_kpa)
        if empty.any():
            missing.append(("no pressure, or not a number", samples.lines[empty]))
        return Portion(
            stations=(samples if len(samples) else None,),
            rows_read=rows.count + sum(r.rows for r in rows.rejected),
            rejected=tuple(rejected),
            missing=tuple(missing),
        )

    def _from_origin(self, samples: Samples) -> Samples:
        if np.isnan(self._origin_s):
            self._origin_s = float(samples.time_s[0])
        if self._origin_s == 0.0:
            return samples
        return Samples(
            time_s=samples.time_s - self._origin_s,
            pressure_kpa=samples.pressure_kpa,
            digital=samples.digital,
            lines=samples.lines,
        )

    def _pack(
        self, rows: Rows, lines: NDArray[np.int64], missing: list[tuple[str, NDArray[np.int64]]]
    ) -> NDArray[np.uint8]:
        """Levels as wired in bits 1, 2, 4; a level that is missing is that of the row before."""
        packed = np.zeros(rows.count, np.uint8)
        for name, column in self._plan.digitals.items():
            level = levels(rows.columns[column])
            unknown = level < 0
            if unknown.any():
                missing.append((f"no level of {name}, the last one is taken to hold", lines[unknown]))
                level = _carry(level, unknown, self._level[name])
            if len(level):
                self._level[name] = int(level[-1])
            packed |= level.view(np.uint8) * np.uint8(BITS[name])
        return packed


def _carry(level: NDArray[np.int8], unknown: NDArray[np.bool_], before: int) -> NDArray[np.int8]:
    """Fill unknown levels with the last known one."""
    index = np.where(unknown, -1, np.arange(len(level)))
    index = np.maximum.accumulate(index)
    return np.where(index < 0, np.int8(before), level[np.maximum(index, 0)])


def decode_all(rows: Iterator[Rows], plan: Plan) -> Iterator[Portion]:
    """Portions of a whole file."""
    decoder = Decoder(plan)
    for piece in rows:
        yield decoder.decode(piece)
