"""Signals in forms that are easily passed over: each is read, asked for, or named as left aside."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.read.deciding import UndecidedLogError
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=8)
LEVELS = [(RECORDING.digital >> b & 1).astype(int) for b in range(3)]
N = len(RECORDING.time_s)


def put(folder, names: str, columns: list) -> str:
    """The recording with some columns behind time and pressure."""
    lines = [f"time_s,pressure kPa,{names}"]
    rows = zip(RECORDING.time_s, RECORDING.pressure_kpa, *columns, strict=True)
    lines += [f"{t:.2f},{p:.3f}," + ",".join(map(str, rest)) for t, p, *rest in rows]
    (folder / "log.csv").write_text("\n".join(lines))
    return folder / "log.csv"


def test_two_switches_of_the_part_are_asked_for(tmp_path):
    """Of two switch outputs that are named alike one is asked for, though "SP" may be a set point elsewhere."""
    second = (RECORDING.pressure_kpa < -40).astype(int)
    path = put(tmp_path, "suction,release,part present SP1,part present SP2", [*LEVELS, second])
    with pytest.raises(UndecidedLogError, match='"part present SP1", "part present SP2" switch') as asked:
        read(path)
    (question,) = asked.value.questions
    found = read(path, parse_station(f"[channels]\n{question.line}\n", "s.toml"))
    assert np.array_equal(found.digital, RECORDING.digital)


@pytest.mark.parametrize("spike", [-31.0, 55.0])
def test_a_coil_with_spikes(tmp_path, spike):
    """The voltage of a coil is a signal, whatever it does for two samples after it is switched off."""
    noise = np.random.default_rng(3).normal(0, 0.1, N)
    volts = 23.7 * LEVELS[0] + noise
    off = np.flatnonzero(np.diff(LEVELS[0]) == -1) + 1
    volts[off] = volts[off + 1] = spike if spike < 0 else 23.7
    volts[np.flatnonzero(np.diff(LEVELS[0]) == 1) + 2] = max(spike, 23.7)
    path = put(tmp_path, "valve U [V],release,part present", [volts.round(2), *LEVELS[1:]])
    found = read(path)
    late = np.flatnonzero(found.digital != RECORDING.digital)
    assert len(late) <= (0 if spike < 0 else 2 * len(off))


def test_a_word_of_bits_with_a_sign(tmp_path):
    """The highest bit of a word that is written with a sign is its lowest number."""
    word = sum(level << bit for level, bit in zip(LEVELS, (13, 14, 15), strict=True)).astype(np.uint16)
    found = read(put(tmp_path, "ZSW", [word.astype(np.int16)]))
    assert np.array_equal(found.digital, RECORDING.digital)


def test_a_word_that_is_said_to_be_hexadecimal(tmp_path):
    """Figures without a mark are of base 16 where the name says so."""
    word = 0xA0 + sum(level << bit for bit, level in enumerate(LEVELS))
    found = read(put(tmp_path, "IO (hex)", [[f"{w:04X}" for w in word]]))
    assert np.array_equal(found.digital, RECORDING.digital)


def test_the_only_valve_that_is_left_is_that_of_suction(tmp_path):
    """Events beside the pressure: a signal that is called valve and nothing more, beside the two others."""
    put(tmp_path, "quality", [["ok"] * N]).rename(tmp_path / "p.csv")
    rows = []
    for name, level in zip(("VALVE", "BLOW", "PART"), LEVELS, strict=True):
        rows += [(RECORDING.time_s[k], name, level[k]) for k in np.flatnonzero(np.diff(level)) + 1]
    text = "".join(f"{t:.2f},{name} {'ON' if on else 'OFF'}\n" for t, name, on in sorted(rows))
    (tmp_path / "e.csv").write_text("time_s,event\n" + text)
    found = read([tmp_path / "p.csv", tmp_path / "e.csv"])
    assert np.array_equal(found.digital, RECORDING.digital)


def test_columns_that_nothing_is_read_from_are_named(tmp_path):
    """A recipe of three words and the number of a nest are told as left aside; a measured column is not."""
    recipe = np.array(["small", "wide", "thick"])[np.arange(N) * 3 // N]
    nest = np.arange(N) * 5 // N + 1
    heat = np.round(20 + np.arange(N) / N, 2)
    path = put(tmp_path, "suction,release,part present,recipe,nest,heat", [*LEVELS, recipe, nest, heat])
    told = " ".join(a.value for a in read(path).layout.assumptions if a.what == "left aside")
    assert '"recipe"' in told
    assert '"nest' in told
    assert "heat" not in told
    given = parse_station('[channels]\ncontext = ["recipe", "nest"]\n', "s.toml")
    assert not [a for a in read(path, given).layout.assumptions if a.what == "left aside"]


@pytest.mark.parametrize("mark", ["-1", "2", "255", "-9999", "0.5"])
def test_marks_among_levels(tmp_path, mark):
    """Now and then another number in a column of levels is no level: the one before holds."""
    supply = [mark if k % 211 == 200 else str(level) for k, level in enumerate(LEVELS[0])]
    found = read(put(tmp_path, "suction,release,part present", [supply, *LEVELS[1:]]))
    expected = LEVELS[0].copy()
    for k in range(200, N, 211):
        expected[k] = expected[k - 1]
    assert np.array_equal(found.digital & 1, expected)
    assert found.facts.rows_used == N
