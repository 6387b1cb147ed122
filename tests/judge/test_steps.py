"""The next steps separate the rivals cheaply, apply to the station at hand and promise what can be measured."""

import itertools
import re
from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.judge.test_handbook import TAKEN_FOR
from tracekit.errors import UsageError
from tracekit.judge import handbook
from tracekit.judge.rank import HYPOTHESES
from tracekit.judge.steps import next_steps, own_steps
from tracekit.model.finding import CODES, NextStep

LEAKY = {"decay_rate_kpa_s": 7.42, "baseline_decay_rate_kpa_s": 0.42, "ultimate_vacuum_kpa": 71.2}


def _steps(
    code: str, *rivals: str, air_saving: bool = True, has_baseline: bool = True, sensor_at: str = "generator",
    source: str = "ejector", measures: Mapping[str, float] | None = None,
) -> tuple[NextStep, ...]:  # fmt: skip
    return next_steps(
        code, rivals, air_saving=air_saving, has_baseline=has_baseline, sensor_at=sensor_at, source=source,
        measures=measures or {},
    )  # fmt: skip


def _everything(steps: tuple[NextStep, ...]) -> str:
    return " ".join(f"{s.do} {s.expect_if} {s.expect_else} {s.caution}" for s in steps)


@pytest.mark.parametrize(("code", "rival"), [pair for pair in TAKEN_FOR if CODES[pair[0]] != "symptom"])
def test_first_step_separates_code_and_rival(code: str, rival: str) -> None:
    """The first step is a test that tells the leading code from its rival, both outcomes the right way round."""
    first = _steps(code, rival)[0]
    tests = {test.do: test for test in handbook.separating_tests(code, rival)}
    assert any(first.do.startswith(do) for do in tests)
    test = next(test for do, test in tests.items() if first.do.startswith(do))
    assert first.expect_if.startswith(test.expect_if)
    assert first.expect_else == test.expect_else
    assert first.minutes == test.minutes[1]


def test_the_cheapest_test_comes_first() -> None:
    """Between check valve and release valve the bag of 4 min comes before the air-off test of 5 min."""
    steps = _steps("check_valve_leak", "release_valve_leak")
    assert [step.minutes for step in steps[:2]] == [4, 5]
    assert steps[0].expect_else == "The bag fills: the release valve lets air in."


def test_cup_before_valves() -> None:
    """A leak that could be the check valve is looked for at the cup first, then by plugging back."""
    steps = _steps("leak_steady", "check_valve_leak", measures=LEAKY)
    assert [step.do.split()[0] for step in steps] == ["Pick", "Plug", "Change", "Record"]
    # Half of 7.42 is 3.71.
    assert steps[0].expect_if == "A new cup halves the fall (at most 3.7 kPa/s): the cup leaks."
    assert steps[2].expect_else == "No change: check valve next."


def test_one_test_serves_several_rivals() -> None:
    """Two rivals that the same test tells apart get it once, and its outcomes are not said twice."""
    steps = _steps("leak_steady", "check_valve_leak", "release_valve_leak")
    assert len(steps) == 4
    assert steps[1].expect_else == "At least 80 % remains with the port plugged: check valve or release valve."
    low = _steps("supply_pressure_low", "supply_valve_slow", "timeout_too_short")
    assert low[0].expect_else == "The inlet pressure is good: the valve, or the time-out is short."


def test_expectation_carries_the_figures() -> None:
    """The last step fills in what the measure should read and what it reads now."""
    last = _steps("leak_steady", measures=LEAKY)[-1]
    # 1.2 x 0.42 + 0.1 = 0.604
    assert "fall with the supply off at most 0.60 kPa/s, now 7.4 kPa/s" in last.expect_if
    order = _steps(
        "supply_on_below_reset", measures={"reset_point_kpa": 51.0, "guard_kpa": 1.0, "hold_min_vacuum_kpa": 49.3}
    )[-1]
    assert "lowest vacuum of the hold at least 52.0 kPa, now 49.3 kPa" in order.expect_if
    dips = _steps("motion_dips", measures={"hold_min_vacuum_kpa": 50.0, "hold_vacuum_kpa": 60.0})[-1]
    assert "at least 55.0 kPa, now 50.0 kPa" in dips.expect_if
    zero = _steps("sensor_zero_shift", measures={"idle_vacuum_kpa": 3.4})[-1]
    assert "idle vacuum -0.5 to 0.5 kPa, now 3.4 kPa" in zero.expect_if


def test_a_goal_is_still_ahead() -> None:
    """What is met as it is, or cannot be met, proves no repair and is left out."""
    blocked = {"open_cup_vacuum_kpa": 1.9, "baseline_open_cup_vacuum_kpa": 1.9, "release_peak_kpa": 27.7}
    last = _steps("flow_restricted", measures={**blocked, "baseline_release_peak_kpa": 9.8}, has_baseline=True)[-1]
    assert "over-pressure of the blow-off at most 12.8 kPa, now 27.7 kPa" in last.expect_if
    assert "open-cup" not in last.expect_if.partition("Here:")[2]
    alone = _steps("flow_restricted", measures={"open_cup_vacuum_kpa": 1.9})[-1]
    assert "Here:" not in alone.expect_if  # 3 kPa less than 1.9 kPa is no vacuum
    near = _steps("motion_dips", measures={"hold_min_vacuum_kpa": 53.0, "hold_vacuum_kpa": 57.0})[-1]
    assert "Here:" not in near.expect_if  # 55.0 kPa is what another day may show without any repair
    deep = _steps("flow_restricted", measures={"open_cup_vacuum_kpa": 9.0})[-1]
    assert "at most" not in deep.expect_if  # no reference says what it was before


