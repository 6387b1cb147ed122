"""Physics against recordings that others made, where TRACEKIT_RECORDINGS names the folder that holds `data`."""

import os
from pathlib import Path

import numpy as np
import pytest

from tests.read.test_recordings import BAR, read
from tracekit.physics.decay import evacuation_time_s

GIVEN = os.environ.get("TRACEKIT_RECORDINGS", "")
FOLDER = Path(GIVEN) / "data"
pytestmark = [
    pytest.mark.skipif(not GIVEN, reason="TRACEKIT_RECORDINGS is not set"),
    pytest.mark.skipif(bool(GIVEN) and not FOLDER.is_dir(), reason="TRACEKIT_RECORDINGS holds no folder data"),
]
VOLUME_M3 = 3e-4
SUCTION_M3_S, ULTIMATE_KPA = 4.891e-5, 70.49
"""What the authors of the pump-down publish of their chamber and pump."""


def test_a_recorded_evacuation_keeps_to_the_published_constants() -> None:
    """From 10 kPa to 30, 50 and 60 the chamber takes the time that τ = V/q and the ultimate vacuum say, within 15 %."""
    rows = np.loadtxt(FOLDER / "pump_down" / "suck2.TXT")
    time, vacuum = (rows[:, 0] - rows[0, 0]) / 1e3, rows[:, 1]
    began = float(time[np.argmax(vacuum >= 10.0)])
    for level in (30.0, 50.0, 60.0):
        taken = float(time[np.argmax(vacuum >= level)]) - began
        said = float(evacuation_time_s(VOLUME_M3 / SUCTION_M3_S, 10.0, level, ULTIMATE_KPA))
        assert taken == pytest.approx(said, rel=0.15)


def relative_loss_1_s(name: str) -> float:
    """Share of its overpressure that a closed chamber loses per second in the 20 s after the highest reading [1/s]."""
    log = read(FOLDER / "chamber_decay" / name, BAR)
    start = int(np.argmax(log.pressure_kpa))
    part = slice(start, start + int(np.searchsorted(log.time_s[start:], log.time_s[start] + 20.0)))
    return -float(np.polyfit(log.time_s[part], np.log(log.pressure_kpa[part]), 1)[0])


def test_recorded_chambers_leak_in_the_order_their_authors_give() -> None:
    """The metal chamber leaks least, the second printed one most, by more than five times the first."""
    metal, first, second = (relative_loss_1_s(f"chamber_{n}.csv") for n in ("metal", "printed_a", "printed_b"))
    assert 0.0 <= metal < first < second
    assert second > 5.0 * first
