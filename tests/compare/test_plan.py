"""Plans: cycles, sampling, looks, hash."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.compare.compared_stations import Scene, recording, sensor
from tracekit.compare.measures import MEASURES, RATES
from tracekit.compare.plan import plan_for
from tracekit.compare.plan_check import check_plan, plan_hash
from tracekit.compare.plan_share import PlanQuestion, power_of_exact, rounded
from tracekit.compare.typical import TYPICAL, TYPICAL_SHARES
from tracekit.errors import NotEnoughData, UsageError
from tracekit.model.comparison import Plan, Recordings
from tracekit.options.compare import CompareOptions, PlanOptions, SerialOptions

PILOT = (recording(1, 200, Scene(fade=0.3, share=0.3), name="pilot"),)
OPTIONS = CompareOptions()
FROZEN = "2025-03-01T06:00:00Z"


def _plan(measure: str = "decay_rate_kpa_s", change: float = 0.5, pilot: Recordings = PILOT, *, relative: bool = False,
          margin: float | None = None, power: float | None = None, looks: int = 1, frozen: str = "") -> Plan:  # fmt: skip
    question = PlanQuestion(
        measure=measure, change=change, relative=relative, margin=margin, power=power, looks=looks
    )
    return plan_for(question, pilot, CompareOptions(), PlanOptions(), SerialOptions(), frozen)


def test_smaller_changes_take_more_cycles() -> None:
    """A change of 0.4 kPa/s takes more cycles than one of 0.5, 95 % more than 80 %."""
    assert _plan(change=0.4).cycles > _plan(change=0.5).cycles
    assert _plan(change=0.5, power=0.95).cycles > _plan(change=0.5).cycles


def test_about_the_right_number() -> None:
    """Scatter 0.4 with the true worth of these cycles takes some 36 cycles for 0.5 kPa/s (2.8 + common errors)."""
    assert 30 <= _plan(change=0.5).cycles <= 120


def test_the_pilot_is_named() -> None:
    """The plan says what it stands on: the pilot's name, cycles and what they are worth."""
    plan = _plan()
    assert "pilot.csv, 200 cycles worth" in plan.basis
    assert plan.pilot_log_ids == ("pilot",)
    assert "typical" in _plan(change=0.8, pilot=()).basis


def test_per_cent_of_the_level() -> None:
    """Ten per cent of some 5 kPa/s."""
    assert _plan(change=0.1, relative=True).change == pytest.approx(0.5, abs=0.03)


def test_the_margin() -> None:
    """Ten per cent of the level unless it is given."""
    assert _plan().margin == pytest.approx(0.5, abs=0.03)
    assert _plan(margin=0.2).margin == 0.2


@pytest.mark.parametrize("measure", [m.column for m in MEASURES])
def test_every_measure_can_be_planned(measure: str) -> None:
    """Without a pilot every measure has typical figures, an interval of sampling and a number of cycles."""
    plan = _plan(measure, 0.2, (), relative=True)
    assert plan.cycles >= 30
    assert 0.0005 <= plan.sample_interval_s <= 0.005
    assert set(TYPICAL) == {m.column for m in MEASURES}
    assert set(TYPICAL_SHARES) == set(RATES)


def test_fast_events_are_sampled_fast() -> None:
    """A delay of 20 ms takes ten samples in it; needless edges take 1 kHz; a leak the useful minimum of 200 Hz."""
    assert _plan("response_delay_s", 0.5, (), relative=True).sample_interval_s == 0.002
    assert _plan("chatter_edges", 0.5, (), relative=True).sample_interval_s == 0.001
    assert _plan().sample_interval_s == 0.005


def test_a_pilot_that_was_too_slow() -> None:
    """A pilot sampled at 20 Hz is named as too slow."""
    slow = (replace(PILOT[0], sensor=sensor(0.05)),)
    assert any("50 ms" in w for w in _plan(pilot=slow).warnings)


def test_looks() -> None:
    """Looks rise to the planned cycles with falling bounds, the last a little above 1.96, and stand in the rule."""
    plan = _plan(change=0.5, looks=4)
    cycles, bounds = [look.cycles for look in plan.looks], [look.bound for look in plan.looks]
    assert cycles == sorted(cycles)
    assert cycles[-1] == plan.cycles
    assert bounds == sorted(bounds, reverse=True)
    assert 1.96 < bounds[-1] < 2.3
    assert f"at {cycles[0]} cycles" in plan.rule


def test_cycles_of_each_part_type() -> None:
    """A pilot that tells part types apart gives the cycles of each, in its own mix."""
    pilot = (recording(2, 200, Scene(parts={"plain": (0.0, 0.7), "glazed": (1.0, 0.3)}), name="pilot"),)
    plan = _plan(pilot=pilot)
    assert {part for part, _ in plan.parts} == {"plain", "glazed"}
    assert plan.cycles <= sum(n for _, n in plan.parts) <= plan.cycles + 2


@pytest.mark.parametrize(("measure", "change", "words"), [("leak", 0.2, "Known"), ("noise_kpa", 0.0, "a change of nothing")])
def test_what_cannot_be_planned(measure: str, change: float, words: str) -> None:
    """An unknown measure and a change of nothing are refused."""
    with pytest.raises(UsageError, match=words):
        _plan(measure, change, ())


def test_a_change_that_days_hide() -> None:
    """A change far below the scatter between days takes no number of cycles, and several days are advised."""
    with pytest.raises(NotEnoughData, match=r"more than 0\.2.*several days"):
        _plan(change=0.03)


def test_a_pilot_without_values() -> None:
    """A pilot that holds none of the measure cannot plan it."""
    with pytest.raises(NotEnoughData, match="0 values of supply_on_time_s"):
        _plan("supply_on_time_s", 0.2, relative=True)


