"""Tables with a row per reading: whatever the channels are called, and whichever channel comes first."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.model.station import Channel, Station
from tracekit.read.columns import profile_cells
from tracekit.read.longcells import mixed_profiles

RECORDING = make_recording(cycles=8)
TAGS = ("Trace A", "Bit A", "Bit B", "Bit C")
NAMED = ("Pressure", "Suction valve", "Blow-off valve", "Part present")
ROLES = ("supply", "release", "part_present")
GIVEN = {role: Channel(column=tag) for role, tag in zip(ROLES, TAGS[1:], strict=True)}


def _readings(tags, levels, *, decimal=",", changes=False):
    """Rows of time, tag, value and unit, as text, in the order of time."""
    before = None
    for t, p, d in zip(RECORDING.time_s, RECORDING.pressure_kpa, RECORDING.digital.astype(int), strict=True):
        yield f"{t:.2f}".replace(".", decimal), tags[0], f"{p:.2f}".replace(".", decimal), "kPa"
        for bit, tag in enumerate(tags[1:]):
            if not changes or before is None or (before ^ d) >> bit & 1:
                yield f"{t:.2f}".replace(".", decimal), tag, levels[d >> bit & 1], ""
        before = d


def _written(folder, header, rows, mark="|"):
    path = folder / "log.txt"
    path.write_text("\n".join([header, *(mark.join(row) for row in rows)]) + "\n", encoding="utf-8")
    return path


def _check(found):
    assert len(found.time_s) == len(RECORDING.time_s)
    assert found.pressure_kpa == pytest.approx(RECORDING.pressure_kpa, abs=0.006)
    assert np.array_equal(found.digital, RECORDING.digital)


@pytest.mark.parametrize("levels", [("0", "1"), ("False", "True"), ("0 (OFF)", "1 (ON)")])
@pytest.mark.parametrize("header", ["Time (s)|VarName|VarValue|Unit", "Time (s)|Signal|Value|Unit"])
def test_channels_with_names_that_say_nothing(tmp_path, header, levels):
    """The header says that rows hold names and values: no value of a bit is taken for a pressure."""
    path = _written(tmp_path, header, _readings(TAGS, levels))
    _check(read(path, Station(channels=GIVEN)))


def test_units_beside_that_are_no_known_ones(tmp_path):
    """A column called "Unit" tells the unit of the pressure, whatever else stands there."""
    rows = list(_readings(TAGS, ("0", "1")))
    more = [row for k, row in enumerate(rows) for row in ([row, (row[0], "AI4", str(1400 + k % 7), "rpm")] if k % 4 == 0 else [row])]
    path = _written(tmp_path, "Time (s)|VarName|VarValue|Unit", more)
    _check(read(path, Station(channels=GIVEN)))


@pytest.mark.parametrize("levels", [("F", "T"), ("0 (OFF)", "1 (ON)"), ("0", "1")])
@pytest.mark.parametrize("tags", [NAMED, TAGS], ids=["named", "unnamed"])
def test_channel_after_channel_with_a_signal_first(tmp_path, tags, levels):
    """An export tag by tag that begins with a signal, on change: one table, and a decimal comma is one."""
    rows = sorted(_readings(tags, levels, changes=True), key=lambda row: -tags.index(row[1]))
    path = _written(tmp_path, "Time (s);Variable;Value;Unit", rows, mark=";")
    given = {role: Channel(column=tag) for role, tag in zip(ROLES, tags[1:], strict=True)}
    _check(read(path, Station(channels=given)))


def test_the_header_above_readings_and_changes_is_the_header(tmp_path):
    """The first time has a reading of each channel, later ones mostly of the pressure alone."""
    rows = _readings(NAMED, ("0 (OFF)", "1 (ON)"), decimal=".", changes=True)
    found = read(_written(tmp_path, "Time in s,Channel,Value,Unit", rows, mark=","))
    assert found.layout.columns["time"] == "Time in s"
    _check(found)


def test_the_decimal_sign_is_that_of_the_channel_with_decimals():
    """Three figures behind a comma beside whole numbers of another channel do not part thousands."""
    rows = [(f"{k}", tag, value) for k in range(40) for tag, value in (("Pressure", f"-57,{300 + k}"), ("Count", f"{k}"))]
    profiles = mixed_profiles([profile_cells(c) for c in zip(*rows, strict=True)], ("t", "Tag", "Value"), rows)
    assert (profiles[2].form.decimal, profiles[2].form.mark) == (",", "")
