"""Headers with marks in their names, rows of units that are mostly empty, lines above that tell the interval."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.read.asks import ask_unit
from tracekit.read.columns import Profile, make_column
from tracekit.read.deciding import UndecidedLogError
from tracekit.read.headers import is_unit, rejoined
from tracekit.read.preamble import read_preamble
from tracekit.read.spill import real_numbers

RECORDING = make_recording(cycles=8)
LEVELS = [(RECORDING.digital >> b & 1).astype(int) for b in range(3)]


def rows(mark: str = ",") -> list[str]:
    """Time, pressure and levels."""
    columns = zip(RECORDING.time_s, RECORDING.pressure_kpa, *LEVELS, strict=True)
    return [mark.join([f"{t:.2f}", f"{p:.3f}", *map(str, levels)]) for t, p, *levels in columns]


@pytest.mark.parametrize(
    "head",
    [
        "time_s,Pressure, kPa,supply,release,part present",
        "Time, s,Pressure, kPa,supply,release,part present",
        "time_s,Vacuum, cup 1, kPa,supply,release,part present",
        "time_s,Pressure,kPa,supply,release,part present",
        "Time, s,Pressure, kPa,Suction valve, Y1,Blow-off, Y2,Part present, B1",
    ],
)
def test_marks_in_names(tmp_path, head):
    """A name that holds the mark between columns is one name again."""
    (tmp_path / "log.csv").write_text("\n".join([head, *rows()]))
    found = read(tmp_path / "log.csv")
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert np.array_equal(found.digital, RECORDING.digital)


def test_names_that_do_not_fit_stay():
    """Where it does not show which parts belong together the cells stay as they are."""
    assert rejoined(["a", "b", "c", "d"], 3) == ["a", "b", "c", "d"]
    assert rejoined(["a", "b"], 2) == ["a", "b"]
    assert rejoined(["a", " b", " c"], 2) == ["a", " b", " c"]
    assert rejoined(["p", "kPa", "q", "kPa", "r"], 4) == ["p", "kPa", "q", "kPa", "r"]


def test_a_row_of_units_that_is_mostly_empty(tmp_path):
    """A form of stamps beside a unit makes a row of units, not the header."""
    lines = ["Zaman;Basınç;Vakum valfi;Üfleme;Parça var", "h:mm:ss;kPa;;;"]
    for t, line in zip(RECORDING.time_s, rows(";"), strict=True):
        lines.append(f"0:{int(t // 60):02d}:{t % 60:06.3f};{line.partition(';')[2]}")
    (tmp_path / "log.csv").write_text("\n".join(lines), "utf-8")
    found = read(tmp_path / "log.csv")
    assert found.layout.columns["supply"] == "Vakum valfi"
    assert np.array_equal(found.digital, RECORDING.digital)


def test_forms_of_stamps_are_units():
    """What looks like a form, but has other letters or no sign between, is a name."""
    assert all(map(is_unit, ("h:mm:ss,fff", "dd.mm.yyyy hh:mm:ss", "yyyy/mm/dd", "% vac", "[kPa]")))
    assert not any(map(is_unit, ("a-b", "fast", "mass", "day-time", "Date/Time", "m:n")))


@pytest.mark.parametrize(
    "line",
    ["dt=0.010", "ΔT,1.0000E-02,s", "Интервал опроса: 10 мс", "# Period 10000 us", "Horizontal resolution;0,01;s",
     "Sampling interval,0.01", "采样周期: 10毫秒"],
)  # fmt: skip
def test_lines_that_tell_the_interval(line):
    """Whatever stands between number and unit; without a unit a part of a second."""
    assert read_preamble([line]).interval_s == pytest.approx(0.01)


def test_a_whole_number_without_a_unit_tells_no_interval():
    """It may be milliseconds as well."""
    assert read_preamble(["dt=10"]).interval_s is None
    assert read_preamble(["Batch period 12 pcs"]).interval_s is None


@pytest.mark.parametrize(
    ("values", "line", "others"),
    [
        ([-23.2, 0.0, 0.0, 1.2], 'unit = "inHg", sense = "gauge"', ['unit = "kPa"']),
        ([3.2, 14.6, 14.6, 15.2], 'unit = "psi", sense = "absolute"', ['unit = "inHg"', 'unit = "kPa"']),
        ([-30.0, 0.0, 0.0, 588.0], 'unit = "...", sense = "..."', ['unit = "mbar", sense = "vacuum"; or unit = "mmHg"']),
        ([-1106.0, 0.0, 0.0, 21680.0], "scale = ", ['unit = "Pa"']),
    ],
)
def test_the_likeliest_unit_is_offered_first(values, line, others):
    """By the vacuum that it makes and, of absolute readings, by ambient; the others stand behind the line.

    Where two make a usual vacuum, none is filled in.
    """
    many = np.tile(values, 50)
    asked = ask_unit(make_column("P", "", Profile(kind="number"), real_numbers(many)))
    answer, _, comment = asked.line.partition("#")
    assert line in answer
    assert all(other in comment for other in others)


def test_the_column_that_answers_the_valves_is_offered_first(tmp_path):
    """Of several columns without names and units."""
    axis = np.abs(np.arange(len(RECORDING.time_s)) % 300 - 150.0)
    lines = ["t,a,b,c,d,e"]
    for place, line in enumerate(rows()):
        time, _, rest = line.partition(",")
        lines.append(f"{time},{axis[place]:.1f},{rest}")
    (tmp_path / "log.csv").write_text("\n".join(lines))
    with pytest.raises(UndecidedLogError, match="several columns may be the pressure") as asked:
        read(tmp_path / "log.csv")
    assert 'column = "b"' in str(asked.value)
