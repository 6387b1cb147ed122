"""Commands that the pressure answers late: how many, and whether they are those after a pause."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.effects import Effect, robust_spread
from tracekit.judge.evidence import Sign
from tracekit.judge.facts import middle
from tracekit.judge.features import Features
from tracekit.judge.signs import logistic
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions

Bools = NDArray[np.bool_]
_RESTED_LEAST = 4
"""Late answers after a pause from which on they are no chance: four of thirty are so once in 27 000."""
_AT_ONCE = 0.25
"""Of answers at once: beyond it commands are written now sooner, now later; how much tells the log's own spread."""
_STEPS = 6.0
"""Of what the sampling tells of an answer, a quarter of a sample interval: one and a half samples are no lateness."""


def late_sign(features: Features, usual_response: Effect | None, rested: Bools | None = None) -> tuple[Sign, Bools]:
    """Supply commands that the pressure answers much later than usual: than the reference where there is one.

    `rested` marks picks after a pause, where an answer shows the valve alone: one that sticks does so after a rest, and
    late answers that are those of the rested picks are no chance.
    """
    response = np.where(features.held, features.values["response"], np.nan)
    at_once = response <= 0.0  # no valve does: the onset was not found, or the command written after it was given
    response = np.where(at_once, np.nan, response)
    seen = np.isfinite(response)
    if seen.sum() < 8:
        return Sign(name="late_response", present=0.002), np.zeros(len(response), np.bool_)
    usual = float(np.nanquantile(response, 0.4))
    lower = response[seen & (response <= usual)]
    spread = max(float(usual - np.min(lower)) / 2.0, robust_spread(lower), features.floor["response"])
    if usual_response is not None and at_once.sum() <= _AT_ONCE * (seen | at_once).sum():
        usual = usual_response.reference
        spread = max(usual_response.spread, features.floor["response"])
    late = seen & (response > usual + max(0.006, 6.0 * spread, _STEPS * features.floor["response"]))
    present = logistic((float(late.sum() / seen.sum()) - 0.055) / 0.012) if late.sum() >= 3 else 0.0
    # a valve that began to stick inside the log: the last cycles alone, which by chance hold more of the late ones
    for part, least in ((2, 0.09), (3, 0.12)):
        tail = np.flatnonzero(seen)[-int(seen.sum()) // part :]
        if late[tail].sum() >= 4:
            present = max(present, logistic((float(np.mean(late[tail])) - least) / 0.015))
    after_rest = rested is not None and _same_cycles(late[1:], (rested & seen)[1:])
    text = f"{int(late.sum())} commands answered late" + (", those after a pause" if after_rest else "")
    present = 0.9999 if after_rest else min(present, 0.5) if _warming_up(late) else present
    return Sign(name="late_response", present=min(max(present, 0.0007), 0.9999), text=text), late


def where_all_are_late(late: Sign, response: Effect | None, options: JudgeOptions) -> Sign:
    """The sign of late answers without a reference: where the usual one is late, none stands out of the others."""
    if response is None or response.z < options.onset_least_z:
        return late
    return replace(late, present=max(late.present, options.late_unseen))


def _warming_up(late: Bools) -> bool:
    """Whether the late answers are those of the first cycles alone, in one run: valves and seals warm up."""
    rows = np.flatnonzero(late)
    return len(rows) > 0 and rows[-1] < len(late) / 3 and len(rows) >= 0.8 * (rows[-1] + 1)


def _same_cycles(late: Bools, rested: Bools) -> bool:
    """Whether the late answers are those of the rested picks, with one in five left out or beside them at most."""
    both = int((late & rested).sum())
    return both >= _RESTED_LEAST and both >= 0.8 * max(int(late.sum()), int(rested.sum())) and rested.mean() < 0.34


def rested_picks(data: StationData) -> Bools:
    """Picks after a pause twice as long as the usual one, shape (n_cycles,)."""
    left = data.timing["release_end_s"]
    before = np.concatenate([[np.nan], np.where(np.isfinite(left), left, data.timing["quit_s"])[:-1]])
    pause = data.cycles.floats("start_s") - before
    with np.errstate(invalid="ignore"):
        return np.asarray(pause > 2.0 * middle(pause), np.bool_)
