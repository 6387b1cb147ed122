"""Layouts that are met now and then give the recording, sample by sample."""

import numpy as np
import pytest

from tests.read.dialects import Recording, make_recording
from tests.read.reading import read
from tests.read.unusual_logs import BAD_EVERY, BAD_FIRST, UNUSUAL


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
    with pytest.raises(Exception, match="expected time and pressure"):
        read(path)