def test_drops_by_the_exact_test() -> None:
    """From 2 % to none with 80 %: the planned number reaches the power by the exact test, and one tenth fewer miss it."""
    plan = _plan("drop_share", 1.0, (), relative=True)
    assert power_of_exact(0.02, 0.0, plan.cycles, 0.025) >= 0.8
    assert power_of_exact(0.02, 0.0, int(0.9 * plan.cycles), 0.025) < 0.8
    assert len(_plan("drop_share", 1.0, (), relative=True, looks=3).looks) == 1


def test_shares_that_cannot_fall() -> None:
    """A fall of nothing is refused, one that no log could show too."""
    with pytest.raises(UsageError, match="a change of nothing"):
        _plan("miss_share", 0.0, ())
    with pytest.raises(NotEnoughData, match="larger one"):
        _plan("miss_share", 1e-5, ())


def test_power_of_the_exact_test_by_counting() -> None:
    """With ten cycles a side the power is the sum over all pairs of counts that Fisher's test shows."""
    from math import comb

    from tracekit.compare.counts import exact_fewer

    p, q, n = 0.6, 0.1, 10
    expected = sum(
        comb(n, k) * p**k * (1 - p) ** (n - k) * comb(n, j) * q**j * (1 - q) ** (n - j)
        for k in range(n + 1) for j in range(n + 1) if exact_fewer((k, j), (n, n)) <= 0.025
    )  # fmt: skip
    assert power_of_exact(p, q, n, 0.025) == pytest.approx(expected, abs=1e-6)


def test_the_hash_covers_what_decides() -> None:
    """Any change of measure, margin, cycles, looks, rule, power or time changes the hash."""
    plan = _plan(frozen=FROZEN)
    assert plan_hash(plan) == plan.sha256
    others = [
        replace(plan, measure="noise_kpa"), replace(plan, margin=9.0), replace(plan, cycles=1), replace(plan, looks=()),
        replace(plan, rule=""), replace(plan, power=0.5), replace(plan, frozen_at=""), replace(plan, change=9.0),
    ]  # fmt: skip
    assert len({plan_hash(p) for p in (plan, *others)}) == 9


def test_an_altered_plan_is_refused() -> None:
    """A frozen plan whose margin was widened afterwards does not fit its hash."""
    altered = replace(_plan(frozen=FROZEN), margin=2.0)
    with pytest.raises(UsageError, match="an unaltered plan"):
        check_plan(altered, PILOT, PILOT, "decay_rate_kpa_s", OPTIONS)


def test_frozen_after_the_recording_began() -> None:
    """A plan that is younger than AFTER was not fixed in advance; one without a date cannot be checked."""
    early, late = _plan(frozen="2025-03-01T06:00:00Z"), _plan(frozen="2026-03-01T06:00:00Z")
    assert not any("had begun" in r for r in check_plan(early, PILOT, PILOT, "decay_rate_kpa_s", OPTIONS).remarks)
    assert any("had begun" in r for r in check_plan(late, PILOT, PILOT, "decay_rate_kpa_s", OPTIONS).remarks)
    undated = (replace(PILOT[0], facts=replace(PILOT[0].facts, start_time_us=None)),)
    assert any("cannot be checked" in r for r in check_plan(early, PILOT, undated, "decay_rate_kpa_s", OPTIONS).remarks)
    assert "The plan was not frozen." in check_plan(_plan(), PILOT, PILOT, "decay_rate_kpa_s", OPTIONS).remarks


def test_which_look_was_reached() -> None:
    """The look is the last one whose cycles AFTER has."""
    plan = _plan(change=0.5, looks=3, frozen=FROZEN)
    for k, look in enumerate(plan.looks, 1):
        after = (recording(5, look.cycles, name="after"),)
        check = check_plan(plan, PILOT, after, "decay_rate_kpa_s", OPTIONS)
        assert (check.look, check.bound) == (k, look.bound)
    short = check_plan(plan, (recording(6, 20),), (recording(5, 10),), "noise_kpa", OPTIONS)
    assert short.look == 0
    assert any("about decay_rate_kpa_s" in r for r in short.remarks)
    assert any("power is lower" in r for r in short.remarks)


def test_what_departs_from_the_plan_is_said() -> None:
    """Slower sampling than planned and a rule of other error rates are remarks; what keeps to the plan has none."""
    plan = _plan(frozen=FROZEN)
    after = (recording(5, plan.cycles, name="after"),)
    before = (recording(6, plan.cycles, name="before"),)
    assert check_plan(plan, before, after, "decay_rate_kpa_s", OPTIONS).remarks == ()
    slow = (replace(after[0], sensor=sensor(0.02)),)
    told = check_plan(plan, before, slow, "decay_rate_kpa_s", OPTIONS).remarks
    assert told == ("Sampled every 20 ms; the plan asked for 5 ms.",)
    lax = check_plan(plan, before, after, "decay_rate_kpa_s", replace(OPTIONS, equivalence=0.2)).remarks
    assert len(lax) == 1
    assert "not the one that was frozen" in lax[0]
    looks = _plan(looks=3, frozen=FROZEN)
    several = (recording(5, looks.cycles, name="after"),)
    enough = (recording(6, looks.cycles, name="before"),)
    assert check_plan(looks, enough, several, "decay_rate_kpa_s", OPTIONS).remarks == ()


@given(st.floats(1e-6, 1e6))
def test_four_digits(value: float) -> None:
    """Agreed figures have four digits."""
    assert rounded(value) == pytest.approx(value, rel=5.1e-4)
