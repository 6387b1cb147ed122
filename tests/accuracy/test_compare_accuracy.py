"""How often a comparison is right: error rates, coverage, power, over many made-up pairs.

Every pair is drawn with its own correlation between cycles, slow drift, part types (told by the log in half of the
cases), number of cycles and shift of the day. A rate is judged by its exact 95 % interval. The short form fails where
an interval excludes what is asked; the long form (`-m full -s`) asks it of the rate itself, over 1000 pairs and more.
Run with `-m accuracy -s`.
"""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from tests.compare.compared_stations import Scene, recording
from tracekit.compare.counts import exact_limits
from tracekit.compare.engine import Asked, compare
from tracekit.compare.judging import Question, measure_figures
from tracekit.compare.matching import PartMix, part_mix
from tracekit.compare.measures import Measure, measure_named
from tracekit.compare.plan import plan_for
from tracekit.compare.plan_share import PlanQuestion
from tracekit.model.comparison import Comparison, MeasureResult, Recording
from tracekit.model.estimate import Estimate
from tracekit.options.compare import CompareOptions, PlanOptions, SerialOptions

pytestmark = pytest.mark.accuracy

OPTIONS, SERIAL = CompareOptions(), SerialOptions()
PAIRS, PLANS, LOOKED = 1000, 150, 300
DAYS = 0.01  # standard deviation of the level between days, as a share
LEAK = "decay_rate_kpa_s"
COVERED = (LEAK, "evacuation_time_s", "pump_time_constant_s", "hold_vacuum_kpa", "release_time_s")


def _scene(rng: np.random.Generator) -> Scene:
    """A station as they are: correlated cycles, some drift, one or two part types."""
    parts = {"plain": (0.0, 0.65), "glazed": (float(rng.choice([0.4, 0.8, 1.5])), 0.35)} if rng.random() < 0.5 else {}
    return Scene(
        fade=float(rng.choice([0.0, 0.3, 0.6, 0.8])), share=float(rng.uniform(0.0, 0.8)),
        wander=float(rng.uniform(0.0, 0.3)), parts=parts,
    )  # fmt: skip


def _pair(seed: int, change: float = 0.0) -> tuple[Recording, Recording, bool]:
    """Two recordings of one station on two days, the leak changed by `change`; and whether the log tells the part."""
    rng = np.random.default_rng([7, seed])
    scene, told = _scene(rng), rng.random() < 0.5
    n, m = (int(v) for v in rng.choice([60, 120, 200, 400], 2))
    days = rng.normal(0.0, DAYS, 2)
    before = recording(2 * seed, n, replace(scene, day=float(days[0])), name="before")
    after = replace(scene, day=float(days[1]), medians={LEAK: 5.0 + change})
    return before, recording(2 * seed + 1, m, after, start_h=24.0, name="after"), told


def _compare(seed: int) -> Comparison:
    before, after, told = _pair(seed)
    return compare((before,), (after,), Asked(), OPTIONS if told else replace(OPTIONS, part_types=1), SERIAL)


def _told(name: str, events: int, cycles: int) -> tuple[float, float]:
    """Print a rate with its exact interval, and give the interval."""
    low, high = exact_limits(events, cycles, 0.025)
    print(f"{name}: {events} of {cycles} = {events / cycles:.3f} ({low:.3f} to {high:.3f})")
    return low, high


def _check_nothing_changed(pairs: int, *, whole: bool) -> None:
    """Verdicts and coverage over pairs without a change; `whole` asks the rates themselves, else their intervals."""
    verdicts: Counter[str] = Counter()
    covered: Counter[str] = Counter()
    for seed in range(pairs):
        found = _compare(seed)
        verdicts[found.verdict or ""] += 1
        for name in COVERED:
            change = found.measures[name].difference
            covered[name] += not isinstance(change, Estimate) or change.lower <= 0.0 <= change.upper
    print()
    for verdict in ("demonstrated", "worse"):
        low, _ = _told(f"wrongly {verdict}", verdicts[verdict], pairs)
        assert (verdicts[verdict] / pairs if whole else low) <= 0.025
    for name in COVERED:
        low, high = _told(f"coverage of {name}", covered[name], pairs)
        assert high >= 0.93
        assert low <= 0.97
    if whole:
        assert 0.93 <= sum(covered.values()) / len(COVERED) / pairs <= 0.97


def test_nothing_changed_short() -> None:
    """Of pairs without a change few are called demonstrated or worse, and intervals cover (short form)."""
    _check_nothing_changed(90, whole=False)


@pytest.mark.full
def test_nothing_changed() -> None:
    """Of 1000 pairs without a change, at most 2.5 % are called demonstrated and 2.5 % worse; intervals cover 93-97 %."""
    _check_nothing_changed(PAIRS, whole=True)


def _check_the_margin(pairs: int, *, whole: bool) -> None:
    """Claims of equivalence where the true change is the margin, for each way in which part types may be told."""
    wrong: Counter[str] = Counter()
    asked: Counter[str] = Counter()
    for seed in range(pairs):
        for change in (-0.5, 0.5):
            before, after, told = _pair(seed, change)
            kind = "one part type" if "context_tile" not in before.cycles.data else "parts told" if told else "untold"
            asked[kind] += 1
            wrong[kind] += _figures(_leak(), before, after, told=told).p_equivalent <= OPTIONS.equivalence
    print()
    for kind in asked:
        low, high = _told(f"wrongly equivalent, {kind}", wrong[kind], asked[kind])
        assert (wrong[kind] / asked[kind] if whole else low) <= 0.05
        assert not whole or high <= 0.06
    rate = sum(wrong.values()) / sum(asked.values())
    low, high = _told("wrongly equivalent, all", sum(wrong.values()), sum(asked.values()))
    assert (high if whole else low) <= 0.05
    assert rate >= 0.005  # a rule that never claims equality would pass all the above


