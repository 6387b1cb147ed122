"""Each obstacle is found where it is, and not where it is not."""

from dataclasses import replace

import numpy as np
import pytest

from tests.compare.compared_stations import Scene, recording, sensor
from tracekit.compare.judging import Question
from tracekit.compare.matching import part_mix
from tracekit.compare.measures import measure_named
from tracekit.compare.obstacles import changed_settings, incomparable, obstacles
from tracekit.model.comparison import Obstacle, Recording
from tracekit.model.cycle import SettingInForce
from tracekit.options.compare import CompareOptions, SerialOptions

OPTIONS = CompareOptions()
BEFORE = recording(1, 120, name="monday")
AFTER = recording(2, 120, start_h=24.0, name="tuesday")


def _found(before: Recording = BEFORE, after: Recording = AFTER, primary: str = "decay_rate_kpa_s") -> dict[str, Obstacle]:
    mix = part_mix((before,), (after,), (), OPTIONS)
    return {o.code: o for o in obstacles((before,), (after,), mix, primary, OPTIONS)}


def _shifted(recorded: Recording, column: str, values: np.ndarray) -> Recording:
    return replace(recorded, cycles=recorded.cycles.with_columns(**{column: values}))


def test_two_fair_recordings() -> None:
    """Two logs of two days of one station have only the days against them."""
    assert set(_found()) == {"days_not_seen"}


def test_the_same_log_twice() -> None:
    """A log on both sides is named, whatever its file is called."""
    found = _found(after=replace(BEFORE, facts=replace(BEFORE.facts, source="copy.csv")))
    assert "same_log" in found
    assert "copy.csv" in found["same_log"].text
    assert "overlapping" not in found


def test_two_stations() -> None:
    """Two names are told; a name that is only the file's, or missing on one side, is not."""
    other = replace(AFTER, station="Press 4")
    assert "Loader 2 before, Press 4 after" in _found(after=other)["stations_differ"].text
    for same in (AFTER, replace(AFTER, station="tuesday"), replace(AFTER, station="tuesday.csv"), replace(AFTER, station="")):
        assert "stations_differ" not in _found(after=same)


def test_overlapping_logs() -> None:
    """Logs that overlap in time cannot have a change between them."""
    assert "overlapping" in _found(after=recording(2, 120, start_h=0.05, name="other"))


def test_swapped_order() -> None:
    """AFTER that is older than BEFORE is named."""
    assert "swapped_order" in _found(before=AFTER, after=BEFORE)


def test_logs_without_dates() -> None:
    """Without a date the order is not checked, and that is said."""
    undated = replace(AFTER, facts=replace(AFTER.facts, start_time_us=None))
    found = _found(after=undated)
    assert "time_unknown" in found
    assert "swapped_order" not in found


def test_other_settings() -> None:
    """A set point that moved by 4 kPa is named with both values; 0.3 kPa is none."""
    usual = {"set_point": 60.0, "reset_point": 55.0, "supply_off": 70.0, "supply_on": 64.0}
    moved = recording(2, 120, start_h=24.0, name="t", settings={**usual, "set_point": 56.0})
    assert "set_point 60.0 to 56.0 kPa" in _found(after=moved)["settings_differ"].text
    near = recording(2, 120, start_h=24.0, name="t", settings={**usual, "set_point": 59.7})
    assert "settings_differ" not in _found(after=near)


def test_a_setting_that_edges_tell_badly() -> None:
    """A setting whose edges scatter by 1 kPa has not changed by 2 kPa for certain."""
    loose = SettingInForce(value_kpa=58.0, source="edges", spread_kpa=1.0)
    after = replace(AFTER, settings={**AFTER.settings, "set_point": loose})
    assert changed_settings((BEFORE,), (after,), OPTIONS) == {}


def test_another_part_mix() -> None:
    """Another mix is weighted, a part type of one side left out; both are said."""
    half = Scene(parts={"plain": (0.0, 0.5), "glazed": (1.0, 0.5)})
    most = Scene(parts={"plain": (0.0, 0.1), "glazed": (1.0, 0.9)})
    first, second = recording(1, 200, half, name="a"), recording(2, 200, most, start_h=9.0, name="b")
    assert _found(first, second)["part_mix_differs"].adjusted
    third = recording(2, 200, Scene(parts={"plain": (0.0, 0.8), "matt": (1.0, 0.2)}), start_h=9.0, name="c")
    mix = part_mix((first,), (third,), ("tile",), OPTIONS)
    found = {o.code: o for o in obstacles((first,), (third,), mix, "decay_rate_kpa_s", OPTIONS)}
    assert "glazed" in found["part_types_differ"].text
    assert "matt" in found["part_types_differ"].text


