"""The states that a question offers for suction read right when they are pasted."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.read.deciding import UndecidedLogError
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=12)


def test_a_state_of_rest_is_not_offered_beside_suction(tmp_path):
    """At rest the over-pressure of blow-off sinks for long; that is no vacuum that is made there."""
    since = np.arange(len(RECORDING.time_s))
    since = since - np.maximum.accumulate(np.where(RECORDING.digital & 2, since, 0))
    blown = np.where(np.cumsum(RECORDING.digital & 2) > 0, 15.0 * np.exp(-since / 10), 0.0)
    kpa = RECORDING.pressure_kpa + np.where(RECORDING.digital & 1, 0.0, blown)
    cells = zip(RECORDING.time_s, kpa, RECORDING.digital.astype(int), strict=True)
    rows = [f"{t:.2f};{p:.2f};{d & 1} {d >> 1 & 1} {d >> 2}" for t, p, d in cells]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["Time (s);Pressure (kPa);State", *rows]) + "\n")
    with pytest.raises(UndecidedLogError, match="supply") as asked:
        read(path)
    lines = {q.line.partition(" ")[0]: q.line for q in asked.value.questions}
    assert "0 0 0" not in lines["supply"].partition("   #")[0]
    found = read(path, parse_station("[channels]\n" + "\n".join(lines.values()) + "\n", "station.toml"))
    assert np.array_equal(found.digital & 1, RECORDING.digital & 1)
