"""The comparison of two sides: measures, rates, obstacles, verdict, acceptance."""

import datetime as dt
import importlib.metadata
from collections.abc import Sequence
from dataclasses import replace

from tracekit.compare.acceptance import RULES, Demand, accept, read_demand
from tracekit.compare.judging import Question, measure_figures
from tracekit.compare.matching import part_mix
from tracekit.compare.measures import BEHIND, DEFAULT_PRIMARY, MEASURES, RATES, Measure, measure_named
from tracekit.compare.obstacles import changed_settings, incomparable, obstacles
from tracekit.compare.plan_check import check_plan, next_look
from tracekit.compare.rates import rate_results
from tracekit.compare.values import side_values
from tracekit.compare.verdicts import Judged, judge, rule_text
from tracekit.errors import UsageError, message, nearest
from tracekit.frozen import dataclass
from tracekit.model.comparison import (
    Comparison,
    MeasureResult,
    Plan,
    PlanCheck,
    RateResult,
    Recordings,
    Side,
)
from tracekit.model.estimate import Estimate, Quantity, Withheld
from tracekit.options.base import describe
from tracekit.options.compare import CompareOptions, SerialOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a comparison is asked beside its logs.

    primary      measure or rate; None: the plan's, else the one behind the first finding of BEFORE, else decay rate
    accept       agreed limits, as written
    accept_side  the side that they are held against
    accept_rule  guarded or simple
    match        context columns that tell part types apart; empty: found
    """

    primary: str | None = None
    plan: Plan | None = None
    accept: Sequence[str] = ()
    accept_side: Side = "after"
    accept_rule: str = "guarded"
    match: Sequence[str] = ()


_NOTHING_ASKED = Asked()
_USUAL = CompareOptions()
_USUAL_SERIAL = SerialOptions()


def compare(
    before: Recordings,
    after: Recordings,
    asked: Asked = _NOTHING_ASKED,
    options: CompareOptions = _USUAL,
    serial: SerialOptions = _USUAL_SERIAL,
) -> Comparison:
    """Is the change from BEFORE to AFTER real, per measure and over all.

    Each side is one or several recordings of one station. With one side empty only the agreed limits are decided.
    Raises UsageError for an unknown measure, limit or rule, or where nothing is asked of a single side.
    """
    demands = check_asked(asked, two_sides=bool(before and after))
    if not before or not after:
        return _single_side(before, after, asked, options, serial)
    primary, source = choose_primary(before, asked)
    mix = part_mix(before, after, asked.match, options)
    question = Question(before=before, after=after, mix=mix, options=options, serial=serial)
    check = check_plan(asked.plan, before, after, primary, options) if asked.plan else None
    measures = _measures(question, primary, asked.plan)
    rates = rate_results(before, after, options)
    error = _error(check, options)
    following = next_look(check)
    judged = judge(measures, rates, primary, error, options, last_look=following is None)
    if following is not None:
        judged = _awaited(judged, primary, following)
    found = obstacles(before, after, mix, primary, options)
    if any(o.code == "swapped_order" for o in found):
        judged = replace(judged, verdict="not_demonstrated", reasons=("AFTER is older than BEFORE",))
    first = judged.measures.get(primary) or judged.rates.get(primary)
    side = after if asked.accept_side == "after" else before
    looks = f", by look {check.look} of the plan {error:.2g}" if check and len(check.plan.looks) > 1 else ""
    return Comparison(
        version=importlib.metadata.version("tracekit"),
        created=now_utc(),
        before=before,
        after=after,
        measures=judged.measures,
        rates=judged.rates,
        obstacles=found,
        primary=primary,
        primary_source=source,
        rule=rule_text(primary, options, looks),
        verdict=judged.verdict,
        claim=_claim(first, judged.verdict, primary),
        reasons=judged.reasons,
        acceptance=tuple(accept(d, side, asked.accept_side, asked.accept_rule, question) for d in demands),
        plan_check=check,
        matched_by=mix.columns,
        options=changed_options(options),
    )


def check_asked(asked: Asked, *, two_sides: bool) -> list[Demand]:
    """Refuse what cannot be answered before any log is read; gives the agreed limits.

    Raises UsageError for an unknown measure, limit or rule, or where nothing is asked of a single side.
    """
    if asked.accept_rule not in RULES:
        found = f'"{asked.accept_rule}"'
        raise UsageError(message("acceptance rule", found, "guarded or simple", nearest(asked.accept_rule, RULES)))
    if not two_sides and not asked.accept:
        expected = "two recordings, or one with an agreed limit"
        raise UsageError(message("compare", "one recording", expected, "Add AFTER or --accept."))
    if asked.primary is not None or asked.plan is not None:
        choose_primary((), asked)
    return [read_demand(text) for text in asked.accept]


def choose_primary(before: Recordings, asked: Asked) -> tuple[str, str]:
    """The primary measure and where it comes from.

    Raises UsageError where the one asked for cannot be compared, or where it contradicts the frozen plan.
    """
    if asked.plan is not None and asked.primary not in (None, asked.plan.measure):
        found = f'"{asked.primary}" against the frozen "{asked.plan.measure}"'
        raise UsageError(message("--primary", found, "the plan's measure", "Leave --primary out, or make a new plan."))
    if asked.primary is not None or asked.plan is not None:
        name = asked.primary or (asked.plan.measure if asked.plan else "")
        if measure_named(name) is None and name not in RATES:
            known = [*(m.column for m in MEASURES), *RATES]
            raise UsageError(message("--primary", f'"{name}"', "a measure that can be compared", nearest(name, known)))
        return name, "frozen plan" if asked.plan else "named by the user"
    code = next((r.first_code for r in before if r.first_code is not None), None)
    if code in BEHIND:
        return BEHIND[code], f"behind the first finding of BEFORE, {code}"
    return DEFAULT_PRIMARY, "default"


def changed_options(options: CompareOptions) -> dict[str, tuple[float, str]]:
    """Options that are not at their default, by name, with their unit."""
    usual = {name: value for name, value, *_ in describe(_USUAL)}
    return {name: (value, unit) for name, value, unit, _ in describe(options) if value != usual[name]}


def now_utc() -> str:
    """The time now, ISO 8601 in UTC, whole seconds."""
    return dt.datetime.now(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _measures(question: Question, primary: str, plan: Plan | None) -> dict[str, MeasureResult]:
    """Figures of every measure; those that follow a changed setting are withheld, unless one is the primary."""
    changed = changed_settings(question.before, question.after, question.options)
    results: dict[str, MeasureResult] = {}
    for measure in MEASURES:
        if not _wanted(measure, question, primary):
            continue
        margin = plan.margin if plan is not None and plan.measure == measure.column else None
        result = measure_figures(measure, question, margin)
        reason = incomparable(measure, question, changed)
        if reason and measure.column != primary:
            result = _not_comparable(result, reason)
        results[measure.column] = result
    return results


def _wanted(measure: Measure, question: Question, primary: str) -> bool:
    """The primary always; of the others those that a side has values of."""
    if measure.column == primary:
        return True
    return measure.watched and any(len(side_values(measure, side, ())) for side in (question.before, question.after))


def _not_comparable(result: MeasureResult, reason: str) -> MeasureResult:
    nan = float("nan")
    return replace(
        result, difference=Withheld(reason), verdict="undecided", cycles_needed=Withheld(reason), note=reason,
        p_better=nan, p_worse=nan, p_equivalent=nan,
    )  # fmt: skip


def _awaited(judged: Judged, primary: str, following: int) -> Judged:
    """What is still undecided at an early look waits for the next one, at `following` cycles of AFTER."""
    first = judged.measures.get(primary) or judged.rates.get(primary)
    if first is None or first.verdict != "undecided" or isinstance(first.difference, Withheld):
        return judged
    reasons = judged.reasons
    if judged.verdict == "not_demonstrated":
        reasons = (f"{primary} is undecided until the plan's next look, at {following} cycles after",)
    if isinstance(first, MeasureResult):
        return replace(
            judged, measures={**judged.measures, primary: replace(first, cycles_needed=following)}, reasons=reasons
        )
    return replace(judged, rates={**judged.rates, primary: replace(first, cycles_needed=following)}, reasons=reasons)


def _error(check: PlanCheck | None, options: CompareOptions) -> float:
    """One-sided error rate that the primary may use: 2.5 %, or what the bound of the plan's look leaves."""
    if check is None:
        return options.one_sided
    from scipy.special import ndtr

    return float(ndtr(-check.bound)) if check.look else 0.0


