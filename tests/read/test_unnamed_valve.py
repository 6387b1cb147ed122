"""A valve whose name says nothing in a log without the other one, and columns that are none of a station's signals."""

import numpy as np
import pytest

from tests.read.reading import read
from tests.read.two_second_cycles import TIME_S, VACUUM_KPA, WITHIN_S
from tracekit.errors import LogReadError

SUPPLY = ((WITHIN_S >= 0.3) & (WITHIN_S < 1.5)).astype(int)
RELEASE = ((WITHIN_S >= 1.5) & (WITHIN_S < 1.7)).astype(int)


def written(tmp_path, header: str, *columns: np.ndarray) -> str:
    """A log with these columns behind time and pressure."""
    rows = [
        ",".join([f"{t:.2f}", f"{-v:.2f}", *(f"{c:g}" for c in row)])
        for t, v, *row in zip(TIME_S, VACUUM_KPA, *columns, strict=True)
    ]
    path = tmp_path / "log.csv"
    path.write_text(header + "\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return str(path)


def test_a_supply_that_opens_before_the_contact_is_no_release(tmp_path):
    """Vacuum waits for the part after the supply's edge and ends at its other one, as at a release: it is asked."""
    with pytest.raises(LogReadError, match=r'supply = \{ column = "CH2" \}   # or release'):
        read(written(tmp_path, "Time [s],Pressure [kPa],CH2", SUPPLY))


def test_a_pulse_that_ends_vacuum_is_a_release(tmp_path):
    """Over soon after vacuum has ended, and long before it begins: no supply."""
    found = read(written(tmp_path, "Time [s],Pressure [kPa],CH2", RELEASE))
    assert found.layout.has_release
    assert not found.layout.has_supply


@pytest.mark.parametrize("name", ["Drehzahl_rpm", "Error code", "Fehler", "Alarm word"])
def test_what_is_none_of_a_stations_signals_is_not_asked_about(tmp_path, name):
    """Two levels that come and go with the machine: by its name no valve and no output."""
    other = np.where((WITHIN_S > 0.9) & (TIME_S % 6.0 < 4.0), 17, 0)
    found = read(written(tmp_path, f"Time [s],Pressure [kPa],Suction valve,{name}", SUPPLY, other))
    assert found.layout.has_supply
    assert not found.layout.has_release
    assert not found.layout.has_present


@pytest.mark.parametrize("name", ["Ambient pressure [kPa]", "Barometer [kPa]", "Umgebungsdruck [kPa]"])
def test_the_weather_is_not_the_vacuum(tmp_path, name):
    """A column that says ambient is not the pressure of a station, though the other one's name says nothing."""
    weather = 101.3 + 0.01 * np.sin(TIME_S)
    path = written(tmp_path, f"Time [s],Trace A [kPa],Suction valve,{name}", SUPPLY, weather)
    found = read(path)
    assert np.abs(found.pressure_kpa + VACUUM_KPA).max() < 0.1
