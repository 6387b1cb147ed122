"""Stamps that are hardly coarser than the samples: some hold one row, some two, and none is overtaken."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read

RECORDING = make_recording(cycles=8)
TIMES = np.arange(len(RECORDING.time_s)) * 0.01
HALVES = np.rint(TIMES * 100 + 0.5 + np.where(np.arange(len(TIMES)) % 41 == 0, 1e-6, 0.0))
STAMPS = {
    "hundredths, halves to even": (0.01 * HALVES, 0.0151),
    "ticks of a clock of 64 Hz": (np.floor(TIMES / 0.015625) * 0.015625, 0.0157),
    "whole ticks of 16 ms": (np.floor(TIMES / 0.016) * 0.016, 0.0161),
}


@pytest.mark.parametrize("name", STAMPS)
def test_no_row_overtakes_the_next_stamp(tmp_path, name):
    """Every row is used, in rising time and within a stamp of where it was taken; nothing is told of the clock."""
    stamps, resolution_s = STAMPS[name]
    cells = zip(stamps, RECORDING.pressure_kpa, RECORDING.digital.astype(int), strict=True)
    path = tmp_path / "log.csv"
    rows = [f"{t:.3f};{p:.2f};{d & 1};{d >> 1 & 1};{d >> 2}" for t, p, d in cells]
    path.write_text("\n".join(["Time (s);Pressure (kPa);Suction;Blow-off;Part present", *rows]) + "\n")
    found = read(path)
    assert len(found.time_s) == len(TIMES)
    assert (np.diff(found.time_s) > 0).all()
    off = found.time_s - TIMES
    assert np.abs(off - np.median(off)).max() < resolution_s
    assert not found.facts.clock_steps
    assert not found.facts.gaps
