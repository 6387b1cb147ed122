"""Groups of cycles with rates far apart, as parts of two kinds or a leak that starts in mid-log make them."""

import numpy as np

from tracekit.measure.leak_bins import Bools, Floats, Ints
from tracekit.model.tables import Table
from tracekit.options.leak import LeakOptions


def limits(rate: Floats, noise: Floats, options: LeakOptions, depth: int = 2) -> tuple[float, ...]:
    """Rates that part the groups, ascending; none where the cycles form one group [kPa/s].

    A split is accepted where the empty stretch between the sides is wide against noise, against the distance of
    their medians, and both sides have cycles enough. Sides are split again, `depth` times.
    """
    known = np.isfinite(rate)
    found = _split(rate[known], noise[known], options)
    if found is None or depth == 0:
        return ()
    low, high = known & (rate < found), known & (rate >= found)
    below = limits(np.where(low, rate, np.nan), noise, options, depth - 1)
    above = limits(np.where(high, rate, np.nan), noise, options, depth - 1)
    return (*below, found, *above)


def _split(rate: Floats, noise: Floats, options: LeakOptions) -> float | None:
    """The middle of the widest accepted gap, or None."""
    n, least = len(rate), options.fewest_in_group
    if n < 2 * least:
        return None
    order = np.argsort(rate)
    r, se = rate[order], noise[order]
    gaps = np.diff(r)[least - 1 : n - least]
    at = int(np.argmax(gaps)) + least
    gap = float(r[at] - r[at - 1])
    apart = float(np.median(r[at:]) - np.median(r[:at]))
    blur = float(np.hypot(np.median(se[:at]), np.median(se[at:])))
    inside = max(_longest_spacing(r[:at]), _longest_spacing(r[at:]))
    wide = gap > max(options.group_gap_noise * blur, options.group_gap_share * apart, options.group_gap_inside * inside)
    if not (wide and apart > options.group_apart_kpa_s):
        return None
    return float(0.5 * (r[at] + r[at - 1]))


def _longest_spacing(ordered: Floats) -> float:
    """Longest empty stretch to expect inside a side whose rates lie evenly: range · ln n/n."""
    n = len(ordered)
    return float(ordered[-1] - ordered[0]) * float(np.log(n)) / n


def assign(rate: Floats, parted: tuple[float, ...]) -> Ints:
    """Group of every cycle, -1 where the rate is unknown."""
    group = np.searchsorted(np.asarray(parted), np.nan_to_num(rate), side="right")
    return np.where(np.isfinite(rate), group, -1).astype(np.int64)


def masks(group: Ints, count: int) -> tuple[Bools, ...]:
    """One mask over the cycles per group."""
    return tuple(np.asarray(group == k) for k in range(count))


def names(cycles: Table, groups: tuple[Bools, ...], options: LeakOptions) -> tuple[str, tuple[str, ...]]:
    """What parts the groups and what each is called: a context column where it agrees with them, else the rate.

    groups are masks over the cycles. A column agrees where nearly all cycles of each group carry one value that nearly
    none of the others does.
    """
    for column in cycles.columns:
        if column.name.startswith("context_"):
            found = _values(cycles, column.name, groups, options)
            if found is not None:
                return column.name.removeprefix("context_"), found
    words = ("smallest leak", "larger leak", "largest leak") if len(groups) > 2 else ("smaller leak", "larger leak")
    labels = [words[min(k, 1)] for k in range(len(groups) - 1)]
    return "rate", (*_numbered(labels), words[-1])


def _numbered(labels: list[str]) -> list[str]:
    """The same labels with a number where one comes twice."""
    return [f"{t} {labels[: k + 1].count(t)}" if labels.count(t) > 1 else t for k, t in enumerate(labels)]


def _values(cycles: Table, name: str, groups: tuple[Bools, ...], options: LeakOptions) -> tuple[str, ...] | None:
    """The values of a context column that name the groups, or None where it does not agree with them."""
    codes, known = cycles.codes(name), cycles.categories[name]
    if not len(known):
        return None
    table = np.stack([np.bincount(codes[g & (codes >= 0)], minlength=len(known)) for g in groups])
    owner = table.argmax(axis=0)
    used = table.sum(axis=0) > 0
    right = table[owner, np.arange(len(known))].sum() / max(table.sum(), 1)
    if right < options.context_agrees or len(set(owner[used].tolist())) < len(groups):
        return None
    return tuple(", ".join(known[k] for k in np.flatnonzero(used & (owner == n))[:3]) for n in range(len(groups)))