def test_a_change_at_the_margin_is_not_called_equal_short() -> None:
    """With a true change of 10 %, the margin, equivalence is hardly ever claimed (short form)."""
    _check_the_margin(150, whole=False)


@pytest.mark.full
def test_a_change_at_the_margin_is_not_called_equal() -> None:
    """With a true change of 10 %, the margin, equivalence is claimed in at most 5 % of the pairs, up to its interval."""
    _check_the_margin(PAIRS, whole=True)


def _check_power(pilot_cycles: int, plans: int, *, whole: bool) -> None:
    """Whether a change is shown as often as planned: 80 to 95 % where 80 % was asked."""
    leak, shown = _leak(), 0
    for seed in range(plans):
        rng = np.random.default_rng([8, seed, pilot_cycles])
        scene = replace(_scene(rng), wander=0.0)
        pilot = recording(9000 + seed, pilot_cycles, scene, name="pilot")
        question = PlanQuestion(measure=LEAK, change=0.35)
        cycles = min(plan_for(question, (pilot,), OPTIONS, PlanOptions(), SERIAL).cycles, 2500)
        days = rng.normal(0.0, DAYS, 2)
        before = recording(2 * seed, cycles, replace(scene, day=float(days[0])), name="b")
        moved = replace(scene, day=float(days[1]), medians={LEAK: 4.65})
        after = recording(2 * seed + 1, cycles, moved, name="a")
        shown += _figures(leak, before, after).p_better <= OPTIONS.one_sided
    low, high = _told(f"shown after a pilot of {pilot_cycles}", shown, plans)
    assert (shown / plans if whole else high) >= 0.80
    assert (shown / plans if whole else low) <= 0.95


@pytest.mark.parametrize("pilot_cycles", [60, 200])
def test_planned_power_is_reached_short(pilot_cycles: int) -> None:
    """With the cycles that a pilot asks for 80 %, the change is shown about as often (short form)."""
    _check_power(pilot_cycles, 30, whole=False)


@pytest.mark.full
@pytest.mark.parametrize("pilot_cycles", [60, 200])
def test_planned_power_is_reached(pilot_cycles: int) -> None:
    """With the cycles that a pilot asks for 80 %, the change is shown in 80 to 95 %."""
    _check_power(pilot_cycles, PLANS, whole=True)


def _check_looks(pairs: int, *, whole: bool) -> None:
    """How often one of four looks calls a station better that has not changed."""
    leak, wrong, naive = _leak(), 0, 0
    plan = plan_for(PlanQuestion(measure=LEAK, change=0.6, looks=4), (), OPTIONS, PlanOptions(), SERIAL)
    steps = [50, 100, 150, 200]
    for seed in range(pairs):
        rng = np.random.default_rng([10, seed])
        scene = replace(_scene(rng), parts={}, wander=0.1)
        days = rng.normal(0.0, DAYS, 2)
        before = recording(2 * seed, 200, replace(scene, day=float(days[0])), name="b")
        after = recording(2 * seed + 1, 200, replace(scene, day=float(days[1])), name="a")
        ps = [_figures(leak, before, _first(after, n)).p_better for n in steps]
        wrong += any(p <= _tail(look.bound) for p, look in zip(ps, plan.looks, strict=True))
        naive += any(p <= OPTIONS.one_sided for p in ps)
    low, _ = _told("wrongly better at some look", wrong, pairs)
    assert (wrong / pairs if whole else low) <= 0.025
    _told("the same without bounds", naive, pairs)


def test_looking_each_hour_keeps_the_error_rate_short() -> None:
    """With four looks while AFTER grows and nothing changed, few are ever called better (short form)."""
    _check_looks(50, whole=False)


@pytest.mark.full
def test_looking_each_hour_keeps_the_error_rate() -> None:
    """With four looks while AFTER grows and nothing changed, at most 2.5 % are ever called better."""
    _check_looks(LOOKED, whole=True)


def _leak() -> Measure:
    found = measure_named(LEAK)
    assert found is not None
    return found


def _figures(measure: Measure, before: Recording, after: Recording, *, told: bool = True) -> MeasureResult:
    """Figures of one measure; part types are matched where the log tells them."""
    named = told and "context_tile" in before.cycles.data
    mix = part_mix((before,), (after,), (), OPTIONS) if named else PartMix()
    return measure_figures(
        measure, Question(before=(before,), after=(after,), mix=mix, options=OPTIONS, serial=SERIAL)
    )


def _first(recorded: Recording, n: int) -> Recording:
    """The first n cycles of a recording."""
    cycles = recorded.cycles
    return replace(recorded, cycles=replace(cycles, data={k: v[:n] for k, v in cycles.data.items()}))


def _tail(z: float) -> float:
    from scipy.special import ndtr

    return float(ndtr(-z))
