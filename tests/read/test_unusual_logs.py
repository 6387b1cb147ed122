"""Layouts that are met now and then give the recording, sample by sample."""

import numpy as np
import pytest

from tests.read.dialects import Recording, make_recording
from tests.read.reading import read
from tests.read.unusual_logs import BAD_EVERY, BAD_FIRST, UNUSUAL
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
