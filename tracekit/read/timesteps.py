"""A column that tells the time from row to row: added up, it is the time."""

import re
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pyarrow as pa

from tracekit.model.trace import Assumption
from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column, Profile, fetch, make_column
from tracekit.read.head import Head, finite
from tracekit.read.opened import Opened
from tracekit.read.plan import Plan
from tracekit.read.rising import rises
from tracekit.read.rows import Rows
from tracekit.read.spill import real_numbers
from tracekit.read.timeplan import times_of
from tracekit.read.values import column_numbers
from tracekit.read.words import fold

_STEP = re.compile(
    r"(?:d\s?t|(?:delta|δ|time|zeit)[\s_]?(?:t|time|zeit|diff\w{0,8}|delta|step|since (?:the )?(?:last|previous)"
    r"\b.{0,20})"
    r"|(?:delta|zeitdifferenz|ecart de temps))(?:[\s_]*[\[(,_].{0,12})?"
)
"""Names of such columns, folded, with a unit behind them (common practice, no source)."""


def with_steps_added(opened: Opened) -> Opened:
    """A file whose only time is that from row to row, with a column of the time; others as they are."""
    column = _steps(opened.head)
    if column is None:
        return opened
    unit = column.hints.time_unit
    name = f"time by {column.name}" if unit is None else f"time by {column.name} [{unit.symbol}]"
    source = column.source or column.name

    def added(array: pa.Array, before: float) -> tuple[pa.Array, float]:
        steps = np.nan_to_num(column_numbers(array, column.profile.form))
        total = before + np.cumsum(steps)
        return real_numbers(total), float(total[-1]) if len(total) else before

    def rows(plan: Plan) -> Iterator[Rows]:
        total = 0.0
        for piece in opened.rows(replace(plan, columns={**plan.columns, name: column})):
            array, total = added(fetch(piece.columns, column), total)
            yield replace(piece, columns={**piece.columns, name: array, source: array})

    head = opened.head
    time = make_column(name, "", Profile(kind="number"), added(column.array, 0.0)[0])
    columns = tuple(replace(time, source=source) if c is column else c for c in head.columns)
    fact = Assumption(
        what="steps of time", value=f'"{column.name}" added up from row to row',
        evidence="its name, and no column rises like time", confidence=0.93,
    )  # fmt: skip
    told = replace(head, columns=columns, assumptions=(*head.assumptions, fact))
    return replace(opened, head=told, rows=rows, last_rows=lambda _: None)


def _steps(head: Head) -> Column | None:
    """The only column named like a time from row to row whose values may be such; None where another is a time."""
    found = [c for c in head.columns if c.kind == "number" and c.item is None and _STEP.fullmatch(fold(c.name.strip()))]
    if len(found) != 1 or len(known := finite(found[0].values)) < EVIDENCE.document_rows:
        return None
    usual = float(np.median(known))
    goes_on = float((np.diff(known) > 0).mean()) > EVIDENCE.always
    even = known.min() >= 0 and usual > 0 and not goes_on
    others = [seconds for plan, seconds in times_of(head, None) if plan.columns != (found[0].name,)]
    return found[0] if even and not any(rises(seconds, wraps=True) for seconds in others) else None
