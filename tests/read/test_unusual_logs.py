"""Layouts that are met now and then give the recording, sample by sample."""

import re
from pathlib import Path

import numpy as np
import pytest

from tests.read.dialects import Recording, make_recording
from tests.read.reading import read
from tests.read.unusual_logs import BAD_EVERY, BAD_FIRST, UNUSUAL, levels, per_reading, stamp
from tracekit.read.deciding import UndecidedLogError
from tracekit.read.station_file import load_station


@pytest.fixture(scope="module")
def recording() -> Recording:
    """Eight cycles."""
    return make_recording(cycles=8)


@pytest.mark.parametrize("name", UNUSUAL)
def test_the_recording_comes_back(name, recording, tmp_path):
    """Times, pressures and levels are those that were written; what is marked as bad is missing and counted."""
    path = tmp_path / "log.csv"
    path.write_bytes(UNUSUAL[name](recording))
    found = read(path)
    rows = np.arange(len(recording.time_s))
    bad = (rows % BAD_EVERY == BAD_FIRST) & name.endswith("marks")
    assert np.abs(found.time_s - recording.time_s).max() < 2e-4
    assert np.array_equal(np.isnan(found.pressure_kpa), bad)
    assert np.abs(found.pressure_kpa - recording.pressure_kpa)[~bad].max() < 6e-4
    assert np.array_equal(found.digital, recording.digital)
    assert any("marked as bad" in w for w in found.facts.warnings) == bool(bad.any())
    assert any(a.what == "quality" for a in found.layout.assumptions) == bool(bad.any())


def test_two_filled_columns_of_values_are_asked(recording, tmp_path):
    """Where rows hold two values each, which of them is meant is not guessed."""
    path = tmp_path / "log.csv"
    text = UNUSUAL["two_values"](recording).decode()
    lines = [line + "true" if line.endswith(",") else line for line in text.split("\n")]
    path.write_text("\n".join(lines))
    with pytest.raises(UndecidedLogError, match="expected time and pressure"):
        read(path)


STATES = ("IDLE", "SUCTION", "BLOWOFF", "HOLD", "BLOWOFF+SUCTION")


def with_states(recording: Recording) -> str:
    """Pressures beside a column of states."""
    rows = zip(recording.time_s, recording.pressure_kpa, recording.digital.tolist(), strict=True)
    lines = [f"{1000 * s:.0f},{kpa:.3f},{STATES[b & 3] if b & 3 else STATES[3 * (b >> 2 & 1)]}" for s, kpa, b in rows]
    return "\n".join(["time_ms,pressure_kpa,state", *lines])


def test_states_of_one_column_are_asked_and_answered(recording, tmp_path):
    """In which states suction is on is a question; its answer gives the signals, "context" leaves them aside."""
    path, given = tmp_path / "log.csv", tmp_path / "station.toml"
    path.write_text(with_states(recording))
    with pytest.raises(UndecidedLogError, match="holds the states") as asked:
        read(path)
    lines = [q.line.partition("   #")[0] for q in asked.value.questions]
    assert lines == ['supply = "state.SUCTION"', 'release = "state.BLOWOFF"']
    given.write_text("[channels]\n" + "\n".join(lines))
    found = read(path, load_station(given))
    assert np.array_equal(found.digital, recording.digital & 3)
    given.write_text('[channels]\nsupply = "state.SUCTION+HOLD"\nrelease = "none"')
    states = [line.rpartition(",")[2] for line in with_states(recording).split("\n")[1:]]
    held = np.isin(states, ["SUCTION", "HOLD"])
    assert np.array_equal(read(path, load_station(given)).digital, held.astype(np.uint8))
    given.write_text('[channels]\ncontext = ["state"]')
    assert not read(path, load_station(given)).layout.has_supply


@pytest.mark.parametrize("names", [("A", "B"), ("3", "7"), ("Loader 1", "Loader 2")])
def test_stations_that_share_tags_stay_apart(names, recording, tmp_path):
    """A row per reading with a column of stations beside equal tags: each station has its own samples."""
    lines = ["ts,station,signal,val"]
    for i, tag, value in per_reading(recording, ("pressure_kpa", "suction", "blow_off", "part_present")):
        written = stamp(recording.time_s[i]).isoformat(timespec="milliseconds")
        halved = f"{float(value) / 2:.3f}" if tag == "pressure_kpa" else value
        lines += [f"{written},{names[0]},{tag},{value}", f"{written},{names[1]},{tag},{halved}"]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines))
    found = read(path)
    assert len(found.layout.stations) == 2
    for place, share in enumerate((1.0, 0.5)):
        own = found.station == place
        assert np.abs(found.time_s[own] - recording.time_s).max() < 2e-4
        assert np.abs(found.pressure_kpa[own] - share * recording.pressure_kpa).max() < 2e-3
        assert np.array_equal(found.digital[own], recording.digital)


@pytest.mark.parametrize("name", ["us", "micros"])
def test_a_counter_of_microseconds_that_starts_again(name, recording, tmp_path):
    """A name that says microseconds is enough for a counter of 32 bits."""
    counts = (np.rint(recording.time_s * 1e6).astype(np.int64) - 9_000_000) % 2**32
    rows = zip(counts, recording.pressure_kpa, *levels(recording), strict=True)
    path = tmp_path / "log.csv"
    path.write_text(
        "\n".join([f"{name},pressure_kPa,valve,blow,part", *(f"{c},{k:.3f},{s},{r},{p}" for c, k, s, r, p in rows)])
    )
    found = read(path)
    assert np.abs(found.time_s - recording.time_s).max() < 2e-4
    assert np.array_equal(found.digital, recording.digital)


