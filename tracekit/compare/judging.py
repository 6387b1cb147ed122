"""From the values of both sides to the figures of one measure, before verdicts are given."""

import math

import numpy as np

from tracekit.compare.difference import (
    Difference,
    bounds,
    difference_of,
    p_above,
    p_below,
    p_equivalent,
    p_equivalent_share,
)
from tracekit.compare.matching import PartMix, match_parts
from tracekit.compare.measures import Measure, resolution_of
from tracekit.compare.median import MedianFit, fit_median
from tracekit.compare.needed import Scatter, cycles_for, power_to_equal, power_to_show
from tracekit.compare.ranks import rank_figures
from tracekit.compare.values import (
    SideValues,
    adjust_ambient,
    adjust_zero,
    leak_of,
    side_values,
    with_common,
    zero_of,
)
from tracekit.frozen import dataclass
from tracekit.model.comparison import MeasureResult, Recordings
from tracekit.model.estimate import Bound, Estimate, Quantity, Withheld
from tracekit.options.compare import CompareOptions, SerialOptions

_Z = 1.959964  # one-sided 2.5 %, of showing a change and of each of the two tests of equivalence
_METHOD = "median; order statistics at the effective number of cycles; shared errors added"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Both sides and what holds for every measure of one comparison."""

    before: Recordings
    after: Recordings
    mix: PartMix
    options: CompareOptions
    serial: SerialOptions


def measure_figures(measure: Measure, question: Question, margin: float | None = None) -> MeasureResult:
    """Medians, difference, interval and p values of one measure. The verdict is still open.

    margin  the plan's, in the measure's unit; None for the default
    """
    refused = _leak_withheld(measure, question)
    if refused:
        return _withheld(measure, refused)
    sides, notes = prepared_values(measure, question)
    sampled = min(len(s) for s in sides)
    if sampled < question.options.fewest_cycles:
        have = " and ".join(str(len(s)) for s in sides)
        return _withheld(measure, f"{have} usable values before and after; at least {question.options.fewest_cycles}")
    fits = [value_fit(s, question) for s in sides]
    difference = difference_of(fits[0], fits[1])
    least = resolution_of(measure, question.before[0], question.after[0], question.options)
    usual = question.options.margin_share * abs(fits[0].median)
    agreed = margin if margin is not None else max(usual, least)
    equal = (
        p_equivalent_share(difference, question.options.margin_share)
        if margin is None and usual > least
        else p_equivalent(difference, agreed)
    )
    return _figures(measure, difference, (agreed, equal), "; ".join(n for n in notes if n), question.options)


def scatter_of(before: MedianFit, after: MedianFit, options: CompareOptions) -> Scatter:
    """Scatter of the difference as it would be with other numbers of cycles."""
    return Scatter(
        per_cycle=before.planned(options.scatter_doubt) + after.planned(options.scatter_doubt),
        common=before.common**2 + after.common**2,
        widening=options.widening,
    )


def side_quantity(fit: MedianFit, unit: str, options: CompareOptions) -> Quantity:
    """The median of one side with its interval, or its bound where one end is open."""
    alone = difference_of(still_side(fit), fit)
    low, high = bounds(alone, (1.0 - options.level) / 2.0)
    low, high, n = low + 0.0, high + 0.0, fit.serial.n
    return _quantity(fit.median, low, high, unit, n)


def side_fit(measure: Measure, side: Recordings, question: Question) -> MedianFit | str:
    """The median of one side alone, as read and not adjusted, or why it cannot be given."""
    values = with_common(measure, side_values(measure, side, ()), side, question.options)
    if len(values) < question.options.fewest_cycles:
        return f"{len(values)} usable values; at least {question.options.fewest_cycles}"
    return value_fit(values, question)


def prepared_values(measure: Measure, question: Question) -> tuple[tuple[SideValues, SideValues], tuple[str, ...]]:
    """Values of both sides, matched and adjusted, with notes of what was done."""
    recordings = (question.before, question.after)
    columns = question.mix.columns
    sides = match_parts(
        (side_values(measure, recordings[0], columns), side_values(measure, recordings[1], columns)), question.mix
    )
    sides, zero = adjust_zero(measure, sides, (zero_of(recordings[0]), zero_of(recordings[1])), question.options)
    sides, ambient = adjust_ambient(measure, sides, recordings, question.options)
    shared = [with_common(measure, s, r, question.options) for s, r in zip(sides, recordings, strict=True)]
    matched = f"matched by {', '.join(c.removeprefix('context_') for c in columns)}" if columns else ""
    return (shared[0], shared[1]), (matched, zero, ambient)


def value_fit(side: SideValues, question: Question) -> MedianFit:
    """The median of the values of one side."""
    return fit_median(
        side.values, question.serial, weights=side.weights, common=(side.common_low, side.common_high)
    )


def _figures(
    measure: Measure, difference: Difference, equality: tuple[float, float], note: str, options: CompareOptions
) -> MeasureResult:
    """Everything but the verdict. `equality` is the margin and the p value of the two one-sided tests against it."""
    margin, equal = equality
    low, high = bounds(difference, (1.0 - options.level) / 2.0)
    falls, rises = p_below(difference, 0.0), p_above(difference, 0.0)
    better, worse = (falls, rises) if measure.better == "lower" else (rises, falls)
    n = difference.before.serial.n + difference.after.serial.n
    return MeasureResult(
        column=measure.column,
        unit=measure.unit,
        better=measure.better,
        before=side_quantity(difference.before, measure.unit, options),
        after=side_quantity(difference.after, measure.unit, options),
        difference=_quantity(difference.value, low, high, measure.unit, n),
        verdict="undecided",
        margin=margin,
        cycles_needed=_needed(difference, margin, options),
        p_better=better,
        p_worse=worse,
        p_equivalent=equal,
        effective=(difference.before.serial.effective, difference.after.serial.effective),
        watched=measure.watched,
        note=note,
        ranks=rank_figures(difference.before.values, difference.after.values, measure.better, margin),
    )


def _needed(difference: Difference, margin: float, options: CompareOptions) -> int | Withheld:
    """Cycles per side that would show the change seen, or equivalence, whichever comes first."""
    scatter, change = scatter_of(difference.before, difference.after, options), difference.value
    if difference.before.open_ended or difference.after.open_ended:
        return Withheld("only a bound is known on one side; repair the reason first")
    shown = cycles_for(lambda n: power_to_show(change, scatter, n, _Z), options.power, options.most_cycles)
    equal = cycles_for(
        lambda n: power_to_equal(change, margin, scatter, n, _Z), options.power, options.most_cycles
    )
    found = [n for n in (shown, equal) if isinstance(n, int)]
    return max(min(found), options.fewest_cycles) if found else shown


def _quantity(value: float, low: float, high: float, unit: str, n: int) -> Quantity:
    """An estimate; a bound where one end is open; withheld where both are."""
    if math.isfinite(low) and math.isfinite(high):
        return Estimate(value=value, lower=low, upper=high, unit=unit, n=n, method=_METHOD)
    if math.isfinite(high):
        return Bound(status="upper_bound", limit=high, unit=unit, n=n, method=_METHOD)
    if math.isfinite(low):
        return Bound(status="lower_bound", limit=low, unit=unit, n=n, method=_METHOD)
    return Withheld("too few independent cycles for an interval")


def still_side(fit: MedianFit) -> MedianFit:
    """A side that is known exactly to be zero, so that a difference from it is the other side."""
    zero = np.zeros(2)
    return MedianFit(values=zero, shares=np.array([0.25, 0.75]), median=0.0, serial=fit.serial)


def _leak_withheld(measure: Measure, question: Question) -> str:
    """Why the leak of a side cannot be given, "" where it can."""
    for word, side in (("before", question.before), ("after", question.after)):
        for recording in side:
            quantity = leak_of(measure, recording)
            if isinstance(quantity, Withheld):
                return f"{word}: {quantity.reason}"
    return ""


def _withheld(measure: Measure, reason: str) -> MeasureResult:
    absent = Withheld(reason)
    return MeasureResult(
        column=measure.column, unit=measure.unit, better=measure.better, before=absent, after=absent,
        difference=absent, verdict="undecided", cycles_needed=absent, watched=measure.watched, note=reason,
    )  # fmt: skip
