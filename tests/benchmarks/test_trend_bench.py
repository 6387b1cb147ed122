"""Speed and memory of a large history: 300 stations with 365 logs each.

pytest tests/benchmarks/test_trend_bench.py -m bench -s
"""

import hashlib
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from history.made_up_records import DAY_US, JAN_US, simple_record

from tracekit.history.add import add_record
from tracekit.history.arrow import parquet_bytes
from tracekit.history.measures import MEASURES
from tracekit.history.place import open_place
from tracekit.history.schema import PACK, SUMMARIES, SUMMARY, metadata, sealed_name
from tracekit.model.tables import make_table

STATIONS, DAYS = 300, 365
FACTS = ("cycles", "held", "dropped", "missed", "ambient", "temperature", "duration")
RUN = (
    "import resource, sys, time; begun = time.process_time(), time.perf_counter()\n"
    "from tracekit.history.trend import trend\n"
    "got = trend(sys.argv[1])\n"
    "peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024\n"
    "print(len(got.stations), time.process_time() - begun[0], time.perf_counter() - begun[1], peak)\n"
)


SMALL_PARENT = "import subprocess, sys; sys.exit(subprocess.run(sys.argv[1:]).returncode)"
"""A process is said to have used at least the memory of the one that started it, which has to be small."""


def write_large(folder: Path) -> None:
    """Merged files of a history whose every log has all measures with scatter; each fifth station's leak grows."""
    rng = np.random.default_rng(0)
    place = open_place(folder)
    by_shard: dict[str, list[tuple[str, int, int]]] = {}
    for station in range(STATIONS):
        for day in range(DAYS):
            log_id = hashlib.sha256(f"{station},{day}".encode()).hexdigest()
            by_shard.setdefault(log_id[:2], []).append((log_id, station, day))
    for shard, logs in by_shard.items():
        data = parquet_bytes(_rows(rng, sorted(logs)), metadata())
        place.put(f"{SUMMARIES}/{shard}/{sealed_name(PACK, data)}", data)


def _rows(rng: np.random.Generator, logs: list[tuple[str, int, int]]):
    names = (*(m.name for m in MEASURES), *FACTS)
    count, width = len(logs), len(names)
    day = np.array([d for _, _, d in logs])
    station = np.array([s for _, s, _ in logs])
    value = np.exp(0.08 * rng.normal(size=(count, width)))
    value[:, 0] *= np.exp(np.where(station % 5 == 0, 0.004 * day, 0.0))
    for column, measure in enumerate(MEASURES):
        if measure.scale in ("share", "count"):
            value[:, column] = np.where(rng.random(count) < 0.01, 0.02, 0.0)
    value[:, len(MEASURES) :] = (60, 60, 0, 0, 100, 20, 360)
    used, codes = np.unique(station, return_inverse=True)
    kind = np.array([0] * len(MEASURES) + [1] * len(FACTS))
    flat = value.ravel()
    data = {
        "log_id": np.repeat(np.arange(count), width), "station": np.repeat(codes, width),
        "part": np.zeros(count * width), "start_time": np.repeat(JAN_US + day * DAY_US, width),
        "kind": np.tile(kind, count), "name": np.tile(np.arange(width), count), "value": flat, "lower": flat * 0.98,
        "upper": flat * 1.02, "p05": flat * 0.9, "p95": flat * 1.1, "n": np.full(count * width, 60),
        "version": np.zeros(count * width), "added_time": np.full(count * width, JAN_US),
        "analysis": np.zeros(count * width),
    }  # fmt: skip
    words = {
        "log_id": tuple(i for i, _, _ in logs), "station": tuple(f"Line {u // 20} station {u % 20}" for u in used),
        "kind": ("measure", "fact"), "name": names, "version": ("0.1.0",), "analysis": ("0" * 16,),
    }  # fmt: skip
    return make_table(SUMMARY, data, words)


@pytest.mark.bench
def test_a_large_history(tmp_path: Path) -> None:
    """The trend of 109 500 logs takes under 60 s of processor time and 1 GB; adding a log to them under 0.5 s."""
    write_large(tmp_path)
    done = subprocess.run(
        [sys.executable, "-c", SMALL_PARENT, sys.executable, "-c", RUN, str(tmp_path)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    stations, cpu_s, wall_s, peak_mb = (float(v) for v in done.stdout.split())
    adds = []
    for number in range(10):
        begun = time.perf_counter()
        add_record(tmp_path, simple_record(number, stations=("Line 0 station 3",)))
        adds.append(time.perf_counter() - begun)
    load = os.getloadavg()[0]
    print(f"\n{os.cpu_count()} cores, load {load:.1f}: {stations:.0f} stations, {STATIONS * DAYS} logs")
    print(f"trend {cpu_s:.1f} s of processor, {wall_s:.1f} s of clock, peak {peak_mb:.0f} MB")
    print(f"add one log: median {np.median(adds):.3f} s, longest {max(adds):.3f} s")
    assert stations == STATIONS
    assert cpu_s < 60.0
    assert peak_mb < 1000.0
    assert np.median(adds) < 0.5
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 < 2000.0