def _single_side(
    before: Recordings, after: Recordings, asked: Asked, options: CompareOptions, serial: SerialOptions
) -> Comparison:
    """Only limits, against the one side that is there."""
    side, word = after or before, asked.accept_side
    if not side:
        raise UsageError(message("compare", "no recording", "at least one", "Name a log."))
    question = Question(before=side, after=side, mix=part_mix(side, side, (), options), options=options, serial=serial)
    decisions = tuple(accept(read_demand(t), side, word, asked.accept_rule, question) for t in asked.accept)
    return Comparison(
        version=importlib.metadata.version("tracekit"),
        created=now_utc(),
        before=before,
        after=after,
        measures={},
        rates={},
        obstacles=(),
        primary=decisions[0].measure,
        primary_source="agreed limit",
        rule=f"JCGM 106, {asked.accept_rule} acceptance.",
        verdict=None,
        claim=f"{decisions[0].text}: {decisions[0].decision}",
        acceptance=decisions,
        options=changed_options(options),
    )


def _claim(result: MeasureResult | RateResult | None, verdict: str, primary: str) -> str:
    """One sentence that says what was found about the primary."""
    words = {
        "demonstrated": "The improvement is demonstrated",
        "worse": "The station got worse",
        "no_change": "No change worth speaking of",
        "not_demonstrated": "The improvement is not demonstrated",
    }[verdict]
    figure = "" if result is None else _change(result.difference)
    return f"{words}: {primary}{figure}."


def _change(quantity: Quantity) -> str:
    if isinstance(quantity, Estimate):
        span = f"{quantity.lower:.4g} to {quantity.upper:.4g}"
        return f" changed by {quantity.value:.4g} {quantity.unit} (95 % interval {span})".replace("  ", " ")
    return " cannot be given" if isinstance(quantity, Withheld) else f" changed beyond {quantity.limit:.4g}"
