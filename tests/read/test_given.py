"""What a station file says about columns wins over every guess."""

from dataclasses import replace

import numpy as np
import pytest

from tests.read.dialects import AMBIENT_KPA, Dialect, make_recording, write
from tests.read.reading import read, written
from tracekit.errors import LogReadError
from tracekit.model.station import Channel, Station, StationFacts
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=8)


def station(**channels: Channel) -> Station:
    """A station file with some channels."""
    return Station(channels=channels)


def test_a_unit_that_the_log_does_not_tell(tmp_path):
    """A log without a header is read with the unit and sense that the station file gives."""
    path = written(tmp_path, RECORDING, Dialect(header="none", unit="mbar", sense="vacuum"))
    given = station(pressure=Channel(column="column 2", unit="mbar", sense="vacuum"))
    found = read(path, given)
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max() < 0.01
    assert np.array_equal(found.digital, RECORDING.digital)


def test_a_scale_maps_raw_values(tmp_path):
    """Two points of a 4 to 20 mA sensor map its readings to kPa."""
    raw = 4.0 + (RECORDING.pressure_kpa / -101.3) * 16.0
    path = tmp_path / "log.csv"
    rows = [f"{t:.2f},{r:.6f}" for t, r in zip(RECORDING.time_s, raw, strict=True)]
    path.write_text("Time [s],AI1 [mA]\n" + "\n".join(rows) + "\n")
    with pytest.raises(LogReadError, match="the scale of"):
        read(path)
    found = read(path, station(pressure=Channel(column="AI1 [mA]", scale=((4.0, 0.0), (20.0, -101.3)))))
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max() < 1e-4


@pytest.mark.parametrize("blown_kpa", [0.0, 5.0])
def test_without_a_release_ambient_is_where_evacuations_begin(tmp_path, blown_kpa):
    """A blow-off that is not logged rests above ambient, for a fifth of the time: nothing begins there."""
    time_s = np.arange(0.0, 40.0, 0.01)
    within = time_s % 2.0
    vacuum = np.where(within < 1.0, 70.0 * (1.0 - np.exp(-within / 0.1)), 0.0)
    vacuum -= np.where((within >= 1.0) & (within < 1.4), blown_kpa, 0.0)
    rows = [f"{t:.2f},{98.0 - v:.2f},{int(w < 1.0)}" for t, v, w in zip(time_s, vacuum, within, strict=True)]
    path = tmp_path / "log.csv"
    path.write_text("Time [s],Absolute pressure [kPa],Suction valve\n" + "\n".join(rows) + "\n")
    found = read(path)
    assert found.layout.absolute
    assert found.layout.ambient_kpa == pytest.approx(98.0, abs=0.1)
    assert np.abs(found.pressure_kpa + vacuum).max() < 0.12


def test_ambient_is_taken_off_an_absolute_pressure(tmp_path):
    """The station file's ambient is taken off; without one the highest stable level of the log is."""
    path = written(tmp_path, RECORDING, Dialect(names="french", unit="hPa", sense="absolute"))
    given = Station(station=StationFacts(ambient_kpa=AMBIENT_KPA))
    found = read(path, given)
    assert (found.layout.absolute, found.layout.ambient_kpa) == (True, AMBIENT_KPA)
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max() < 0.002
    alone = read(path)
    assert alone.layout.ambient_kpa == pytest.approx(AMBIENT_KPA, abs=0.6)
    assert "the highest level at which it rests while nothing is blown off" in [
        a.evidence for a in alone.layout.assumptions
    ]


def test_roles_that_the_names_tell_wrongly(tmp_path):
    """Columns that the station file names take the roles that it gives, and levels are kept as wired."""
    path = written(tmp_path, RECORDING, Dialect(names="nothing"))
    given = station(
        supply=Channel(column="DI2", on_level=0), release=Channel(column="DI1"), part_present=Channel(column="DI0")
    )
    found = read(path, given)
    assert np.array_equal(found.digital & 1, RECORDING.digital >> 2 & 1)
    assert np.array_equal(found.digital >> 2 & 1, RECORDING.digital & 1)
    assert found.layout.on_level == {"supply": 0}


