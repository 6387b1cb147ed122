"""What to record so that a fall of a share of cycles will show by the exact test."""

import math
from dataclasses import replace

from tracekit.compare.counts import exact_fewer
from tracekit.compare.needed import cycles_for
from tracekit.compare.plan_check import plan_hash
from tracekit.compare.rates import rate_counts
from tracekit.compare.typical import TYPICAL_SHARES
from tracekit.compare.verdicts import rule_text
from tracekit.errors import NotEnoughData, UsageError, message
from tracekit.frozen import dataclass
from tracekit.model.comparison import Look, Plan, Recordings
from tracekit.model.estimate import Withheld
from tracekit.options.compare import CompareOptions, PlanOptions

_Z = 1.959964


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanQuestion:
    """What is to be shown.

    change   smallest change to be shown, in the measure's unit, or as a share of the level where `relative`
    margin   agreed margin of equivalence in the measure's unit, None for the default
    power    chance of showing the change if it is there
    looks    how often to look while AFTER is recorded, the end included
    """

    measure: str
    change: float
    relative: bool = False
    margin: float | None = None
    power: float | None = None
    looks: int = 1


def plan_share(
    asked: PlanQuestion, pilot: Recordings, options: CompareOptions, plan_options: PlanOptions, frozen_at: str
) -> Plan:
    """Cycles that show a fall of a share by the exact test; one look only.

    Raises UsageError for a change of nothing, NotEnoughData where no number of cycles is enough.
    """
    counted = rate_counts(asked.measure, pilot) if pilot else None
    share = (counted[0] + 0.5) / (counted[1] + 1.0) if counted else TYPICAL_SHARES[asked.measure]
    change = min(abs(asked.change) * (share if asked.relative else 1.0), share)
    if not change > 0.0:
        raise UsageError(message("plan", "a change of nothing", "the smallest change that matters", "Give --change."))
    power = asked.power or plan_options.power
    cycles = cycles_for(
        lambda n: power_of_exact(share, share - change, int(n), options.one_sided), power, options.most_cycles
    )
    if isinstance(cycles, Withheld):
        what = f"a change of {change:.3g}"
        raise NotEnoughData(message("plan", what, "a larger one", f"{options.most_cycles} cycles are not enough."))
    names = ", ".join(r.facts.source for r in pilot)
    basis = f"pilot log {names}: share {share:.3g}" if pilot else f"typical share {share:.3g}"
    warnings = ["Drops that come in bursts need more cycles than independent ones."]
    if asked.looks > 1:
        warnings.append("A share is tested exactly once, at the end.")
    margin = options.margin_share_points if asked.margin is None else asked.margin
    plan = Plan(
        measure=asked.measure, unit="", better="lower", change=rounded(change), margin=rounded(margin), power=power,
        cycles=cycles,
        sample_interval_s=plan_options.slowest_s, looks=(Look(cycles=cycles, bound=round(_Z, 4)),),
        rule=rule_text(asked.measure, options), basis=basis, sha256="", frozen_at=frozen_at,
        pilot_log_ids=tuple(r.facts.log_id for r in pilot), warnings=tuple(warnings),
    )  # fmt: skip
    return replace(plan, sha256=plan_hash(plan))


def power_of_exact(before: float, after: float, cycles: int, one_sided: float) -> float:
    """Chance that Fisher's exact test shows the fall of a share, with so many cycles on each side."""
    first, second = _likely_counts(before, cycles), _likely_counts(after, cycles)
    chance, shown, at = 0.0, 0.0, 0
    for k, weight in first:  # the more fell before, the more may fall after: the highest such count only rises
        while at < len(second) and exact_fewer((k, second[at][0]), (cycles, cycles)) <= one_sided:
            shown += second[at][1]
            at += 1
        chance += weight * shown
    return chance


def _likely_counts(share: float, cycles: int) -> list[tuple[int, float]]:
    """Counts of events with their binomial chances, the unlikely tails left out."""
    if share <= 0.0:
        return [(0, 1.0)]
    middle, reach = cycles * share, 6.0 * math.sqrt(cycles * share * (1.0 - share)) + 6.0
    low, high = max(0, int(middle - reach)), min(cycles, int(middle + reach) + 1)
    logs = [
        math.lgamma(cycles + 1) - math.lgamma(k + 1) - math.lgamma(cycles - k + 1)
        + k * math.log(share) + (cycles - k) * math.log1p(-share)
        for k in range(low, high + 1)
    ]  # fmt: skip
    return [(low + i, math.exp(v)) for i, v in enumerate(logs)]


def rounded(value: float) -> float:
    """Four digits: a figure that people agree on."""
    return float(f"{value:.4g}")
