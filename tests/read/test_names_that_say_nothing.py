"""Columns of which the names say nothing: the pressure tells valves apart, and raw signals are offered by their rest."""

import re
from itertools import permutations

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=14)
LEVELS = [RECORDING.digital >> k & 1 for k in range(3)]
NAMES = "Suction valve,Blow-off,Part present"


def put(folder, header: str, pressure, levels=LEVELS):
    """A log of the recording with some pressures, as text or numbers."""
    cells = pressure if isinstance(pressure, list) else [f"{p:.3f}" for p in pressure]
    rows = [",".join(map(str, row)) for row in zip(RECORDING.time_s.round(3), cells, *levels, strict=True)]
    path = folder / "log.csv"
    path.write_text("\n".join([f"Time (s),{header}", *rows]) + "\n")
    return path


def offered(path) -> list[str]:
    """The lines of a question, each with what is offered in its place."""
    with pytest.raises(LogReadError, match="Put this into a station file") as refused:
        read(path)
    return [line.strip() for line in str(refused.value).splitlines()[2:]]


@pytest.mark.parametrize("order", list(permutations(range(3))))
@pytest.mark.parametrize("over_kpa", [0.0, 9.0])
def test_valves_in_any_order_are_told_by_the_pressure(tmp_path, order, over_kpa):
    """Over-pressure that sinks after a blow-off is no vacuum that rises: one way is left to give out the roles."""
    release = RECORDING.digital & 2 > 0
    since = np.arange(len(release)) - np.maximum.accumulate(np.where(release, np.arange(len(release)), 0))
    kpa = RECORDING.pressure_kpa + np.where(np.cumsum(release) > 0, over_kpa * np.exp(-since / 4), 0.0)
    held = LEVELS[2] > 0
    kpa = np.where(held, RECORDING.pressure_kpa, kpa)
    path = put(tmp_path, "Channel 1 (kPa),Channel 2,Channel 3,Channel 4", kpa, [LEVELS[k] for k in order])
    found = read(path)
    assert np.array_equal(found.digital, RECORDING.digital)


def test_outputs_are_no_marks_of_quality(tmp_path):
    """An output of a controller begins with Q as well, and is no column of marks."""
    found = read(put(tmp_path, "p (kPa),Q0.1,%Q0.2,I1.3", RECORDING.pressure_kpa))
    assert np.array_equal(found.digital, RECORDING.digital)


@pytest.mark.parametrize(
    ("rest", "full", "told"),
    [(4.0, 20.0, "[[4.0, 0.0], [20.0, -101.3]]"), (1.0, 5.0, "[[1.0, 0.0], [5.0, -101.3]]"),
     (0.0, 10.0, "[[0.0, 0.0], [10.0, -101.3]]")],
)  # fmt: skip
def test_raw_signals_are_offered_with_no_unit_filled_in(tmp_path, rest, full, told):
    """Readings that rest at 4 mA or 1 V, or lie from 0 to 10 V, may be psi as well: nothing is filled in, and the scale works."""
    raw = rest + (full - rest) * np.maximum(RECORDING.pressure_kpa, -101.3) / -101.3
    path = put(tmp_path, f"AI1,{NAMES}", raw)
    (line,) = offered(path)
    assert 'unit = "...", sense = "..."' in line.partition("#")[0]
    assert f"scale = {told}" in line.partition("#")[2]
    found = read(path, parse_station(f'[channels]\npressure = {{ column = "AI1", scale = {told} }}\n', "s.toml"))
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max() < 0.02


@pytest.mark.parametrize("name", ["AI1", "IW64", "Pressure"])
def test_counts_without_a_sign_under_any_name(tmp_path, name):
    """Negative whole numbers written 65536 higher are read as such, whatever the column is called."""
    counts = np.round(RECORDING.pressure_kpa * 10).astype(int)
    path = put(tmp_path, f"{name},{NAMES}", [str(c % 65536) for c in counts.tolist()])
    line = offered(path)[0]
    scale = "scale = [[0.0, 0.0], [-1000.0, -100.0]]"
    found = read(path, parse_station(f'[channels]\npressure = {{ column = "{name}", {scale} }}\n', "s.toml"))
    assert re.match(r"pressure = ", line)
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max() < 0.051


@pytest.mark.parametrize("mark", [6553.5, 3276.7, -3276.8])
def test_full_counts_in_tenths_are_no_readings(tmp_path, mark):
    """An open input of 16 bits at a scale of a tenth: missing, as at a scale of one."""
    kpa = np.where(np.arange(len(RECORDING.time_s)) % 97 == 50, mark, RECORDING.pressure_kpa)
    found = read(put(tmp_path, f"Pressure (kPa),{NAMES}", kpa))
    assert np.isnan(found.pressure_kpa).sum() == (kpa == mark).sum()


def test_a_minus_behind_numbers_beside_a_few_before(tmp_path):
    """A rounded "-0.00" does not hide that the minus of all others stands behind."""
    cells = [f"{abs(p):.2f}-" if p < -0.005 else f"{p:.2f}" for p in RECORDING.pressure_kpa.tolist()]
    assert "-0.00" in cells
    found = read(put(tmp_path, f"Pressure (kPa),{NAMES}", cells))
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max() < 0.0051


@pytest.mark.parametrize("mark", ["X", "x", "y"])
def test_marks_beside_empty_cells_are_signals_under_any_name(tmp_path, mark):
    """Columns with one mark or nothing switch, in whatever language they are named."""
    levels = [[mark if v else "" for v in own.tolist()] for own in LEVELS]
    found = read(put(tmp_path, "p (kPa),Imik,Puhu,Olem", RECORDING.pressure_kpa, levels))
    assert np.array_equal(found.digital, RECORDING.digital)