def test_other_sampling() -> None:
    """Ten times slower sampling is named with both intervals."""
    text = _found(after=replace(AFTER, sensor=sensor(0.05)))["sampling_differs"].text
    assert "5 ms" in text
    assert "50 ms" in text


def test_another_zero() -> None:
    """A sensor zero that moved by 1 kPa is taken off, and said."""
    moved = recording(2, 120, Scene(medians={"idle_vacuum_kpa": 1.1}), start_h=24.0, name="t")
    assert _found(after=moved)["zero_differs"].adjusted


@pytest.mark.parametrize(
    ("ambient", "code"),
    [((95.0, 0.1, "absolute channel"), "ambient_differs"), ((101.325, 5.1, "standard atmosphere"), "ambient_unknown")],
)
def test_ambient(ambient: tuple[float, float, str], code: str) -> None:
    """Another ambient is carried over, an unknown one widens."""
    assert _found(after=recording(2, 120, start_h=24.0, name="t", ambient=ambient))[code].adjusted


def test_another_suction() -> None:
    """An open-cup vacuum that fell by a quarter points to the supply or the generator."""
    weak = recording(2, 120, Scene(medians={"open_cup_vacuum_kpa": 6.0}), start_h=24.0, name="t")
    assert "suction_differs" in _found(after=weak)


def test_another_sensor_place_or_volume() -> None:
    """Station files that differ in sensor place or volume are named."""
    here, there = replace(BEFORE, sensor_at="generator"), replace(AFTER, sensor_at="cup")
    assert "sensor_place_differs" in _found(here, there)
    small, large = replace(BEFORE, volume_ml=60.0), replace(AFTER, volume_ml=80.0)
    assert "volume_differs" in _found(small, large)
    assert "volume_differs" not in _found(small, replace(AFTER, volume_ml=61.0))


def test_too_few_cycles() -> None:
    """Twenty cycles are named with the side they are on."""
    assert "20 cycles after" in _found(after=recording(2, 20, start_h=24.0, name="t"))["too_few_cycles"].text


def test_cycles_without_a_rate() -> None:
    """A fifth of the held cycles without a coast may hide the largest leaks; for other measures it does not matter."""
    rates = AFTER.cycles.floats("decay_rate_kpa_s").copy()
    rates[::5] = np.nan
    after = _shifted(AFTER, "decay_rate_kpa_s", rates)
    assert "24 of 120" in _found(after=after)["cycles_without_rate"].text
    assert "cycles_without_rate" not in _found(after=after, primary="evacuation_time_s")


def test_warm_up() -> None:
    """First cycles that leak twice as much are named; a log without them is not."""
    rates = AFTER.cycles.floats("decay_rate_kpa_s").copy()
    rates[:10] *= 2.0
    assert "warm_up" in _found(after=_shifted(AFTER, "decay_rate_kpa_s", rates))


def test_gaps() -> None:
    """A minute that is missing from eight is named."""
    gappy = replace(AFTER, facts=replace(AFTER.facts, gaps=((100.0, 160.0),)))
    assert "60 s of 480 s" in _found(after=gappy)["gaps"].text


def test_another_mechanism() -> None:
    """A hole before and pores after is another leak, not the same one smaller."""
    found = _found(replace(BEFORE, mechanism="hole"), replace(AFTER, mechanism="porous"))
    assert "mechanism_differs" in found
    assert "mechanism_differs" not in _found(replace(BEFORE, mechanism="hole"), AFTER)


def test_days_that_are_seen() -> None:
    """Two logs on each side show how days scatter."""
    sides = [tuple(recording(k + s, 60, start_h=24.0 * (k + s), name=f"{s}{k}") for k in range(2)) for s in (0, 10)]
    mix = part_mix(*sides, (), OPTIONS)
    codes = {o.code for o in obstacles(*sides, mix, "decay_rate_kpa_s", OPTIONS)}
    assert "days_not_seen" not in codes


def test_what_follows_a_changed_setting_does_not_compare() -> None:
    """The evacuation follows the set point; the leak does not; the release follows the vacuum that it starts from."""
    mix = part_mix((BEFORE,), (AFTER,), (), OPTIONS)
    question = Question(before=(replace(BEFORE, release_vacuum_kpa=60.0),), after=(replace(AFTER, release_vacuum_kpa=66.0),),
                        mix=mix, options=OPTIONS, serial=SerialOptions())  # fmt: skip
    changed = {"set_point": (60.0, 56.0)}
    names = ("evacuation_time_s", "decay_rate_kpa_s", "release_time_s", "supply_switches")
    found = {n: incomparable(m, question, changed) for n in names if (m := measure_named(n))}
    assert "set_point 60.0 to 56.0" in found["evacuation_time_s"]
    assert "66.0 kPa after" in found["release_time_s"]
    assert found["decay_rate_kpa_s"] == found["supply_switches"] == ""
