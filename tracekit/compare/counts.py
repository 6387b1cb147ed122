"""Shares of cycles: exact intervals and tests, and how many clean cycles prove what.

Sources
[1] Clopper, Pearson: The use of confidence or fiducial limits, Biometrika 26 (1934) 404–413.
[2] Fisher's exact test of a 2 × 2 table: the hypergeometric distribution, any text on statistics.
[3] Zou, Donner: Construction of confidence limits about effect measures, Statistics in Medicine 27 (2008) 1693–1702;
    with the limits of [1] it is the exact counterpart of Newcombe's hybrid interval.
[4] Success-run theorem: n clean cycles show a share below p with confidence 1 − (1 − p)^n.
"""

import math

_NEGLIGIBLE = 1e-18


def exact_limits(events: int, cycles: int, one_sided: float) -> tuple[float, float]:
    """Lower and upper limit of a share, each wrong with at most probability `one_sided` [1]."""
    from scipy.special import betaincinv

    lower = 0.0 if events == 0 else float(betaincinv(events, cycles - events + 1, one_sided))
    upper = 1.0 if events == cycles else float(betaincinv(events + 1, cycles - events, 1.0 - one_sided))
    return lower, upper


def exact_fewer(events: tuple[int, int], cycles: tuple[int, int]) -> float:
    """One-sided p value that the second share is lower than the first only by chance [2].

    events and cycles are (before, after). With the sides exchanged it tests for more.
    """
    marked, drawn, others = sum(events), cycles[1], cycles[0]
    chance = _hypergeometric(events[1], marked, drawn, sum(cycles))
    terms, k = [chance], events[1]
    while k > max(0, marked - others):  # each term from the one above it, until nothing is added
        ratio = k * (others - marked + k) / ((marked - k + 1) * (drawn - k + 1))
        chance, k = chance * ratio, k - 1
        terms.append(chance)
        if ratio < 1.0 and chance < _NEGLIGIBLE * terms[0]:
            break
    return min(1.0, math.fsum(terms))


def smallest_p(events: tuple[int, int], cycles: tuple[int, int]) -> float:
    """The smallest p value, either way, that so many events in all could give: 1 where there are none."""
    total = sum(events)
    after = max(0, total - cycles[0])
    fewest = exact_fewer((total - after, after), cycles)
    before = max(0, total - cycles[1])
    most = exact_fewer((total - before, before), (cycles[1], cycles[0]))
    return min(fewest, most)


def share_difference(events: tuple[int, int], cycles: tuple[int, int], one_sided: float) -> tuple[float, float]:
    """Lower and upper end of share after minus share before, made of exact limits [3]. Cautious, never too narrow."""
    low_before, high_before = exact_limits(events[0], cycles[0], one_sided)
    low_after, high_after = exact_limits(events[1], cycles[1], one_sided)
    before, after = events[0] / cycles[0], events[1] / cycles[1]
    down = math.hypot(after - low_after, high_before - before)
    up = math.hypot(high_after - after, before - low_before)
    return max(-1.0, after - before - down), min(1.0, after - before + up)


def clean_cycles(share: float, confidence: float) -> int:
    """Cycles without an event that show, with this confidence, a share below `share` [4]."""
    return math.ceil(math.log1p(-confidence) / math.log1p(-share) - 1e-12)


def clean_by_chance(share: float, cycles: int) -> float:
    """Chance of no event in so many cycles although events happen with this share."""
    return (1.0 - share) ** cycles


def _hypergeometric(k: int, marked: int, drawn: int, total: int) -> float:
    """Chance of k marked ones among `drawn` out of `total` with `marked` marked ones."""
    if k < 0 or k > marked or drawn - k > total - marked or k > drawn:
        return 0.0
    return math.exp(_log_choose(marked, k) + _log_choose(total - marked, drawn - k) - _log_choose(total, drawn))


def _log_choose(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
