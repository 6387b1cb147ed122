"""Names of signals that the pressure contradicts, and signals of which several are named alike."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.model.answers import answers
from tracekit.read.deciding import UndecidedLogError
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=12)
SUCTION, RELEASE, PART = (RECORDING.digital >> bit & 1 for bit in range(3))


def written(path, **signals):
    """A log with a pressure in kPa and some signals."""
    rows = zip(RECORDING.time_s, RECORDING.pressure_kpa, *signals.values(), strict=True)
    body = [";".join([f"{t:.3f}", f"{p:.2f}", *map(str, levels)]) for t, p, *levels in rows]
    path.write_text("\n".join([";".join(["Time (s)", "Pressure (kPa)", *signals]), *body]) + "\n")
    return path


def answered(path, *lines):
    """The log read with some lines of a station file."""
    return read(path, parse_station("[channels]\n" + "\n".join(lines) + "\n", "station.toml"))


def test_exchanged_names_are_asked_with_both_answers(tmp_path):
    """Vacuum begins at the edges of what is named blow-off: the first answer is what the pressure shows."""
    path = written(tmp_path / "log.csv", **{"Suction valve": RELEASE, "Blow-off valve": SUCTION, "Part present": PART})
    with pytest.raises(UndecidedLogError, match="the pressure contradicts two names") as asked:
        read(path)
    (question,) = asked.value.questions
    shown, named = (line for _, line in answers(question))
    assert np.array_equal(answered(path, shown).digital, RECORDING.digital)
    as_named = answered(path, named)
    assert as_named.layout.columns["supply"] == "Suction valve"
    assert as_named.layout.columns["release"] == "Blow-off valve"


def test_names_that_the_pressure_bears_out_are_not_asked(tmp_path):
    """The same log with the names where they belong, also where a level of 0 makes vacuum."""
    path = written(tmp_path / "log.csv", **{"Suction valve": SUCTION, "Blow-off valve": RELEASE, "Part present": PART})
    assert np.array_equal(read(path).digital, RECORDING.digital)
    path = written(tmp_path / "low.csv", **{"Suction valve": 1 - SUCTION, "Blow-off valve": 1 - RELEASE})
    assert read(path).layout.columns["supply"] == "Suction valve"


def test_a_signal_named_for_one_role_is_not_offered_for_another(tmp_path):
    """Commands stand before what is reported, and what is named suction is no release: the first lines read right."""
    signals = {"Suction fb": SUCTION, "Suction cmd": SUCTION, "Blow cmd": RELEASE, "Blow fb": RELEASE, "Part": PART}
    path = written(tmp_path / "log.csv", **signals)
    with pytest.raises(UndecidedLogError, match="does not show") as asked:
        read(path)
    offered = {q.line.partition(" ")[0]: [line for _, line in answers(q)] for q in asked.value.questions}
    assert [line.split('"')[1] for line in offered["supply"]] == ["Suction cmd", "Suction fb"]
    assert [line.split('"')[1] for line in offered["release"]] == ["Blow cmd", "Blow fb"]
    found = answered(path, *(q.line for q in asked.value.questions))
    assert np.array_equal(found.digital, RECORDING.digital)


def test_the_way_back_from_over_pressure_is_no_vacuum_that_begins(tmp_path):
    """A slow station whose blow-off goes far above ambient: the names are right, though pressure falls after it."""
    row = np.arange(12 * 300) % 300
    supply, release = (row < 150).astype(int), ((row >= 150) & (row < 190)).astype(int)
    ramp = np.interp(row, [0, 5, 140, 150, 160, 190], [0, 0, -70, -70, 17, 17])
    pressure = np.where(row < 190, ramp, 17 * np.exp(-(row - 190) / 6))
    rows = zip(np.arange(len(row)) * 0.01, pressure, supply, release, strict=True)
    path = tmp_path / "log.csv"
    body = "\n".join(f"{t:.2f};{p:.2f};{s};{r}" for t, p, s, r in rows)
    path.write_text("Time (s);Pressure (kPa);Suction valve;Blow-off valve\n" + body + "\n")
    assert read(path).layout.columns["supply"] == "Suction valve"


CONSTANT = np.ones_like(SUCTION)
ELSEWHERE = (np.arange(len(SUCTION)) // 170 % 2).astype(int)


def test_what_never_changes_is_no_suction_beside_what_the_pressure_answers(tmp_path):
    """An enabling signal that is always on loses its name to the column that vacuum follows."""
    path = written(tmp_path / "log.csv", **{"Suction valve": CONSTANT, "Y1": SUCTION, "Release": RELEASE, "Part": PART})
    found = read(path)
    assert found.layout.columns["supply"] == "Y1"
    assert np.array_equal(found.digital, RECORDING.digital)


def test_what_never_changes_keeps_its_name_where_nothing_else_may_have_it(tmp_path):
    """A log in which suction is always off or on is read as it is."""
    path = written(tmp_path / "log.csv", **{"Suction valve": CONSTANT, "Release": RELEASE, "Part": PART})
    assert read(path).layout.columns["supply"] == "Suction valve"


@pytest.mark.parametrize("name", ["Suction enable", "Freigabe Sauger", "Suction request"])
def test_what_allows_suction_is_not_taken_for_it(tmp_path, name):
    """Beside a column that is named less, and that vacuum follows, a word of permission loses."""
    path = written(tmp_path / "log.csv", **{name: ELSEWHERE, "Vacuum": SUCTION, "Release": RELEASE, "Part": PART})
    assert read(path).layout.columns["supply"] == "Vacuum"


def test_a_name_that_the_pressure_does_not_answer_is_asked(tmp_path):
    """The first answer is the column that vacuum follows."""
    signals = {"Suction side": ELSEWHERE, "Y1": SUCTION, "Release": RELEASE, "Part": PART}
    path = written(tmp_path / "log.csv", **signals)
    with pytest.raises(UndecidedLogError, match='the pressure answers "Y1" as it does supply') as asked:
        read(path)
    found = answered(path, *(q.line for q in asked.value.questions))
    assert np.array_equal(found.digital, RECORDING.digital)


def test_an_emergency_stop_that_is_released_is_no_release(tmp_path):
    """Words of permission give way to the valve that is named alike."""
    signals = {"Emergency stop released": ELSEWHERE, "Vacuum valve": SUCTION, "Blow valve": RELEASE, "Part": PART}
    assert read(written(tmp_path / "log.csv", **signals)).layout.columns["release"] == "Blow valve"


@pytest.mark.parametrize("around", ["", "'"])
def test_a_single_signal_that_ends_vacuum_is_first_offered_as_release(tmp_path, around):
    """Levels between quotes are levels and no states."""
    starts = (SUCTION == 1) & (np.roll(SUCTION, 1) == 0)
    before = np.roll(starts, -25) & (RECORDING.pressure_kpa > -5.0)  # pulses that do nothing leave it in doubt
    pulses = (RELEASE > 0) | before | np.roll(before, 1)
    levels = np.char.add(np.char.add(around, pulses.astype(int).astype(str)), around)
    path = written(tmp_path / "log.csv", **{"Y9": levels, "Part present": PART})
    with pytest.raises(UndecidedLogError, match='"Y9" switches') as asked:
        read(path)
    assert [line.split()[0] for _, line in answers(asked.value.questions[0])] == ["release", "supply"]


def test_compressed_air_is_not_offered_as_pressure_beside_a_vacuum(tmp_path):
    """A line pressure that goes below ambient is the vacuum, whatever the other one is called."""
    air = np.full(len(SUCTION), 5.5) + 0.1 * (np.arange(len(SUCTION)) % 7)
    path = written(tmp_path / "log.csv", **{"Air supply (bar)": air, "Suction": SUCTION, "Release": RELEASE})
    path.write_text(path.read_text().replace("Pressure (kPa)", "Line pressure (kPa)", 1))
    assert read(path).layout.columns["pressure"] == "Line pressure (kPa)"