@pytest.mark.parametrize("unit", ["kPa", "mbar"])
def test_ambient_is_not_taken_from_blow_off(unit, recording, tmp_path):
    """An absolute pressure that rests at 109 kPa in each blow-off is taken below the level at which it is idle."""
    path = tmp_path / "log.csv"
    kpa = blown_off(recording, path, 8.6, unit)
    found = read(path)
    assert found.layout.ambient_kpa == pytest.approx(100.6, abs=0.4)  # noise at rest
    assert np.abs(found.pressure_kpa + 100.6 - kpa).max() < 0.4


def test_two_levels_that_could_be_ambient_are_told(recording, tmp_path):
    """Where blow-off could be the weather and no signal tells it, both levels are told; the station file decides."""
    path = tmp_path / "log.csv"
    kpa = blown_off(recording, path, 3.5, "kPa", digitals=False)
    found = read(path)
    (told,) = [a for a in found.layout.assumptions if a.what == "ambient"]
    assert told.confidence <= 0.5
    assert re.search(r"rests longer at 100\.\d kPa.*ambient_kpa", told.evidence)
    assert any(w.startswith("ambient is taken as 104") for w in found.facts.warnings)
    given = tmp_path / "station.toml"
    given.write_text("[station]\nambient_kpa = 100.6")
    assert np.abs(read(path, load_station(given)).pressure_kpa + 100.6 - kpa).max() < 0.01


@pytest.mark.parametrize("over_kpa", [2.0, 3.5, 5.5])
def test_ambient_is_where_it_rests_while_nothing_is_blown_off(over_kpa, recording, tmp_path):
    """The signal of blow-off parts a level that weather could give from ambient."""
    path = tmp_path / "log.csv"
    kpa = blown_off(recording, path, over_kpa, "kPa")
    found = read(path)
    assert found.layout.ambient_kpa == pytest.approx(100.6, abs=0.4)
    assert np.abs(found.pressure_kpa + 100.6 - kpa).max() < 0.4
    assert not any("ambient" in w for w in found.facts.warnings)


def blown_off(recording: Recording, path: Path, over_kpa: float, unit: str, *, digitals: bool = True) -> np.ndarray:
    """Write absolute pressures that rest above ambient in each blow-off; the pressures [kPa], shape (n,)."""
    kpa = np.where((recording.digital & 2) > 0, over_kpa, recording.pressure_kpa) + 100.6
    rows = zip(recording.time_s, kpa * {"kPa": 1, "mbar": 10}[unit], *levels(recording), strict=True)
    header = f"time_s,absolute pressure [{unit}],suction,blow-off,part present"
    lines = [header, *(f"{t:.2f},{k:.2f},{s},{r},{p}" for t, k, s, r, p in rows)]
    path.write_text("\n".join(lines if digitals else [",".join(line.split(",")[:2]) for line in lines]))
    return kpa


@pytest.mark.parametrize(
    ("factor", "offset_kpa", "unit", "sense"),
    [(1, 0, "kPa", "gauge"), (10, 0, "mbar", "gauge"), (1000, 0, "Pa", "gauge"), (-0.01, 0, "bar", "vacuum"),
     (33, 500, "", "")],
)  # fmt: skip
def test_the_offered_unit_is_one_that_readings_can_have(factor, offset_kpa, unit, sense, recording, tmp_path):
    """A question about the unit offers a unit and sense in which readings are a vacuum, or else two points."""
    path = tmp_path / "log.csv"
    write_numbers(path, "Var_9", factor * (recording.pressure_kpa + offset_kpa), recording)
    with pytest.raises(UndecidedLogError, match="Var_9") as asked:
        read(path)
    line = f'unit = "{unit}", sense = "{sense}"' if unit else "scale = [["
    assert f'column = "Var_9", {line}' in str(asked.value)


@pytest.mark.parametrize(("name", "factor"), [("mbar", 10.0), ("psia", 0.1450377), ("Torr", -7.500617)])
def test_a_column_that_is_called_by_its_unit(name, factor, recording, tmp_path):
    """A name that is nothing but a unit of pressure says which."""
    path = tmp_path / "log.csv"
    kpa = recording.pressure_kpa + (100.6 if name == "psia" else 0.0)
    write_numbers(path, name, factor * kpa, recording)
    assert np.abs(read(path).pressure_kpa - recording.pressure_kpa).max() < 0.4


def write_numbers(path: Path, name: str, values: np.ndarray, recording: Recording) -> None:
    """A log with pressures under some name."""
    rows = zip(recording.time_s, values, *levels(recording), strict=True)
    header = f"time_s,{name},supply,release,part_present"
    path.write_text("\n".join([header, *(f"{t:.2f},{v:.6g},{s},{r},{p}" for t, v, s, r, p in rows)]))


def test_two_coils_of_a_valve_are_asked(recording, tmp_path):
    """Pulses that are named on and off are offered as one signal; the line gives the level between them."""
    supply = (recording.digital & 1).astype(int)
    turns = np.diff(supply, prepend=supply[0])
    rows = zip(recording.time_s, recording.pressure_kpa, turns > 0, turns < 0, *levels(recording)[1:], strict=True)
    path, given = tmp_path / "log.csv", tmp_path / "station.toml"
    header = "time_s,pressure_kpa,vacuum on coil,vacuum off coil,blow-off,part"
    path.write_text("\n".join([header, *(f"{t:.2f},{k:.3f},{a:d},{b:d},{r},{p}" for t, k, a, b, r, p in rows)]))
    with pytest.raises(UndecidedLogError, match="two coils of a valve") as asked:
        read(path)
    (question,) = asked.value.questions
    given.write_text(f"[channels]\n{question.line}")
    found = read(path, load_station(given))
    assert found.layout.supply_signal == "pulse"
    assert np.array_equal(found.digital & 1, supply)