def test_a_release_that_is_none(tmp_path):
    """A release of "none" is not looked for."""
    path = written(tmp_path, RECORDING, Dialect())
    assert not read(path, station(release=Channel(absent=True))).layout.has_release


def test_a_pulse_valve_is_latched(tmp_path):
    """Pulses of an on and an off coil become the level between them."""
    supply = RECORDING.digital & 1
    steps = np.diff(supply.astype(int), prepend=0)
    rows = ["Time [s],Pressure [kPa],Coil A,Coil B"]
    rows += [
        f"{t:.2f},{p},{int(s > 0)},{int(s < 0)}"
        for t, p, s in zip(RECORDING.time_s, RECORDING.pressure_kpa, steps, strict=True)
    ]
    (tmp_path / "log.csv").write_text("\n".join(rows) + "\n")
    given = station(supply=Channel(column="Coil A", signal="pulse", off_column="Coil B"))
    found = read(tmp_path / "log.csv", given)
    assert np.array_equal(found.digital & 1, supply)
    assert found.layout.supply_signal == "pulse"


def test_a_bit_of_a_word_by_name(tmp_path):
    """A bit of a packed word is named by its position."""
    path = written(tmp_path, RECORDING, Dialect(packed=True))
    found = read(path, station(supply=Channel(column="DI word.0")))
    assert np.array_equal(found.digital & 1, RECORDING.digital & 1)


def test_context_columns_are_carried(tmp_path):
    """A context column comes with every block as codes into its words."""
    lines = write(RECORDING, Dialect()).decode().splitlines()
    kinds = [("tile", "slab")[i // 500 % 2] for i in range(len(lines) - 1)]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(f"{a},{b}" for a, b in zip(lines, ["recipe", *kinds], strict=True)) + "\n")
    from tracekit.read import open_log

    log = open_log(path, replace(Station(), context=("recipe",)))
    codes = np.concatenate([b.context["recipe"] for b in log.blocks()])
    words = log.facts().context_values["recipe"]
    assert [words[c] for c in codes] == kinds


def test_a_column_that_is_not_there(tmp_path):
    """A station file that names a column which the log lacks is refused with the columns that it has."""
    path = written(tmp_path, RECORDING, Dialect())
    with pytest.raises(LogReadError, match="names columns that are not there") as caught:
        read(path, station(pressure=Channel(column="AI9")))
    assert "Suction valve" in str(caught.value)


@pytest.mark.parametrize(("zone", "hours"), [("Europe/Lisbon", 0), ("Europe/Helsinki", 2), ("Asia/Tokyo", 9)])
def test_a_zone_makes_the_date_utc(tmp_path, zone, hours):
    """Stamps without a zone have a date only where the station file gives the zone."""
    path = written(tmp_path, RECORDING, Dialect(time="iso"))
    assert read(path).facts.start_time_us is None
    found = read(path, Station(station=StationFacts(timezone=zone)))
    assert found.facts.start_time_us == (1711448234 - hours * 3600) * 1_000_000


@pytest.mark.parametrize(
    ("sense", "share"), [("absolute", lambda p: 100 + p / 1.01325), ("gauge", lambda p: p / 1.01325),
                         ("vacuum", lambda p: -p / 1.01325)],
)  # fmt: skip
def test_per_cent_of_ambient_in_the_sense_that_is_given(tmp_path, sense, share):
    """A share of ambient is read as absolute, gauge or vacuum, as the station file says."""
    recording = make_recording(cycles=8)
    rows = [f"{t:.3f};{share(p):.3f};{d & 1}" for t, p, d in
            zip(recording.time_s, recording.pressure_kpa, recording.digital.astype(int), strict=True)]  # fmt: skip
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["Time (s);Pressure [% of atmosphere];Suction", *rows]) + "\n")
    given = f'[channels]\npressure = {{ column = "Pressure [% of atmosphere]", unit = "%", sense = "{sense}" }}\n'
    found = read(path, parse_station(given, "station.toml"))
    assert np.allclose(found.pressure_kpa, recording.pressure_kpa, atol=0.002)
