"""A repair that somebody noted parts the series at once where the logs beside it show it."""

import numpy as np
import pytest
from history.made_up_series import DAY_US, JAN_US, LEAK, followed

from tracekit.history.collect import StationHistory
from tracekit.history.steps import _gap, find_steps
from tracekit.history.trend import station_trend
from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.trend import Event, MeasureTrend
from tracekit.options.history import TrendOptions

OPTIONS = TrendOptions()


def trend_of(value: np.ndarray, repaired_before: float | None) -> MeasureTrend:
    """The trend of a leak with a log a day, and a repair noted before some log."""
    start = JAN_US + np.arange(len(value)) * DAY_US
    history = StationHistory(station="Glaze 1", start_us=start, followed={LEAK: followed(value)}, latest={}, findings=())
    at = None if repaired_before is None else int(JAN_US + (repaired_before - 0.5) * DAY_US)
    events = () if at is None else (Event(time_us=at, station="Glaze 1", source="noted", text="cup changed"),)
    return station_trend(history, events, None, {}, OPTIONS).measures[LEAK]


def repaired(before: int, after: int, scatter: float = 0.08) -> np.ndarray:
    """A leak of 4 kPa/s before and 0.6 after."""
    level = np.concatenate([np.full(before, 4.0), np.full(after, 0.6)])
    return level * np.exp(scatter * np.random.default_rng(2).normal(size=before + after))


@pytest.mark.parametrize(("before", "after"), [(3, 2), (4, 2), (5, 1), (5, 3), (6, 2), (8, 1), (8, 3), (12, 2), (3, 5)])
def test_few_logs_after_a_noted_repair_stand_by_themselves(before: int, after: int) -> None:
    """One step for the better, and where the station stands now is what it is since then, not the mean of both."""
    found = trend_of(repaired(before, after), before)
    (step,) = found.steps
    assert (step.better, step.event) == (True, "cup changed")
    assert step.before == pytest.approx(4.0, rel=0.1)
    assert step.after == pytest.approx(0.6, rel=0.2)
    assert isinstance(found.present, Estimate)
    assert found.present.upper < 1.0
    assert len(found.series.lines) == 2


def test_without_a_note_so_few_logs_are_no_step() -> None:
    """One low log may be anything."""
    found = trend_of(repaired(5, 1), None)
    assert found.steps == ()
    assert len(found.series.lines) == 1


def test_how_many_logs_there_are_since_the_step() -> None:
    """A slope is withheld for the logs since the repair, which are counted."""
    slope = trend_of(repaired(8, 1), 8).slope
    assert isinstance(slope, Withheld)
    assert slope.reason == "1 log since the last step; 5 are needed for a slope"


def test_a_noted_repair_that_changed_nothing_parts_nothing() -> None:
    """Two logs before and one after err in 3 of 100 trials, three and more logs before in one of 100 at most."""
    rng = np.random.default_rng(1)
    for before, after, most in ((2, 1, 0.04), (3, 1, 0.015), (4, 1, 0.01), (4, 2, 0.005), (4, 4, 0.002)):
        shown = [_gap(rng.normal(size=before + after), before, 1e-9) > 4.0 for _ in range(3000)]
        assert np.mean(shown) < most


def test_the_parts_have_steps_of_their_own() -> None:
    """A repair that is noted at 20 of 40 logs, and a step at 30 that nobody noted."""
    value = np.concatenate([np.full(20, 2.0), np.full(10, 0.0), np.full(10, 1.0)])
    value += np.random.default_rng(3).normal(0.0, 0.05, 40)
    found = find_steps(np.arange(40.0), value, 0.01, OPTIONS, (20, 21))
    assert [cut.index for cut in found.cuts if cut.is_step] == [20, 30]
    assert found.sigma == pytest.approx(0.05, rel=0.5)
