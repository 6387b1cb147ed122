"""What a frozen plan says about a comparison: does its hash hold, which look was reached, was it frozen in time."""

import datetime as dt
import hashlib
import json

from tracekit.compare.verdicts import looks_text, rule_text
from tracekit.errors import UsageError, message
from tracekit.model.comparison import Plan, PlanCheck, Recordings
from tracekit.options.compare import CompareOptions

_SLOWER = 1.2  # sampling slower than planned by more than this is said: clocks and rounding explain less


def plan_hash(plan: Plan) -> str:
    """SHA-256 in hex over measure, margin, cycles, looks, rule, power and time of freezing, as canonical JSON."""
    fixed = {
        "measure": plan.measure,
        "unit": plan.unit,
        "better": plan.better,
        "change": plan.change,
        "margin": plan.margin,
        "power": plan.power,
        "cycles": plan.cycles,
        "looks": [[look.cycles, look.bound] for look in plan.looks],
        "rule": plan.rule,
        "frozen_at": plan.frozen_at,
    }
    text = json.dumps(fixed, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def check_plan(
    plan: Plan, before: Recordings, after: Recordings, primary: str, options: CompareOptions
) -> PlanCheck:
    """Hold a comparison, made with `options`, against its frozen plan.

    Raises UsageError where the plan was altered after freezing.
    """
    found = plan_hash(plan)
    if found != plan.sha256:
        text = f"contents hash to {found[:12]}…, the file says {plan.sha256[:12]}…"
        raise UsageError(message("plan", text, "an unaltered plan", "Use the file that plan --freeze wrote."))
    counted = [sum(int((~r.cycles.where("outcome", "incomplete")).sum()) for r in side) for side in (before, after)]
    reached = [k for k, look in enumerate(plan.looks, 1) if counted[1] >= look.cycles]
    look = reached[-1] if reached else 0
    bound = plan.looks[look - 1].bound if look else float("inf")
    remarks = [*_counts(plan, counted, look), *_timing(plan, after), *_sampling(plan, (*before, *after))]
    if plan.rule != rule_text(plan.measure, options, looks_text(plan.looks)):
        remarks.append("The rule applied here is not the one that was frozen; use the version that made the plan.")
    if primary != plan.measure:
        remarks.append(f"The plan is about {plan.measure}.")
    return PlanCheck(plan=plan, look=look, bound=bound, remarks=tuple(remarks))


def next_look(check: PlanCheck | None) -> int | None:
    """Cycles of AFTER at the plan's next look, None without a plan or after its last look."""
    if check is None or check.look >= len(check.plan.looks):
        return None
    return check.plan.looks[check.look].cycles


def _counts(plan: Plan, counted: list[int], look: int) -> list[str]:
    """What the numbers of cycles say against the plan."""
    remarks = []
    if look == 0:
        first = plan.looks[0].cycles
        remarks.append(f"AFTER has {counted[1]} cycles; the plan looks first at {first}: nothing is decided yet.")
    elif look < len(plan.looks):
        remarks.append(f"Look {look} of {len(plan.looks)}: {counted[1]} of {plan.cycles} cycles after.")
    if counted[0] < plan.cycles:
        remarks.append(f"BEFORE has {counted[0]} cycles; the plan asked for {plan.cycles}: the power is lower.")
    return remarks


def _sampling(plan: Plan, recordings: Recordings) -> list[str]:
    """Was it sampled as fast as planned."""
    slowest = max(r.sensor.sample_interval_s for r in recordings)
    if slowest <= _SLOWER * plan.sample_interval_s:
        return []
    return [f"Sampled every {1e3 * slowest:.3g} ms; the plan asked for {1e3 * plan.sample_interval_s:.3g} ms."]


def _timing(plan: Plan, after: Recordings) -> list[str]:
    """Was the plan frozen before AFTER was recorded."""
    starts = [r.facts.start_time_us for r in after]
    known = [s for s in starts if s is not None]
    if not plan.frozen_at:
        return ["The plan was not frozen."]
    if len(known) < len(starts):
        return ["AFTER has no date: that the plan is older cannot be checked."]
    frozen = dt.datetime.fromisoformat(plan.frozen_at).timestamp()
    if min(known) / 1e6 < frozen:
        return ["The plan was frozen after the recording of AFTER had begun."]
    return []