@pytest.mark.parametrize("places", [(31, 20, 0), (17, 30, 24)])
def test_words_of_thirty_two_bits(tmp_path, places):
    """Bits above the sixteenth are signals of a column that is called a word."""
    words = sum(own.astype(np.int64) << k for own, k in zip(LEVELS, places, strict=True))
    assert np.array_equal(
        read(put(tmp_path, "p (kPa),DI word", RECORDING.pressure_kpa, [words])).digital, RECORDING.digital
    )


def test_a_part_that_does_not_follow_the_vacuum_is_asked_about(tmp_path):
    """The signal that is named more like a part is another one: both answers are offered, and each is taken."""
    down = np.roll(LEVELS[2], -40)
    path = put(tmp_path, "p (kPa),Suction,Blow-off,Part,Gripper down", RECORDING.pressure_kpa, [*LEVELS, down])
    (line,) = offered(path)
    first, second = re.findall(r'part_present = \{ column = "[^"]*" \}', line)
    for answer, level in ((first, LEVELS[2]), (second, down)):
        assert np.array_equal(read(path, parse_station(f"[channels]\n{answer}\n", "s.toml")).digital >> 2, level)
    path = put(tmp_path, "p (kPa),Suction,Blow-off,Gripper down,Part", RECORDING.pressure_kpa, [*LEVELS, down])
    assert np.array_equal(read(path).digital, RECORDING.digital)


def test_compressed_air_is_no_vacuum(tmp_path):
    """What is named pressure and never comes near ambient gives way to the other column in a unit of pressure."""
    air = [f"{5.6 - 0.1 * on}" for on in LEVELS[0].tolist()]
    mbar = [f"{10 * p:.1f}" for p in RECORDING.pressure_kpa]
    found = read(put(tmp_path, f"Pressure (bar),AI2 (mbar),{NAMES}", air, [mbar, *LEVELS]))
    assert found.layout.columns["pressure"] == "AI2 (mbar)"
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max() < 0.0051


def test_one_signal_is_offered_for_one_role(tmp_path):
    """Where a single signal is left for two roles, one line names it, and the other role stands beside it."""
    rows = np.roll(LEVELS[0], 90)
    (line,) = offered(put(tmp_path, "p (kPa),CH2,Part present", RECORDING.pressure_kpa, [rows, LEVELS[2]]))
    assert line == 'supply = { column = "CH2" }   # or release = { column = "CH2" }'


def test_the_number_of_a_piece_is_no_time(tmp_path):
    """Where time starts again in every piece, the number of the piece is not offered in its place."""
    piece = np.arange(len(RECORDING.time_s)) // 300
    time_s = RECORDING.time_s - RECORDING.time_s[piece * 300] - 0.12
    cells = zip(piece.tolist(), time_s, RECORDING.pressure_kpa, *LEVELS, strict=True)
    path = tmp_path / "log.csv"
    path.write_text(
        f"Segment,Time (s),Pressure (kPa),{NAMES}\n"
        + "\n".join(f"{n},{t:.2f},{p:.3f},{s},{r},{h}" for n, t, p, s, r, h in cells)
    )
    assert not any("Segment" in line for line in offered(path))


@pytest.mark.parametrize(("places", "signed"), [((1, 0, 15), True), ((4, 10, 5), False), ((7, 2, 15), False)])
@pytest.mark.parametrize("turned", [0, 1])
def test_a_word_under_any_name_is_no_voltage(tmp_path, places, signed, turned):
    """Whole numbers of a few values are bits, also where the highest bit parts them like the two levels of a coil."""
    own = [LEVELS[0] ^ turned, *LEVELS[1:]]
    words = sum(level.astype(np.int64) << k for level, k in zip(own, places, strict=True))
    words = np.where(words >= 2**15, words - 2**16, words) if signed else words
    found = read(put(tmp_path, "p (kPa),IN", RECORDING.pressure_kpa, [words]))
    assert np.array_equal(found.digital, RECORDING.digital ^ turned)


@pytest.mark.parametrize("mean", ["mean", "avg", "Mittelwert"])
def test_averages_stand_for_readings_between_extremes(tmp_path, mean):
    """A row per reading with its lowest, highest and mean value: the mean is read."""
    rows = [
        f"{t:.2f},{tag},{v - 0.2:.3f},{v + 0.2:.3f},{v:.3f}"
        for t, *own in zip(RECORDING.time_s, RECORDING.pressure_kpa, *LEVELS, strict=True)
        for tag, v in zip(["Pressure (kPa)", *NAMES.split(",")], own, strict=True)
    ]
    path = tmp_path / "log.csv"
    path.write_text("\n".join([f"time_s,tag,min,max,{mean}", *rows]) + "\n")
    found = read(path)
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max() < 0.002
    assert np.array_equal(found.digital, RECORDING.digital)


@pytest.mark.parametrize("name", ["DI word", "IN"])
def test_the_sign_of_a_word_is_one_bit(tmp_path, name):
    """Sixteen bits with a sign have no bits above the sign."""
    words = LEVELS[0].astype(np.int64) + 2 * LEVELS[1] - 2**15 * LEVELS[2].astype(np.int64)
    found = read(put(tmp_path, f"p (kPa),{name}", RECORDING.pressure_kpa, [words]))
    assert np.array_equal(found.digital, RECORDING.digital)
    assert found.layout.columns["part_present"] == name
    assert any(a.what == "part_present" and a.value == f"{name}.15" for a in found.layout.assumptions)
