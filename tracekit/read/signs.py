"""Whole numbers whose negative ones are written without a sign: 65536 more, two's complement of 16 bits."""

from dataclasses import replace

import numpy as np

from tracekit.model.trace import Assumption
from tracekit.read.columns import Column
from tracekit.read.head import Head, finite

_TURN, _NEAR = 65_536.0, 0.15
_FEWEST, _SHARE = 8, 0.01


def with_signed_counts(head: Head) -> Head:
    """The first rows with readings of 16 bits without a sign read as if they had one.

    Readings lie near zero and near 65536, many different ones at either end and none between.
    """
    turned = [c.name for c in head.columns if _is_turned(c)]
    if not turned:
        return head
    facts = tuple(
        Assumption(what=f"sign of {name}", value="65536 taken off readings above 32767",
                   evidence="readings lie near 0 and near 65536 and none between", confidence=0.95)
        for name in turned
    )  # fmt: skip
    columns = tuple(_signed(c) if c.name in turned else c for c in head.columns)
    return replace(head, columns=columns, assumptions=(*head.assumptions, *facts))


def _is_turned(column: Column) -> bool:
    known = finite(column.values)
    timely = column.hints.weight("time") > 0 or column.hints.time_unit is not None  # a counter that has wrapped
    if column.kind != "number" or timely or len(known) == 0 or known.min() < 0 or known.max() >= _TURN:
        return False
    high = known >= (1.0 - _NEAR) * _TURN
    ends = high | (known <= _NEAR * _TURN)
    many = _SHARE < float(high.mean()) < 1.0 - _SHARE
    if not (many and ends.all() and (known == np.rint(known)).all()):
        return False
    return min(len(np.unique(known[high])), len(np.unique(known[~high]))) >= _FEWEST


def _signed(column: Column) -> Column:
    form = replace(column.profile.form, turn=_TURN)
    values = np.where(column.values >= _TURN / 2, column.values - _TURN, column.values)
    return replace(column, profile=replace(column.profile, form=form), values=values)
