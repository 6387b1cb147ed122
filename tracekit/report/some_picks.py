"""A leak on some picks only: which ones, as far as the log tells, and what it leaves to the test."""

import numpy as np

from tracekit.model.finding import Finding
from tracekit.model.result import StationResult
from tracekit.report.text import clean
from tracekit.report.view import Mask, column_of, median
from tracekit.report.words import Num, Text, count, say, share_of, two_digits

_LEAST_IN_GROUP, _RATES_APART = 5, 1.5
"""Cycles of each of two rates, and how many times the lower one the higher is at least: as the picture tells groups."""
_VALVES, _LEAST_TURNS = ("check_valve_leak", "release_valve_leak", "supply_valve_passing"), 5


def two_rates(result: StationResult) -> Mask | None:
    """True for the cycles with the faster of two rates of fall, shape (n_cycles,); None where the log has one rate.

    The measurement found both groups: a median over all of them would be the rate of neither.
    """
    groups = result.leak.groups
    if len(groups) != 2:
        return None
    rate, members = result.leak.rate, []
    for group in groups:
        own = np.zeros(len(rate), np.bool_)
        own[[c for c in group.cycles if 0 <= c < len(rate)]] = True
        members.append(np.asarray(own & np.isfinite(rate), np.bool_))
    slow, fast = sorted(members, key=lambda own: median(rate[own]))
    few = min(int(slow.sum()), int(fast.sum())) < _LEAST_IN_GROUP
    return None if few or median(rate[fast]) < _RATES_APART * max(median(rate[slow]), 0.05) else fast


def rates_told(result: StationResult, fast: Mask) -> Text:
    """As in "24 of 47 cycles lose 10.1 kPa/s; the other 23 lose 1.3 kPa/s."."""
    rate = result.leak.rate
    known, slow = np.isfinite(rate), ~fast & np.isfinite(rate)
    high, low = (Num(value=median(rate[rows]), unit="kPa/s", step=0.1) for rows in (fast, slow))
    shares = f"{count(int(fast.sum()))} of {count(int(known.sum()))} cycles", count(int(slow.sum()))
    return say("{} lose {}; the other {} lose {}.", shares[0], high, shares[1], low)


def by_turns(main: Finding, fast: Mask) -> str:
    """That a valve leaks now and then, where both rates change places from pick to pick; else empty."""
    turns = int(np.count_nonzero(np.diff(fast.astype(np.int8))))
    return " The valve sticks by turns." if main.code in _VALVES and turns >= _LEAST_TURNS else ""


def some_picks_leads(result: StationResult, main: Finding) -> list[Text]:
    """Leads of a finding that is about some picks, the longest first; none for another."""
    if main.code == "leak_part_dependent":
        return _grouped_leads(result, main)
    return _given_up_leads(result, main) if main.code == "set_point_too_high" else []


def _given_up_leads(result: StationResult, main: Finding) -> list[Text]:
    """As in "11 of 36 picks were given up at 86.1 kPa; the set point is 86.3 kPa.", of all the picks it names.

    A finding may have counted those of its latest cycles alone, which would stand beside the number of all misses.
    """
    cycles = result.data.cycles
    missed = cycles.where("outcome", "missed")
    rows = [c for c in main.cycles if 0 <= c < len(cycles)]
    fact = next((e for e in main.evidence if e.measure == "peak_vacuum_kpa"), None)
    if fact is None or fact.reference is None or not rows or not missed[rows].all():
        return []
    level = median(cycles.floats("peak_vacuum_kpa")[rows])
    told = say(
        "{} were given up at {}", share_of(len(rows), len(cycles), "picks"), Num(value=level, unit="kPa", step=0.1)
    )
    return [(*told, *say("; the set point is {}.", Num(value=fact.reference, unit="kPa", step=0.1)))]


def _grouped_leads(result: StationResult, main: Finding) -> list[Text]:
    """As in "15 of 62 cycles leak, near 10 kPa/s, all with nest N3; the others 0.4 kPa/s."."""
    rate, n = result.leak.rate, len(result.data.cycles)
    slow = np.zeros(n, np.bool_)
    slow[[c for c in main.cycles if 0 <= c < n]] = True
    with_rate = np.isfinite(rate)
    if not (slow & with_rate).any() or not (~slow & with_rate).any():
        return []
    high, low = median(rate[slow]), median(rate[~slow])
    known = [g for g in result.leak.groups if set(main.cycles) == set(g.cycles)]
    column = column_of(known[0]) if known else ""
    which = f", all with {column} {clean(known[0].label, 20)}" if column else ""
    told = say(
        "{} leak, near {}{}; the others {}.", share_of(int(slow.sum()), n, "cycles"),
        Num(value=high, unit="kPa/s", step=two_digits(high)), which, Num(value=low, unit="kPa/s", step=0.1),
    )  # fmt: skip
    return [(*told, " Part or nest: step 1 tells."), told]
