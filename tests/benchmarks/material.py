"""Long logs for the benchmarks: some simulated picks at 1 kHz, repeated until there are as many rows as wanted."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pcsv
import pyarrow.parquet as pq

from tracekit.simulate import SimulatedLog, load_scenario, simulate

RATE_HZ = 1000.0
HOUR_ROWS = 3_600_000
NAMES = ("time_s", "pressure_kpa", "supply", "release", "part_present")
TYPES = {"time_s": pa.float64(), "pressure_kpa": pa.float64()} | dict.fromkeys(NAMES[2:], pa.int8())


def picks(cycles: int) -> SimulatedLog:
    """So many picks of the loader with the torn cup, recorded at 1 kHz."""
    scenario = load_scenario("loader_2_torn_cup")
    recorder = replace(scenario.station.recorder, rate_hz=RATE_HZ)
    return simulate(replace(scenario, cycles=cycles, station=replace(scenario.station, recorder=recorder)))


def rows_of(log: SimulatedLog, first: int, count: int) -> pa.Table:
    """Rows `first` to `first + count` of the log repeated without end."""
    number = np.arange(first, first + count)
    place = number % len(log.time_s)
    columns = (log.pressure_kpa, log.supply, log.release, log.part_present)
    values = [number / RATE_HZ, *(column[place] for column in columns)]
    return pa.table({name: pa.array(column, TYPES[name]) for name, column in zip(NAMES, values, strict=True)})


def write_csv(log: SimulatedLog, rows: int, path: Path) -> Path:
    """Write a text log of so many rows."""
    pcsv.write_csv(rows_of(log, 0, rows), path, pcsv.WriteOptions(quoting_style="none"))
    return path


def write_parquet(log: SimulatedLog, rows: int, path: Path, number: int = 0) -> Path:
    """Write a Parquet log of so many rows, a million at a time, so that there may be very many.

    Each `number` reads 0.01 kPa off the one before: logs of the same samples would be one recording.
    """
    step = 1_000_000
    with pq.ParquetWriter(path, pa.schema(TYPES), compression="zstd") as writer:
        for first in range(0, rows, step):
            part = rows_of(log, first, min(step, rows - first))
            place = part.column_names.index("pressure_kpa")
            moved = pc.add(part.column(place), pa.scalar(0.01 * number, part.schema.field(place).type))
            writer.write_table(part.set_column(place, part.schema.field(place), moved))
    return path
