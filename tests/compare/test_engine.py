"""The comparison as a whole, on made-up recordings."""

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.compare.compared_stations import Scene, recording
from tracekit.compare.engine import Asked, changed_options, check_asked, choose_primary, compare
from tracekit.compare.measures import BEHIND, MEASURES, RATES
from tracekit.compare.plan import plan_for
from tracekit.compare.plan_share import PlanQuestion
from tracekit.errors import UsageError
from tracekit.model.comparison import Plan
from tracekit.model.estimate import Bound, Estimate, Withheld
from tracekit.model.finding import CODES
from tracekit.options.compare import CompareOptions, PlanOptions, SerialOptions
from tracekit.report.comparison_words import headline, reason

BEFORE = recording(1, 150, name="before")
SAME = recording(2, 150, start_h=24.0, name="same")
FIXED = recording(3, 150, Scene(medians={"decay_rate_kpa_s": 3.0}), start_h=24.0, name="fixed")


def _plan(looks: int = 1, margin: float | None = None, change: float = 1.0) -> Plan:
    question = PlanQuestion(measure="decay_rate_kpa_s", change=change, looks=looks, margin=margin)
    return plan_for(question, (), CompareOptions(), PlanOptions(), SerialOptions(), "2025-01-01T00:00:00Z")


def test_a_repair_is_demonstrated() -> None:
    """A leak that fell from 5 to 3 kPa/s is demonstrated by the measure behind BEFORE's first finding."""
    found = compare((BEFORE,), (FIXED,))
    assert found.verdict == "demonstrated"
    assert found.primary == "decay_rate_kpa_s"
    assert "leak_steady" in found.primary_source
    change = found.measures["decay_rate_kpa_s"].difference
    assert isinstance(change, Estimate)
    assert change.lower < -2.0 < change.upper < 0.0
    assert "demonstrated" in found.claim


def test_nothing_changed() -> None:
    """Two days of one station are equal within the margin."""
    found = compare((BEFORE,), (SAME,))
    assert found.verdict == "no_change"
    assert found.measures["decay_rate_kpa_s"].margin == pytest.approx(0.5, abs=0.03)


def test_the_sides_exchanged() -> None:
    """The repair read backwards is worse by the same amount; sides that stand the wrong way round show nothing over all."""
    there, back = compare((BEFORE,), (FIXED,)), compare((FIXED,), (BEFORE,))
    assert back.measures["decay_rate_kpa_s"].verdict == "worse"
    assert (back.verdict, back.reasons) == ("not_demonstrated", ("AFTER is older than BEFORE",))
    later = recording(1, 150, start_h=48.0, name="before")
    assert compare((FIXED,), (later,)).verdict == "worse"
    for name, result in there.measures.items():
        one, other = result.difference, back.measures[name].difference
        assert isinstance(one, Estimate)
        assert isinstance(other, Estimate)
        assert (one.lower, one.upper) == pytest.approx((-other.upper, -other.lower), abs=1e-9)
    assert any(o.code == "swapped_order" for o in back.obstacles)


def test_an_improvement_in_the_wrong_order_is_none() -> None:
    """The better log is the older one: nobody has repaired anything in between."""
    older = recording(3, 150, Scene(medians={"decay_rate_kpa_s": 3.0}), start_h=-24.0, name="older")
    found = compare((BEFORE,), (older,))
    assert found.measures["decay_rate_kpa_s"].verdict == "better"
    assert found.verdict == "not_demonstrated"
    assert headline(found) == "Nothing is shown: AFTER is older than BEFORE"
    assert reason(found) == "Swap the two sides, or put the dates right, and compare again."


