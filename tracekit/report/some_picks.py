"""A leak on some picks only: which ones, as far as the log tells, and what it leaves to the test."""

import numpy as np

from tracekit.model.finding import Finding
from tracekit.model.result import StationResult
from tracekit.report.text import clean
from tracekit.report.view import column_of, median
from tracekit.report.words import Num, Text, say, share_of, two_digits


def grouped_leads(result: StationResult, main: Finding) -> list[Text]:
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
