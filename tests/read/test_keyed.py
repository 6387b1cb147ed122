"""Values that are known by their names alone: in any order, some left out, or as points of a time series."""

import datetime as dt

import numpy as np
import pytest

from tests.read.dialects import START, Dialect, make_recording
from tests.read.reading import read, wrong
from tracekit.read.keyed import find_keyed

RECORDING = make_recording(cycles=8)
KPA, LEVELS = RECORDING.pressure_kpa.round(2), [RECORDING.digital >> bit & 1 for bit in range(3)]
SECONDS = [f"{t:.3f}" for t in RECORDING.time_s]
NAMES = ("t", "p_kPa", "suction", "blow", "part")
UNIX_NS = [
    1_000_000 * round((START.replace(tzinfo=dt.UTC) + dt.timedelta(seconds=float(t))).timestamp() * 1000)
    for t in RECORDING.time_s
]


def cells():
    """Time, kPa and three levels, row by row."""
    return zip(SECONDS, KPA, *LEVELS, strict=True)


def on_change() -> list[list[tuple[str, object]]]:
    """Names and values of each row: time and pressure, and the levels that have changed."""
    found, before = [], [None] * 3
    for time, kpa, *levels in cells():
        moved = [(n, v) for n, v, b in zip(NAMES[2:], levels, before, strict=True) if v != b]
        found.append([(NAMES[0], time), (NAMES[1], kpa), *moved])
        before = levels
    return found


def any_order(mark: str, sign: str = "=", comma: bool = False) -> list[str]:
    """Fields that name their values, the other way round in every third line."""
    lines = []
    for i, row in enumerate(cells()):
        pairs = [f"{n}{sign}{str(v).replace('.', ',' if comma else '.')}" for n, v in zip(NAMES, row, strict=True)]
        lines.append(mark.join(pairs if i % 3 else pairs[::-1]))
    return lines


def points(*, levels_on_change: bool) -> list[str]:
    """Points of one series with fields side by side, or of a series for each channel."""
    if not levels_on_change:
        body = zip(UNIX_NS, KPA, *LEVELS, strict=True)
        return [f"vac,line=4 p_kpa={k},suction={s}i,blow={b}i,part={p}i {t}" for t, k, s, b, p in body]
    lines = []
    for at, row in zip(UNIX_NS, on_change(), strict=True):
        lines += [f"{name},line=4 value={value} {at}" for name, value in row[1:]]
    return lines


LINES = {
    "sparse records": lambda: ["{" + ", ".join(f'"{n}": {v}' for n, v in row) + "}" for row in on_change()],
    "sparse pairs": lambda: [" ".join(f"{n}={v}" for n, v in row) for row in on_change()],
    "pairs between blanks": lambda: any_order(" "),
    "pairs between semicolons, decimal commas": lambda: any_order("; ", comma=True),
    "pairs between commas, colons": lambda: any_order(", ", ": "),
    "pairs behind a word": lambda: [f"INFO {line}" for line in any_order(" ")],
    "points of one series": lambda: points(levels_on_change=False),
    "points of a series for each channel": lambda: points(levels_on_change=True),
}


@pytest.mark.parametrize("name", LINES)
def test_values_stand_by_their_names(tmp_path, name):
    """Every reading and every level comes back, whatever the order of the names and whatever is left out."""
    path = tmp_path / "log.txt"
    path.write_text("\n".join(LINES[name]()) + "\n")
    found = read(path)
    assert wrong(RECORDING, found, Dialect()) == ""


def test_a_line_that_lacks_what_all_others_hold_is_rejected(tmp_path):
    """A name in another spelling and a line that is cut are no values of anything."""
    lines = any_order(" ")
    lines[300] = lines[300].replace("suction", "sucktion")
    lines[301] = lines[301][:18]
    path = tmp_path / "log.txt"
    path.write_text("\n".join(lines) + "\n")
    found = read(path)
    assert (found.facts.rows_read, found.facts.rows_rejected) == (len(KPA), 2)
    assert np.array_equal(found.pressure_kpa, np.delete(KPA, [300, 301]))


def test_lines_in_one_order_are_none_of_these():
    """Where every line names the same values in the same order their places tell them."""
    assert find_keyed([" ".join(f"{n}={v}" for n, v in zip(NAMES, row, strict=True)) for row in cells()]) is None
