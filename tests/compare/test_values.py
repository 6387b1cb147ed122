"""Which values of a measure enter, what is taken off, what they share."""

from dataclasses import replace

import numpy as np
import pytest

from tests.compare.compared_stations import Scene, recording
from tracekit.compare.measures import MEASURES, Measure, measure_named
from tracekit.compare.values import (
    adjust_ambient,
    adjust_zero,
    ambients_known,
    in_order,
    side_values,
    with_common,
    zero_of,
)
from tracekit.model.comparison import Recording
from tracekit.model.estimate import Bound, Estimate
from tracekit.model.tables import CYCLES
from tracekit.options.compare import CompareOptions

OPTIONS = CompareOptions()
AT_101 = (101.0, 0.1, "absolute channel")
AT_95 = (95.0, 0.1, "absolute channel")
UNKNOWN = (101.325, 5.1, "standard atmosphere")


def _measure(column: str) -> Measure:
    found = measure_named(column)
    assert found is not None
    return found


def _column(recorded: Recording, **columns: np.ndarray) -> Recording:
    return replace(recorded, cycles=recorded.cycles.with_columns(**columns))


def test_every_measure_is_a_column_with_its_unit() -> None:
    """The measures are columns of the cycles table, named once, in the table's unit."""
    units = {c.name: c.unit for c in CYCLES}
    names = [m.column for m in MEASURES]
    assert len(names) == len(set(names))
    assert {m.column: m.unit for m in MEASURES} == {n: units[n] for n in names}


def test_only_held_cycles_tell_the_leak() -> None:
    """A dropped cycle enters the evacuation, not the leak; a missed one only what needs no part."""
    recorded = recording(1, 100, Scene(drops=0.2, misses=0.2))
    outcome = recorded.cycles.codes("outcome")
    held, dropped = int((outcome == 0).sum()), int((outcome == 1).sum())
    assert len(side_values(_measure("decay_rate_kpa_s"), (recorded,), ())) == held
    assert len(side_values(_measure("evacuation_time_s"), (recorded,), ())) == held + dropped
    assert len(side_values(_measure("response_delay_s"), (recorded,), ())) == 100


def test_missing_values_stay_out() -> None:
    """NaN in a float column and -1 in a count are no values."""
    recorded = recording(2, 40)
    rates = recorded.cycles.floats("decay_rate_kpa_s").copy()
    rates[:7] = np.nan
    edges = np.zeros(40, np.int32)
    edges[:5] = -1
    recorded = _column(recorded, decay_rate_kpa_s=rates, chatter_edges=edges)
    assert len(side_values(_measure("decay_rate_kpa_s"), (recorded,), ())) == 33
    assert len(side_values(_measure("chatter_edges"), (recorded,), ())) == 35


def test_several_logs_stand_in_the_order_of_time() -> None:
    """Values follow the start of their logs, not the order in which these are named."""
    first, second = recording(1, 10, name="a"), recording(2, 20, start_h=5.0, name="b")
    assert [r.facts.log_id for r in in_order((second, first))] == ["a", "b"]
    assert side_values(_measure("noise_kpa"), (second, first), ()).log.tolist() == [0] * 10 + [1] * 20
    undated = replace(second, facts=replace(second.facts, start_time_us=None))
    assert in_order((undated, first)) == (undated, first)


def test_the_distance_from_zero() -> None:
    """A zero that is off by -3 is as bad as one that is off by +3."""
    recorded = recording(1, 20, Scene(medians={"idle_vacuum_kpa": -3.0}))
    assert np.median(side_values(_measure("idle_vacuum_kpa"), (recorded,), ()).values) == pytest.approx(3.0, abs=0.1)


def test_zeros_that_differ_are_taken_off() -> None:
    """A zero that moved by 2 kPa is taken off vacuum measures, and only off those."""
    sides = recording(1, 60), recording(2, 60, Scene(medians={"idle_vacuum_kpa": 2.1, "hold_vacuum_kpa": 68.0}))
    zeros = zero_of((sides[0],)), zero_of((sides[1],))
    for column, moved in (("hold_vacuum_kpa", True), ("release_time_s", False)):
        plain = tuple(side_values(_measure(column), (s,), ()) for s in sides)
        found, note = adjust_zero(_measure(column), (plain[0], plain[1]), zeros, OPTIONS)
        taken = float(np.median(plain[1].values) - np.median(found[1].values))
        assert taken == pytest.approx(zeros[1] if moved else 0.0)
        assert bool(note) == moved


def test_zeros_that_hardly_differ_become_uncertainty() -> None:
    """A zero that may have moved by 0.2 kPa is not corrected but counted."""
    side = side_values(_measure("hold_vacuum_kpa"), (recording(1, 60),), ())
    found, note = adjust_zero(_measure("hold_vacuum_kpa"), (side, side), (0.1, 0.3), OPTIONS)
    assert note == ""
    assert found[1].common_low == pytest.approx(0.1)
    assert (found[1].values == side.values).all()


