"""How a tuning tells its figures: settings with like decimals, counts without intervals, settings apart on their axis."""

from dataclasses import replace
from pathlib import Path

import pytest

from tracekit.model.estimate import Estimate
from tracekit.model.station import Station
from tracekit.pipeline import diagnose
from tracekit.read.station_file import load_stations
from tracekit.report.tune_page import tune_page
from tracekit.report.tune_pictures import settings_axis
from tracekit.report.tune_sheet import sheet_page
from tracekit.report.tune_text import tuning_lines
from tracekit.report.tune_words import figure, lead_line, plain_value
from tracekit.tune.tuning import tune_station

SORTER = Path(__file__).parents[2] / "sample_logs" / "sorter_east_chattering_output"


def effect(value, lower, upper):
    """A predicted effect of holds."""
    return Estimate(value=value, lower=lower, upper=upper, unit="per hold", n=40, method="as recorded")


@pytest.fixture(scope="module")
def tuned():
    """The station whose saw-tooth crosses its reset point, tuned; with the record of its log."""
    (station,) = load_stations([SORTER / "station.toml"])
    record = diagnose(SORTER / "log.parquet", station=station)
    return record, tune_station(record.stations[0], station, asked={}, goal=None, blocks=(), index=0)


@pytest.mark.parametrize(
    ("value", "decimals", "shown"),
    [(65.0, 1, "65.0"), (65.0, 0, "65"), (-71.25, 1, "\u221271.25"), (101325.0, 0, "101325"), (0.0, 2, "0.00")],
)
def test_settings_have_the_decimals_of_the_device(value, decimals, shown):
    """As many decimals as the other settings have, more where the value needs them, never powers of ten."""
    assert plain_value(value, decimals) == shown


def test_what_was_counted_has_no_interval():
    """A count that is the same in all holds is exact; a predicted one keeps its interval."""
    assert figure("supply_switches_per_hold", effect(3.0, 3.0, 3.0)) == "3"
    assert figure("supply_switches_per_hold", effect(5.4, 4.9, 7.0)) == "5.4 (4.9 to 7.0)"


def test_both_sides_of_an_arrow_have_like_digits(tuned):
    """Now and then are told in the digits of the less sure of them."""
    _, tuning = tuned
    now = {"supply_switches_per_hold": effect(3.0, 3.0, 3.0), "chatter_edges_per_hold": effect(2.0, 2.0, 2.0)}
    then = {"supply_switches_per_hold": effect(5.4, 4.9, 7.0), "chatter_edges_per_hold": effect(0.0002, 0.0001, 0.15)}
    told = replace(tuning, suggestion=replace(tuning.suggestion, predicted_now=now, predicted_suggested=then))
    assert lead_line(told) == "Needless output changes per hold: 2 → 0; supply changes per hold: 3 → 5."


def test_settings_to_enter_are_alike_on_page_sheet_and_screen(tuned):
    """A setting that stays says so on its button; the others stand with one decimal in every table."""
    record, tuning = tuned
    by_name = {s.name: s for s in tuning.suggestion.settings}
    same = [s for s in by_name.values() if s.shown == s.shown_now]
    page = tune_page(record, 0, tuning, Station())
    assert same
    assert page.count("</span>stays <b>") == len(same)
    for text in ("\n".join(tuning_lines(tuning)), sheet_page(record, tuning)):
        assert f"{by_name['supply_on'].shown:.1f}" in text
        assert f"{by_name['reset_point'].shown:.1f}" in text


def test_settings_that_lie_high_are_zoomed_to(tuned):
    """The axis begins just below the settings, an open cup is told by an arrow; settings that lie low keep the nought."""
    _, tuning = tuned
    picture = settings_axis(tuning, "kPa")
    assert picture is not None
    assert "← " in picture.html
    low = min(s.suggested_kpa for s in tuning.suggestion.settings)
    assert f'data-lo="{0:g}"' not in picture.html
    first = replace(tuning.suggestion.settings[0], suggested_kpa=0.2 * low)
    spread = replace(tuning, suggestion=replace(tuning.suggestion, settings=(first, *tuning.suggestion.settings[1:])))
    wide = settings_axis(spread, "kPa")
    assert wide is not None
    assert "← " not in wide.html
    assert 'data-lo="0"' in wide.html
