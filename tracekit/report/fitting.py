"""How much a headline and a lead may hold, and the first of several ways to say a thing that fits."""

import math

from tracekit.report.text import clean
from tracekit.report.words import Text, plain

HEADLINE_MOST, LEAD_MOST = 50, 110
"""Characters of the headline and of the lead below it."""


def fit(candidates: list[str]) -> str:
    """The first that is short enough, else the last, cut."""
    return next((c for c in candidates if len(c) <= HEADLINE_MOST), clean(candidates[-1], HEADLINE_MOST))


def first_fit(candidates: list[Text]) -> Text:
    """The first that is short enough for a lead, else the last."""
    return next((c for c in candidates if len(plain(c)) <= LEAD_MOST), candidates[-1])


def tenth(value: float) -> float:
    """A step that leaves two digits."""
    return float(10.0 ** (math.floor(math.log10(abs(value))) - 1.0)) if value else 0.1
