"""Shares of cycles with a drop, a miss or chatter, before and after."""

import numpy as np

from tracekit.compare.counts import exact_fewer, exact_limits, share_difference
from tracekit.compare.measures import RATES
from tracekit.compare.needed import Scatter, cycles_for, power_to_equal, power_to_show
from tracekit.model.comparison import RateResult, Recordings
from tracekit.model.estimate import Estimate, Withheld
from tracekit.options.compare import CompareOptions

_METHOD = "exact (Clopper-Pearson), of cycles that are not cut by an edge or a gap"
_Z = 1.959964  # one-sided 2.5 %, of showing a fall and of each of the two tests of equivalence
_METHOD_DIFFERENCE = "difference of shares from exact limits"


def rate_results(before: Recordings, after: Recordings, options: CompareOptions) -> dict[str, RateResult]:
    """Every rate that both sides can show, its verdict still open."""
    results = {}
    for name in RATES:
        counted = [rate_counts(name, side) for side in (before, after)]
        if all(c is not None and c[1] > 0 for c in counted):
            (first, n), (second, m) = (c for c in counted if c is not None)
            results[name] = rate_result(name, (first, second), (n, m), options)
    return results


def rate_counts(name: str, side: Recordings) -> tuple[int, int] | None:
    """Cycles with the event and cycles in all, incomplete ones left out; None where the log lacks the output."""
    events = cycles = 0
    for recording in side:
        whole = ~recording.cycles.where("outcome", "incomplete")
        if name == "chatter_share":
            edges = recording.cycles.codes("chatter_edges")
            known = whole & (edges >= 0)
            events, cycles = events + int(np.sum(edges[known] > 0)), cycles + int(known.sum())
            continue
        outcome = "dropped" if name == "drop_share" else "missed"
        events += int(recording.cycles.where("outcome", outcome).sum())
        cycles += int(whole.sum())
    return (events, cycles) if cycles else None


def rate_result(name: str, events: tuple[int, int], cycles: tuple[int, int], options: CompareOptions) -> RateResult:
    """One rate from its counts."""
    tail = (1.0 - options.level) / 2.0
    sides = [
        Estimate(value=k / n, lower=low, upper=high, unit="", n=n, method=_METHOD)
        for k, n in zip(events, cycles, strict=True)
        for low, high in [exact_limits(k, n, tail)]
    ]
    low, high = share_difference(events, cycles, tail)
    return RateResult(
        name=name,
        events=events,
        cycles=cycles,
        before=sides[0],
        after=sides[1],
        difference=Estimate(
            value=sides[1].value - sides[0].value, lower=low, upper=high, unit="", n=sum(cycles),
            method=_METHOD_DIFFERENCE,
        ),
        margin=options.margin_share_points,
        verdict="undecided",
        p_better=exact_fewer(events, cycles),
        p_worse=exact_fewer((events[1], events[0]), (cycles[1], cycles[0])),
        cycles_needed=_needed(events, cycles, options),
    )  # fmt: skip


def rate_equivalent(rate: RateResult, options: CompareOptions) -> bool:
    """True where the two one-sided intervals of the difference lie inside the margin."""
    low, high = share_difference(rate.events, rate.cycles, options.equivalence)
    return -rate.margin < low and high < rate.margin


def _all_clean_equal(cycles: int, options: CompareOptions) -> bool:
    """True where so many clean cycles on each side show equivalence."""
    return share_difference((0, 0), (cycles, cycles), options.equivalence)[1] < options.margin_share_points


def _needed(events: tuple[int, int], cycles: tuple[int, int], options: CompareOptions) -> int | Withheld:
    """Cycles per side, by the normal approximation with half an event added to each side; without any event exact."""
    if sum(events) == 0:
        return cycles_for(lambda n: 1.0 if _all_clean_equal(int(n), options) else 0.0, 0.5, options.most_cycles)
    shares = [(k + 0.5) / (n + 1.0) for k, n in zip(events, cycles, strict=True)]
    scatter = Scatter(per_cycle=sum(p * (1.0 - p) for p in shares), common=0.0)
    change, margin = shares[1] - shares[0], options.margin_share_points
    found = [
        cycles_for(lambda n: power_to_show(change, scatter, n, _Z), options.power, options.most_cycles),
        cycles_for(lambda n: power_to_equal(change, margin, scatter, n, _Z), options.power, options.most_cycles),
    ]
    numbers = [n for n in found if isinstance(n, int)]
    return max(min(numbers), options.fewest_cycles) if numbers else found[0]