def test_no_figures_without_measures() -> None:
    """Unknown or not finite measures leave words only, never an empty or false number."""
    for code in CODES:
        text = _everything(_steps(code, measures={"decay_rate_kpa_s": float("nan"), "drop_share": float("nan")}))
        assert "nan" not in text
        assert "now" not in re.findall(r"Here: [^.]*", text)
    assert "Here:" not in _steps("leak_steady")[-1].expect_if


def test_tight_limit_from_the_volume() -> None:
    """Without a baseline a station of 60 mL should fall by at most 2.8 kPa/s.

    0.1 L/min at 100 kPa is 0.1e-3/60 x 1e5 = 0.1667 Pa m3/s; over 60e-6 m3 that is 2778 Pa/s.
    """
    steps = _steps("leak_steady", has_baseline=False, measures={"decay_rate_kpa_s": 7.42, "volume_ml": 60.0})
    assert "fall of a tight station at most 2.8 kPa/s, now 7.4 kPa/s" in steps[-1].expect_if
    assert "baseline" not in steps[-1].expect_if
    assert steps[-1].do.endswith("Keep it as the baseline.")


def test_picks_needed_follow_from_the_share() -> None:
    """No drop in 3/share picks shows a lower share: 150 picks for 2 %, 750 for 0.4 % and longer to record."""
    few = _steps("collision_or_peel", measures={"drop_share": 0.02})[-1]
    assert (
        few.expect_if == "Expect: no sudden drop in 150 picks: then, at 95 %, the share is below the 2 % of this log."
    )
    assert "at least 200 picks" in few.do
    many = _steps("collision_or_peel", measures={"drop_share": 0.004})[-1]
    assert "at least 750 picks" in many.do
    # 30 min x 750 / 200 = 112.5
    assert (few.minutes, many.minutes) == (30, 113)


def test_a_symptom_has_no_repair() -> None:
    """A symptom gets its first test and the recording that shows whether it is gone, nothing between."""
    for code, kind in CODES.items():
        if kind == "symptom":
            steps = _steps(code, "leak_steady")
            assert len(steps) == 2
            assert steps[0].do.startswith(handbook.entry(code).test.do)
            assert steps[1].do.startswith("Record again")


def test_a_fault_of_the_log_is_repaired_by_recording() -> None:
    """A fault of the recording ends with recording again, once."""
    steps = _steps("log_gaps", "clock_step")
    assert len(steps) == 2
    assert steps[1].expect_if == "No gap in 10 min."


def test_settings_can_be_set_back() -> None:
    """A changed setting is photographed, tried slowly, and set back where a part slips."""
    for code in ("set_point_too_high", "supply_off_unreachable", "hysteresis_too_small"):
        repair = _steps(code)[-2]
        assert "Photograph" in repair.caution
        assert repair.expect_else == "A part slips or is missed: set back."


@pytest.mark.parametrize("source", ["pump", "blower"])
def test_no_air_tests_where_there_is_no_ejector(source: str) -> None:
    """With a pump or blower no step asks for a silencer, an air-off test or a generator inlet pressure."""
    forbidden = re.compile("silencer|dump the air feed|air pressure at the generator|inlet pressure|low air pressure")
    for code, rival in itertools.product(CODES, repeat=2):
        steps = _steps(code, rival, source=source)
        text = " ".join(f"{s.do} {s.expect_if} {s.expect_else}" for s in steps)
        assert not forbidden.search(text), (code, rival)


def test_tests_that_need_air_have_a_stand_in() -> None:
    """Each entry whose own test needs compressed air has another for pumps and blowers."""
    needy = [code for code in CODES if handbook.entry(code).test.ref in {"T4", "T5", "T6"}]
    assert len(needy) >= 4
    assert all(handbook.entry(code).pump_test is not None for code in needy)


def test_blower_is_judged_against_a_healthy_record() -> None:
    """A blower leaks by design: without a baseline a leak finding begins with a healthy recording."""
    assert _steps("leak_steady", source="blower", has_baseline=False)[0].do.startswith("A blower leaks by design")
    assert _steps("leak_steady", source="blower")[0].do.startswith("Pick")
    assert _steps("sensor_noisy", source="blower", has_baseline=False)[0].do.startswith("Stop")


