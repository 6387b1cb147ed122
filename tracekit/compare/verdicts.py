"""The rule: verdicts of the measures and the verdict over all, fixed before the data are seen."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from tracekit.compare.counts import smallest_p
from tracekit.compare.measures import CLAIM_RATES
from tracekit.compare.multiple import holm
from tracekit.compare.rates import rate_equivalent
from tracekit.frozen import dataclass
from tracekit.model.comparison import Look, MeasureResult, Overall, RateResult, Verdict
from tracekit.model.estimate import Bound, Estimate, Withheld
from tracekit.options.compare import CompareOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Measures and rates with their verdicts, and the verdict over all with its reasons."""

    measures: dict[str, MeasureResult]
    rates: dict[str, RateResult]
    verdict: Overall
    reasons: tuple[str, ...]


def judge(
    measures: Mapping[str, MeasureResult], rates: Mapping[str, RateResult], primary: str, error: float,
    options: CompareOptions, *, last_look: bool = True,
) -> Judged:  # fmt: skip
    """Apply the rule.

    error      one-sided error rate of the primary: 2.5 %, or what a plan's look leaves it
    last_look  whether the plan's last look is reached, if there is one: before it the primary is never called equal
    """
    figures: dict[str, MeasureResult | RateResult] = {**measures, **rates}
    claim = {n: figures[n].p_worse for n in dict.fromkeys((primary, *CLAIM_RATES)) if n in figures}
    others = [n for n, f in figures.items() if n not in claim and (isinstance(f, RateResult) or f.watched)]
    least = {n: smallest_p(r.events, r.cycles) for n, r in rates.items()}
    worse = holm(claim, options.one_sided, least) | holm(
        {n: figures[n].p_worse for n in others}, options.one_sided, least
    )
    better = holm({n: figures[n].p_better for n in others}, options.one_sided, least) | holm(
        {n: figures[n].p_better for n in claim if n != primary}, options.one_sided, least
    )
    if primary in figures and figures[primary].p_better <= error:
        better |= {primary}
    shown = _Shown(better=better, worse=worse, first=frozenset((primary, *CLAIM_RATES)))
    equal = {n: last_look or n != primary for n in figures}
    judged = {n: _measure(m, shown, options, equal=equal[n]) for n, m in measures.items()}
    judged_rates = {n: _rate(r, shown, options, equal=equal[n]) for n, r in rates.items()}
    verdict, reasons = _overall({**judged, **judged_rates}, primary)
    return Judged(measures=judged, rates=judged_rates, verdict=verdict, reasons=reasons)


def rule_text(primary: str, options: CompareOptions, looks: str = "") -> str:
    """The rule in words. It is the same for every comparison with these options."""
    once = f"{100 * options.one_sided:g} %"
    return (
        f"Primary: {primary}. Demonstrated: the primary is better (one-sided {once}{looks}) and no measure, drop or "
        f"miss rate is worse (Holm, {once}). Worse: the primary, the drop or the miss rate is worse (Holm, {once}). "
        f"No change: the primary lies within its margin (two one-sided tests, {100 * options.equivalence:g} % each). "
        "Else not demonstrated. Other measures count as equivalent within their margin, and as better or worse only "
        "where that is shown (Holm) and exceeds the margin."
    )


def looks_text(looks: Sequence[Look]) -> str:
    """The bounds of a plan's looks in words, "" for one look only."""
    if len(looks) == 1:
        return ""
    steps = ", ".join(f"z above {look.bound:.3f} at {look.cycles} cycles" for look in looks)
    return (
        f" over {len(looks)} looks with O'Brien-Fleming-type spending: {steps}; stop at the first that is passed, no "
        "change is told at the last"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    """Names that are shown to be better and worse, and those of which that comes first: the primary, drops, misses."""

    better: frozenset[str]
    worse: frozenset[str]
    first: frozenset[str]


def _measure(result: MeasureResult, shown: _Shown, options: CompareOptions, *, equal: bool) -> MeasureResult:
    """The verdict of a measure: of the primary better and worse come first, of all others the margin counts.

    equal  whether it may be called equivalent
    """
    if isinstance(result.difference, Withheld):
        return result
    equivalent = equal and result.p_equivalent <= options.equivalence
    name, first = result.column, result.column in shown.first
    if equivalent and not first:
        return replace(result, verdict="equivalent", cycles_needed=None)
    way: Verdict | None = "better" if name in shown.better else "worse" if name in shown.worse else None
    if way and (first or _beyond_margin(result)):
        return replace(result, verdict=way, cycles_needed=None)
    return replace(result, verdict="equivalent", cycles_needed=None) if equivalent else result


def _beyond_margin(result: MeasureResult) -> bool:
    """True where the change, as estimated, is larger than the margin; a bound counts by its limit."""
    change = result.difference
    size = change.limit if isinstance(change, Bound) else change.value if isinstance(change, Estimate) else 0.0
    return result.margin is not None and abs(size) > result.margin


def _rate(rate: RateResult, shown: _Shown, options: CompareOptions, *, equal: bool) -> RateResult:
    """The verdict of a rate, in the same order."""
    equivalent = equal and rate_equivalent(rate, options)
    if equivalent and rate.name not in shown.first:
        return replace(rate, verdict="equivalent", cycles_needed=None)
    if rate.name in shown.better or rate.name in shown.worse:
        return replace(rate, verdict="better" if rate.name in shown.better else "worse", cycles_needed=None)
    return replace(rate, verdict="equivalent", cycles_needed=None) if equivalent else rate


def _overall(figures: Mapping[str, MeasureResult | RateResult], primary: str) -> tuple[Overall, tuple[str, ...]]:
    worse = [n for n, f in figures.items() if f.verdict == "worse"]
    deciding = [n for n in worse if n == primary or n in CLAIM_RATES]
    if deciding:
        return "worse", tuple(f"{n} is worse" for n in deciding)
    first = figures.get(primary)
    if first is None:
        return "not_demonstrated", (f"{primary} is not in these logs",)
    if isinstance(first.difference, Withheld):
        return "not_demonstrated", (f"{primary} is withheld: {first.difference.reason}",)
    if first.verdict == "better":
        if not worse:
            return "demonstrated", (f"{primary} is better",)
        return "not_demonstrated", (f"{primary} is better", *(f"{n} is worse" for n in worse))
    if first.verdict == "equivalent":
        return "no_change", (f"{primary} lies within its margin",)
    return "not_demonstrated", (f"{primary} is undecided",)