def test_what_the_sensor_sees_behind_a_clogged_filter_is_not_the_cup() -> None:
    """A cleared filter: times and what is left at the release are left out, the open cup decides."""
    clogged = replace(recording(5, 150, Scene(medians={"open_cup_vacuum_kpa": 9.0}), name="clogged"), first_code="flow_restricted")
    clear = recording(6, 150, Scene(medians={"open_cup_vacuum_kpa": 5.0, "response_delay_s": 0.05}), start_h=24.0, name="clear")
    found = compare((clogged,), (replace(clear, first_code=None),))
    assert found.primary == "open_cup_vacuum_kpa"
    assert found.verdict == "demonstrated"
    for name in ("response_delay_s", "release_time_s", "evacuation_time_s"):
        left_out = found.measures[name].difference
        assert isinstance(left_out, Withheld)
        assert left_out.reason.startswith("a restriction on one side alone")
    assert isinstance(found.measures["hold_vacuum_kpa"].difference, Estimate)
    both = compare((clogged,), (replace(clear, first_code="flow_restricted"),))
    assert isinstance(both.measures["response_delay_s"].difference, Estimate)


def test_undecided_for_too_few_cycles_is_told_apart_from_no_effect() -> None:
    """Few cycles say how many more would decide; what no cycles decide, and no change, have headlines of their own."""
    after = recording(8, 12, Scene(medians={"decay_rate_kpa_s": 4.4}), start_h=24.0, name="few after")
    few = compare((recording(7, 12, name="few"),), (after,))
    assert few.verdict == "not_demonstrated"
    assert headline(few) == "Not decided yet: more cycles are needed"
    assert re.search(r"[\d ]+ cycles a side would decide: tracekit plan says how to record them\.$", reason(few))
    assert headline(compare((BEFORE,), (SAME,))) == "No change beyond the margin"

    """A log against itself differs by exactly nothing and is never a demonstration."""
    found = compare((BEFORE,), (BEFORE,))
    assert found.verdict == "no_change"
    assert all(m.difference.value == 0.0 for m in found.measures.values() if isinstance(m.difference, Estimate))
    assert found.obstacles[0].code == "same_log"


def test_a_comparison_is_repeatable() -> None:
    """The same recordings give the same figures: nothing is drawn at random."""
    first, second = compare((BEFORE,), (FIXED,)), compare((BEFORE,), (FIXED,))
    assert replace(first, created="") == replace(second, created="")


def test_nothing_is_changed_in_place() -> None:
    """The tables that are handed in are the tables that remain."""
    kept = {name: column.copy() for name, column in BEFORE.cycles.data.items()}
    compare((BEFORE,), (FIXED,))
    assert all(np.array_equal(kept[n], BEFORE.cycles.data[n], equal_nan=kept[n].dtype.kind == "f") for n in kept)


def test_every_finding_has_a_measure_behind_it() -> None:
    """Codes stand for a measure or rate that can be compared; the rest falls back to the decay rate."""
    known = {m.column for m in MEASURES} | set(RATES)
    assert set(BEHIND) <= set(CODES)
    assert set(BEHIND.values()) <= known
    assert choose_primary((replace(BEFORE, first_code="log_gaps"),), Asked()) == ("decay_rate_kpa_s", "default")
    assert choose_primary((replace(BEFORE, first_code=None),), Asked())[0] == "decay_rate_kpa_s"
    assert choose_primary((replace(BEFORE, first_code="release_weak"),), Asked())[0] == "release_time_s"


def test_the_primary_that_is_named() -> None:
    """The user's primary wins over the finding's; an unknown one is refused with the nearest."""
    assert compare((BEFORE,), (FIXED,), Asked(primary="evacuation_time_s")).primary == "evacuation_time_s"
    with pytest.raises(UsageError, match="Did you mean"):
        compare((BEFORE,), (FIXED,), Asked(primary="evacuation_time"))


def test_a_rate_as_primary() -> None:
    """Drops that stopped demonstrate the repair."""
    dropping = recording(4, 150, Scene(drops=0.15), name="before")
    found = compare((dropping,), (SAME,), Asked(primary="drop_share"))
    assert found.verdict == "demonstrated"
    assert found.rates["drop_share"].verdict == "better"


