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