def test_a_log_without_idle_readings() -> None:
    """Where the zero is not in the log nothing is taken off."""
    bare = _column(recording(1, 20), idle_vacuum_kpa=np.full(20, np.nan))
    assert np.isnan(zero_of((bare,)))
    side = side_values(_measure("hold_vacuum_kpa"), (bare,), ())
    assert adjust_zero(_measure("hold_vacuum_kpa"), (side, side), (np.nan, 0.3), OPTIONS)[0] == (side, side)


def test_the_leak_is_carried_to_one_ambient() -> None:
    """A leak measured at 95 kPa is carried to 101 kPa by the power between hole and pores, with the doubt of it."""
    before, after = recording(1, 60, ambient=AT_101), recording(2, 60, ambient=AT_95)
    leak = _measure("decay_rate_kpa_s")
    sides = side_values(leak, (before,), ()), side_values(leak, (after,), ())
    found, note = adjust_ambient(leak, sides, ((before,), (after,)), OPTIONS)
    assert found[1].values / sides[1].values == pytest.approx(np.full(60, (101.0 / 95.0) ** 1.2))
    assert found[1].common_low == pytest.approx(np.log(101 / 95) * 0.15 * np.median(sides[1].values), rel=1e-6)
    assert "95.0 to 101.0" in note
    times = _measure("release_time_s")
    plain = side_values(times, (before,), ()), side_values(times, (after,), ())
    assert adjust_ambient(times, plain, ((before,), (after,)), OPTIONS) == (plain, "")


def test_unknown_weather_widens() -> None:
    """Where the ambient of a side is not known, the weather's share of the leak enters as uncertainty."""
    before, after = recording(1, 60, ambient=UNKNOWN), recording(2, 60, ambient=AT_95)
    leak = _measure("decay_rate_kpa_s")
    sides = side_values(leak, (before,), ()), side_values(leak, (after,), ())
    found, note = adjust_ambient(leak, sides, ((before,), (after,)), OPTIONS)
    assert note == ""
    assert found[0].common_low == pytest.approx(1.2 * 1.2 / 101.325 * np.median(sides[0].values))


def test_one_figure_for_both_sides_is_not_known_for_each() -> None:
    """A station file used for both logs gives the same ambient twice, which is one measurement."""
    one = (100.2, 0.15, "station file")
    assert not ambients_known((recording(1, ambient=one),), (recording(2, ambient=one),))
    assert ambients_known((recording(1, ambient=one),), (recording(2, ambient=(99.0, 0.15, "station file")),))
    assert ambients_known((recording(1, ambient=AT_95),), (recording(2, ambient=AT_95),))


def test_errors_of_the_leak_model_are_shared() -> None:
    """The log's own interval of the leak enters whole, however many cycles there are."""
    estimate = Estimate(value=5.0, lower=4.8, upper=5.4, unit="kPa/s", n=200, method="")
    recorded = recording(1, 200, leak=estimate)
    leak = _measure("decay_rate_kpa_s")
    side = with_common(leak, side_values(leak, (recorded,), ()), (recorded,), replace(OPTIONS, day_share=0.0))
    assert side.common_low == pytest.approx(0.2 / 1.959964)
    assert side.common_high == pytest.approx(0.4 / 1.959964)
    known = replace(recorded, leak_common_u=0.05)
    side = with_common(leak, side_values(leak, (known,), ()), (known,), replace(OPTIONS, day_share=0.0))
    assert side.common_low == side.common_high == pytest.approx(0.05)


@pytest.mark.parametrize(("status", "limit"), [("lower_bound", 4.0), ("upper_bound", 6.0)])
def test_a_bound_leaves_one_end_open(status: str, limit: float) -> None:
    """A lower bound of the leak says nothing about how much more it is."""
    bound = Bound(status="lower_bound" if status == "lower_bound" else "upper_bound", limit=limit, unit="kPa/s", n=9,
                  method="")  # fmt: skip
    recorded = replace(recording(1, 60), leak=bound)
    leak = _measure("decay_rate_kpa_s")
    side = with_common(leak, side_values(leak, (recorded,), ()), (recorded,), OPTIONS)
    ends = (side.common_high, side.common_low) if status == "lower_bound" else (side.common_low, side.common_high)
    assert ends[0] == np.inf
    assert 0.3 < ends[1] < 0.8


def test_days_that_scatter_more_than_assumed() -> None:
    """Three logs whose medians lie apart replace the assumed scatter between days, with the factor of few days."""
    logs = tuple(
        recording(k, 60, Scene(day=shift), start_h=24.0 * k, name=str(k)) for k, shift in enumerate((-0.1, 0.0, 0.1))
    )
    leak = _measure("decay_rate_kpa_s")
    side = with_common(leak, side_values(leak, logs, ()), logs, OPTIONS)
    assert side.common_low > 0.3
    single = with_common(leak, side_values(leak, logs[:1], ()), logs[:1], OPTIONS)
    assert single.common_low == pytest.approx(OPTIONS.day_share * np.median(side_values(leak, logs[:1], ()).values))
