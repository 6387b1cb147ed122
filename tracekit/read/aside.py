"""Columns that no channel is read from, though they may tell something: they are named, so that none goes unseen."""

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trace import Assumption
from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column
from tracekit.read.digitals import ROLES
from tracekit.read.head import Head, finite, joined
from tracekit.read.plan import Plan

ASIDE = "left aside"


def left_aside(head: Head, plan: Plan) -> tuple[Assumption, ...]:
    """What is told of columns of words or of a few whole numbers that a plan does not read; empty without any."""
    told = {a.value for a in plan.assumptions if a.what == ASIDE}
    left = [
        c for c in head.columns
        if c.name not in plan.columns and (c.source or c.name) not in plan.columns and _tells(c)
        and not any(f'"{c.name}' in value for value in told)
    ]  # fmt: skip
    if not left:
        return ()
    evidence = "no channel of the station shows in it"
    return (Assumption(what=ASIDE, value=joined(c.name for c in left), evidence=evidence, confidence=0.8),)


def _tells(column: Column) -> bool:
    """True for a recipe, a nest, a state: some words or whole numbers, again and again."""
    if column.kind == "number" and any(column.hints.weight(role) >= EVIDENCE.name_weight for role in ROLES):
        return True  # a signal by its name, of which no level was found
    if column.hints.weight("time") or column.hints.weight("quality") or column.hints.pressure_unit is not None:
        return False
    if column.kind == "number" and column.profile.whole:
        return 1 < column.levels <= EVIDENCE.most_station_numbers and _stays(finite(column.values))
    return column.kind in ("text", "level") and 1 < len(column.words) <= EVIDENCE.most_stations


def _stays(values: NDArray[np.float64]) -> bool:
    """True for values that mostly are those of the row before."""
    return len(values) > 1 and bool((np.diff(values) == 0).mean() > EVIDENCE.filled_share)