def test_without_air_saving_a_decay_is_made_on_purpose() -> None:
    """Without coasts the plate test asks for a decay by hand, and no figure speaks of one in the log."""
    steps = _steps("leak_steady", "check_valve_leak", air_saving=False, measures=LEAKY)
    assert "Switch the supply off by hand for 10 s" in steps[0].do
    assert "kPa/s" not in steps[-1].expect_if
    assert "ultimate vacuum rises" in steps[-1].expect_if
    assert "by hand for 10 s" not in _everything(_steps("leak_steady", "check_valve_leak"))
    narrow = _steps("leak_steady", "supply_band_too_narrow", air_saving=False)
    assert "band" not in _everything(narrow)


def test_sensor_place_decides_what_to_read() -> None:
    """With the sensor at the cup the open-back test needs a second gauge, and evacuation time is promised."""
    known = {
        "open_cup_vacuum_kpa": 22.0, "baseline_open_cup_vacuum_kpa": 8.0, "evacuation_time_s": 0.42,
        "baseline_evacuation_time_s": 0.30,
    }  # fmt: skip
    cup = _steps("flow_restricted", sensor_at="cup", measures=known)
    assert "second gauge at the generator" in cup[0].do
    # 1.05 x 0.30
    assert "evacuation time at most 0.315 s, now 0.420 s" in cup[-1].expect_if
    generator = _steps("flow_restricted", measures=known)
    assert "second gauge" not in generator[0].do
    assert "open-cup vacuum at most 10.0 kPa, now 22.0 kPa" in generator[-1].expect_if
    assert "evacuation time at most" not in generator[-1].expect_if


def test_without_baseline_a_sister_station_stands_in() -> None:
    """A test whose outcome speaks of the baseline says what to compare with where there is none."""
    steps = _steps("supply_band_too_narrow", "leak_steady", has_baseline=False)
    assert "compare with a healthy station of the same kind" in steps[0].do


def test_unknown_code_is_refused() -> None:
    """An unknown code or rival is a usage error that names the nearest."""
    with pytest.raises(UsageError, match='Did you mean "check_valve_leak"'):
        _steps("check_valve_leek")
    with pytest.raises(UsageError, match='Did you mean "leak_steady"'):
        _steps("check_valve_leak", "leak_stead")


@settings(max_examples=150, deadline=None)
@given(
    code=st.sampled_from(tuple(CODES)),
    rivals=st.lists(st.sampled_from(tuple(CODES)), max_size=5),
    air_saving=st.booleans(),
    has_baseline=st.booleans(),
    sensor_at=st.sampled_from(["generator", "cup"]),
    source=st.sampled_from(["ejector", "pump", "blower"]),
)
def test_steps_are_always_usable(
    code: str, rivals: list[str], air_saving: bool, has_baseline: bool, sensor_at: str, source: str
) -> None:
    """Whatever the finding and station: two to six steps, each whole, plain, timed and with its caution."""
    steps = _steps(
        code, *rivals, air_saving=air_saving, has_baseline=has_baseline, sensor_at=sensor_at, source=source,
        measures=LEAKY,
    )  # fmt: skip
    assert 2 <= len(steps) <= 6
    assert len({step.do for step in steps}) == len(steps)
    for step in steps:
        assert step.minutes > 0
        assert min(len(step.do), len(step.expect_if), len(step.expect_else), len(step.caution)) > 10
        assert re.match("Lock out|Safe stop|Machine running", step.caution)
        for sentence in re.split(r"(?<=[.!?])\s+", f"{step.do} {step.expect_else} {step.caution}"):
            assert len(sentence.split()) <= 25
        assert not any(re.search(rf"\b{name}\b", step.do) for name in CODES)


@pytest.mark.parametrize(("code", "rival"), list(itertools.permutations(HYPOTHESES, 2)))
def test_every_pair_that_may_be_rivals_has_a_test(code: str, rival: str) -> None:
    """Whatever two causes a log cannot tell apart: a first step with minutes, state, and two different outcomes.

    The second outcome leads to the rival; a test that is recorded says how.
    """
    first = _steps(code, rival)[0]
    known = handbook.separating_tests(code, rival)
    assert first.minutes >= 2
    assert any(first.caution.startswith(words) for words in dict(handbook.state_cautions()).values())
    assert first.expect_if
    assert first.expect_else
    assert first.expect_if != first.expect_else
    if not known:
        assert first.expect_else.startswith(f"Not so: {handbook.short_name(rival, 'ejector')}")
    recorded = [t for t in handbook.field_tests() if first.do.startswith(t.act)]
    assert all(t.record in first.do for t in recorded)


def test_the_plate_test_is_logged_as_a_blanked_one() -> None:
    """The plate test says with which option its file is read."""
    assert "--blanked plate.csv" in _steps("leak_steady", "leak_part_dependent")[0].do


@pytest.mark.parametrize("code", [code for code, kind in CODES.items() if kind in ("cause", "setting", "sensor")])
def test_a_cause_without_a_finding_has_the_steps_of_one(code: str) -> None:
    """Its test and repair are those of a finding of the same code without rivals."""
    test, repair = own_steps(code, air_saving=True, has_baseline=True, sensor_at="", source="ejector")
    steps = _steps(code, sensor_at="")
    assert test == steps[0]
    assert repair in steps
    assert repair.do == handbook.entry(code).repair.do