def test_a_changed_setting_leaves_measures_out() -> None:
    """Measures that follow a changed setting are withheld with the reason, unless one of them is the primary."""
    moved = {"set_point": 52.0, "reset_point": 47.0, "supply_off": 70.0, "supply_on": 64.0}
    after = recording(3, 150, Scene(medians={"decay_rate_kpa_s": 3.0}), start_h=24.0, name="a", settings=moved)
    found = compare((BEFORE,), (after,))
    evacuation = found.measures["evacuation_time_s"]
    assert isinstance(evacuation.difference, Withheld)
    assert "set_point 60.0 to 52.0 kPa" in evacuation.difference.reason
    assert found.verdict == "demonstrated"
    own = compare((BEFORE,), (after,), Asked(primary="evacuation_time_s"))
    assert isinstance(own.measures["evacuation_time_s"].difference, Estimate)


def test_parts_are_matched() -> None:
    """Twice as many glazed tiles after are no deterioration once matched, and one where it cannot be."""
    half, most = {"plain": (0.0, 0.7), "glazed": (2.0, 0.3)}, {"plain": (0.0, 0.2), "glazed": (2.0, 0.8)}
    before = recording(1, 300, Scene(parts=half), name="b")
    after = recording(2, 300, Scene(parts=most), start_h=24.0, name="a")
    found = compare((before,), (after,))
    assert found.matched_by == ("context_tile",)
    assert found.verdict == "no_change"
    blind = compare((before,), (after,), Asked(), CompareOptions(part_types=1))
    assert blind.matched_by == ()
    assert blind.verdict == "worse"


def test_a_station_without_coasts() -> None:
    """Without a leak rate the default primary is withheld, and the verdict says so."""
    empty = np.full(150, np.nan)
    bare = [replace(r, cycles=r.cycles.with_columns(decay_rate_kpa_s=empty)) for r in (BEFORE, SAME)]
    found = compare((bare[0],), (bare[1],))
    assert found.verdict == "not_demonstrated"
    assert isinstance(found.measures["decay_rate_kpa_s"].before, Withheld)
    assert "withheld" in found.reasons[0]


def test_a_withheld_leak_is_not_compared() -> None:
    """A leak that the diagnosis withholds is not compared behind its back."""
    found = compare((BEFORE,), (replace(FIXED, leak=Withheld("the heat model runs to its bound")),))
    assert found.verdict == "not_demonstrated"
    assert "after: the heat model" in found.measures["decay_rate_kpa_s"].note


def test_a_leak_with_only_a_lower_bound() -> None:
    """At least 4.5 kPa/s before and 3 after: an upper bound of the change, and still demonstrated."""
    bound = Bound(status="lower_bound", limit=4.5, unit="kPa/s", n=80, method="")
    found = compare((replace(BEFORE, leak=bound),), (FIXED,))
    result = found.measures["decay_rate_kpa_s"]
    assert isinstance(result.before, Bound)
    assert isinstance(result.difference, Bound)
    assert result.difference.status == "upper_bound"
    assert -1.8 < result.difference.limit < -1.0
    assert found.verdict == "demonstrated"


def test_common_errors_do_not_shrink_with_cycles() -> None:
    """A leak known to ±1 kPa/s a side does not show a fall of 1 kPa/s, however many cycles there are."""
    leak = Estimate(value=5.0, lower=4.0, upper=6.0, unit="kPa/s", n=2000, method="")
    before = replace(recording(5, 2000, name="b"), leak=leak)
    after = recording(6, 2000, Scene(medians={"decay_rate_kpa_s": 4.0}), start_h=24.0, name="a", leak=leak)
    found = compare((before,), (after,))
    assert found.verdict == "not_demonstrated"
    assert isinstance(found.measures["decay_rate_kpa_s"].cycles_needed, Withheld)


def test_several_logs_a_side() -> None:
    """Three days a side are joined; cycles and days add up."""
    sides = [
        tuple(
            recording(10 * s + k, 60, Scene(medians={"decay_rate_kpa_s": level}), start_h=24.0 * (10 * s + k), name=f"{s}{k}")
            for k in range(3)
        )
        for s, level in enumerate((5.0, 3.5))
    ]
    found = compare(*sides)
    assert found.verdict == "demonstrated"
    before = found.measures["decay_rate_kpa_s"].before
    assert isinstance(before, Estimate)
    assert before.n == 180


