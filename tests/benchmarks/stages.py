"""Run in a process of its own: stages of a diagnosis beside bare reading of the same file, in turn.

python stages.py FILE REPEATS prints one JSON object per turn: wall-clock and processor seconds of each stage.
"""

import json
import sys
import time
from collections.abc import Callable

import pyarrow as pa
import pyarrow.csv as pcsv
import pyarrow.parquet as pq

from tracekit import pipeline
from tracekit.options.report import ReportOptions
from tracekit.report.whole import pages

NAMES = ("time_s", "pressure_kpa", "supply", "release", "part_present")
TYPES = {"time_s": pa.float64(), "pressure_kpa": pa.float64()} | dict.fromkeys(NAMES[2:], pa.int8())


def bare(path: str) -> int:
    """Read every row as the file's library streams it, with its types, and do nothing; the number of rows."""
    if path.endswith(".parquet"):
        return sum(batch.num_rows for batch in pq.ParquetFile(path).iter_batches(65_536))
    with pcsv.open_csv(path, convert_options=pcsv.ConvertOptions(column_types=TYPES)) as reader:
        return sum(batch.num_rows for batch in reader)


def timed(act: Callable[[], object]) -> tuple[float, float, object]:
    """Wall-clock and processor seconds (all threads) of an act, and its result."""
    wall, cpu = time.perf_counter(), time.process_time()
    result = act()
    return time.perf_counter() - wall, time.process_time() - cpu, result


class Stages:
    """Wall-clock and processor seconds between the ends of stages."""

    def __init__(self) -> None:
        self.spent: dict[str, tuple[float, float]] = {}
        self._last = time.perf_counter(), time.process_time()

    def __call__(self, stage: str) -> None:
        now = time.perf_counter(), time.process_time()
        self.spent[stage] = (now[0] - self._last[0], now[1] - self._last[1])
        self._last = now


def turn(path: str) -> dict[str, object]:
    """One bare reading, then one diagnosis with its page, without files."""
    wall, cpu, rows = timed(lambda: bare(path))
    stages = Stages()
    record = pipeline.diagnose(path, done=stages)
    pages(record, ReportOptions())
    stages("page")
    kinds = record.periods.texts("kind")
    return {
        "rows": rows,
        "cycles": len(record.cycles),
        "coasts": sum(kind == "coast" for kind in kinds),
        "spent": {"bare": (wall, cpu), **stages.spent},
    }


if __name__ == "__main__":
    for _ in range(int(sys.argv[2])):
        print(json.dumps(turn(sys.argv[1])))
