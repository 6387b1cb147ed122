"""Memory of reading does not grow with the length of a log."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

CODE = """
import sys, pathlib
from tracekit.read import open_log
log = open_log(sys.argv[1])
rows = sum(len(block.time_s) for block in log.blocks())
assert log.facts().rows_used == rows
most = [line.split()[1] for line in pathlib.Path("/proc/self/status").read_text().splitlines() if "VmHWM" in line]
print(rows, most[0])
"""
ROWS = 20_000


def long_log(path: Path, megabytes: int) -> int:
    """A canonical log of about some megabytes; how many rows it has."""
    rng = np.random.default_rng(1)
    phase = np.arange(ROWS) % 400
    kpa = np.where((phase > 50) & (phase < 300), -65.0, 0.0) + rng.normal(0, 0.2, ROWS)
    ends = [
        f",{k:.2f},{int(50 < p < 100)},{int(300 < p < 330)},{int(60 < p < 300)}\n"
        for k, p in zip(kpa, phase, strict=True)
    ]
    rows = 0
    with path.open("w", encoding="ascii") as file:
        file.write("time_s,pressure_kpa,supply,release,part_present\n")
        while file.tell() < megabytes << 20:
            file.write("".join([f"{(rows + i) // 100}.{(rows + i) % 100:02d}{end}" for i, end in enumerate(ends)]))
            rows += ROWS
    return rows


def most_memory(path: Path, rows: int) -> int:
    """The most memory that a process needs to read a log [MiB]."""
    run = subprocess.run([sys.executable, "-c", CODE, str(path)], capture_output=True, text=True, check=True)
    found, kilobytes = map(int, run.stdout.split())
    assert found == rows
    return kilobytes >> 10


def grown(folder: Path, short: int, long: int) -> tuple[int, int]:
    """Most memory for a short and a long log [MiB]."""
    found = []
    for megabytes in (short, long):
        path = folder / f"{megabytes}.csv"
        found.append(most_memory(path, long_log(path, megabytes)))
        path.unlink()
    return found[0], found[1]


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the system does not tell a process's memory")
def test_memory_of_a_log_six_times_as_long(tmp_path):
    """A log of 48 MB needs at most 60 MiB more than one of 8 MB, and stays below 400 MiB."""
    short, long = grown(tmp_path, 8, 48)
    assert long < short + 60
    assert long < 400


@pytest.mark.full
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the system does not tell a process's memory")
def test_memory_of_300_megabytes(tmp_path):
    """A log of 300 MB needs no more than 40 MiB above what one of 60 MB needs, and stays below 400 MiB."""
    short, long = grown(tmp_path, 60, 300)
    print(f"60 MB: {short} MiB, 300 MB: {long} MiB")
    assert long < short + 40
    assert long < 400
