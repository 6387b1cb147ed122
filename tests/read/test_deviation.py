"""A station file that says how its logs are written: later logs that are written otherwise are refused by line."""

from pathlib import Path

import numpy as np
import pytest

from tracekit.errors import LogReadError
from tracekit.pipeline import measure
from tracekit.read.station_file import load_station

RECIPE = """[channels]
time = { column = "time_s", unit = "s" }
pressure = { column = "pressure_kpa", unit = "kPa", sense = "gauge" }
supply = "supply"
"""


def write_log(path: Path, odd: range, row: str) -> None:
    """Ten picks at 100 Hz; rows of `odd` are written as `row` says."""
    time = np.arange(0.0, 20.0, 0.01)
    on = (time % 2.0 > 0.5) & (time % 2.0 < 1.5)
    pressure = np.where(on, -60.0, 0.0) + 0.05 * np.sin(40.0 * time)
    lines = [
        (row if k in odd else "{t:.3f},{p:.2f},{s}").format(t=t, p=p, s=int(s))
        for k, (t, p, s) in enumerate(zip(time, pressure, on, strict=True))
    ]
    path.write_text("time_s,pressure_kpa,supply\n" + "\n".join(lines) + "\n", encoding="utf-8")


@pytest.fixture
def station(tmp_path):
    """The recipe, loaded."""
    path = tmp_path / "station.toml"
    path.write_text(RECIPE, encoding="utf-8")
    return load_station(path)


@pytest.mark.parametrize(
    ("row", "told"), [("{t:.3f},{p:.2f},{s},7", "4 fields instead of 3"), ("stopped,{p:.2f},{s}", "no time")]
)
def test_another_form_is_refused_by_line(row: str, told: str, station, tmp_path) -> None:
    """From the 700th row on the log is written otherwise: that line is named, and nothing is diagnosed from the rest."""
    write_log(tmp_path / "later.csv", range(700, 1000), row)
    with pytest.raises(LogReadError, match=rf"later\.csv: line 702 and 299 more of 2000 rows .*{told}"):
        measure(tmp_path / "later.csv", station)
    assert measure(tmp_path / "later.csv").facts.rows_rejected == 300


def test_a_few_bad_lines_are_left_out(station, tmp_path) -> None:
    """A few bad lines are no other form: counted, and the log is read."""
    write_log(tmp_path / "later.csv", range(700, 710), "{t:.3f},{p:.2f},{s},7")
    assert measure(tmp_path / "later.csv", station).facts.rows_rejected == 10
