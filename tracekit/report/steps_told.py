"""A step as pages and terminal tell it."""

import re

from tracekit.frozen import dataclass
from tracekit.model.finding import NextStep
from tracekit.report.text import clean

STEP_MOST, _LINE_MOST = 500, 400
GOAL = "Goal"
"""Before what a measure has to come to after a repair."""
_LABELS = {"Here": GOAL}
_END = re.compile(r"(?<=\.)\s+(?=[A-Z])")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing to do: act, minutes (None where nobody can say), how, results with what they mean, caution.

    `results` holds the first of what is expected and the first of what else may show, `more` the rest.
    """

    act: str
    how: str
    minutes: int | None
    results: tuple[tuple[str, str], ...]
    caution: str
    more: tuple[tuple[str, str], ...] = ()


def step_of(step: NextStep) -> Step:
    """A step with its first sentence as the act, and results split into what is seen and what it means."""
    text = clean(step.do, STEP_MOST)
    act, _, how = text.partition(". ")
    outcomes = [found for r in (step.expect_if, step.expect_else) if (found := _outcomes(clean(r, _LINE_MOST)))]
    return Step(
        act=act.rstrip("."),
        how=how,
        minutes=step.minutes if step.minutes > 0 else None,
        results=tuple(pairs[0] for pairs in outcomes),
        more=tuple(pair for pairs in outcomes for pair in pairs[1:]),
        caution=_once(clean(step.caution, _LINE_MOST)),
    )


def _outcomes(text: str) -> list[tuple[str, str]]:
    """As in "Below 1 kPa/s: change the cup. Still near 7: step 2." → what is seen and what it means, in pairs."""
    pairs: list[tuple[str, str]] = []
    for sentence in _END.split(text):
        line = sentence.strip().rstrip(".")
        seen, found, means = line.partition(": ")
        if found:
            pairs.append((_LABELS.get(seen.strip(), seen.strip()), means.strip()))
        elif line and pairs:
            pairs[-1] = (pairs[-1][0], f"{pairs[-1][1]}. {line}")
        elif line:
            pairs.append(("", line))
    return pairs


def _once(text: str) -> str:
    """The text without sentences that it has said already."""
    return " ".join(dict.fromkeys(_END.split(text)))