def test_the_margin_of_a_plan() -> None:
    """A plan's margin replaces the ten per cent, for its measure alone."""
    found = compare((BEFORE,), (SAME,), Asked(plan=_plan(margin=0.05)))
    assert found.measures["decay_rate_kpa_s"].margin == 0.05
    assert found.verdict == "not_demonstrated"
    assert found.primary_source == "frozen plan"
    assert found.plan_check is not None


def test_a_plan_fixes_the_primary() -> None:
    """Another primary than the frozen one is refused."""
    with pytest.raises(UsageError, match="frozen"):
        compare((BEFORE,), (SAME,), Asked(plan=_plan(), primary="release_time_s"))


def test_an_early_look() -> None:
    """Before the first look nothing is demonstrated; at it, the stricter bound holds."""
    plan = _plan(looks=4, change=0.7)
    early = recording(3, plan.looks[0].cycles - 1, Scene(medians={"decay_rate_kpa_s": 3.0}), start_h=24.0, name="e")
    found = compare((BEFORE,), (early,), Asked(plan=plan))
    assert found.verdict == "not_demonstrated"
    assert found.plan_check is not None
    assert any("nothing is decided yet" in remark for remark in found.plan_check.remarks)
    first = plan.looks[0].cycles
    assert found.measures["decay_rate_kpa_s"].cycles_needed == first
    assert found.reasons == (f"decay_rate_kpa_s is undecided until the plan's next look, at {first} cycles after",)
    late = compare((BEFORE,), (FIXED,), Asked(plan=plan))
    assert late.plan_check is not None
    assert late.plan_check.look == 4
    assert late.verdict == "demonstrated"


def test_no_change_is_told_at_the_last_look_only() -> None:
    """Where nothing changed, an early look leaves that open, so that looking often does not make it easier."""
    assert compare((BEFORE,), (SAME,)).verdict == "no_change"
    plan = _plan(looks=4, margin=2.0)
    for cycles, verdict in ((plan.looks[2].cycles, "not_demonstrated"), (plan.looks[3].cycles, "no_change")):
        part = recording(2, cycles, start_h=24.0, name="same")
        assert compare((BEFORE,), (part,), Asked(plan=plan)).verdict == verdict
    assert "no change is told at the last" in plan.rule


def test_acceptance_beside_the_comparison() -> None:
    """Agreed limits are decided on AFTER as read."""
    found = compare((BEFORE,), (FIXED,), Asked(accept=("decay_rate_kpa_s<=3.5", "drop_share<=0.05")))
    assert [a.decision for a in found.acceptance] == ["accepted", "accepted"]
    assert {a.side for a in found.acceptance} == {"after"}


def test_one_recording_against_a_limit() -> None:
    """One recording alone is held against the limit; there is no verdict over two."""
    found = compare((FIXED,), (), Asked(accept=("decay_rate_kpa_s<=2",), accept_side="before"))
    assert found.verdict is None
    assert found.acceptance[0].decision == "rejected"
    with pytest.raises(UsageError, match="Add AFTER or --accept"):
        compare((FIXED,), ())
    with pytest.raises(UsageError, match="no recording"):
        compare((), (), Asked(accept=("decay_rate_kpa_s<=2",)))


def test_what_is_refused_before_reading() -> None:
    """Rule, limits and measure are checked without any recording."""
    with pytest.raises(UsageError, match="guarded or simple"):
        check_asked(Asked(accept_rule="strict"), two_sides=True)
    with pytest.raises(UsageError, match="a measure, <= or >=, and a number"):
        check_asked(Asked(accept=("leak",)), two_sides=True)
    assert [d.measure for d in check_asked(Asked(accept=("drop_share<=0.1",)), two_sides=False)] == ["drop_share"]


def test_changed_options_are_listed() -> None:
    """Options off their default stand in the record, with their unit."""
    assert changed_options(CompareOptions()) == {}
    assert changed_options(CompareOptions(margin_share=0.2)) == {"margin_share": (0.2, "1")}
