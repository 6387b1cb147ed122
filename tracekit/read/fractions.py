"""What follows the seconds of a stamp: a fraction, or a count of parts of a second without its leading zeros."""

import itertools
import re
from collections.abc import Sequence
from dataclasses import replace

from tracekit.options.evidence import EVIDENCE
from tracekit.read.stampform import Field, StampForm

_RUN = re.compile(r"\d+")
_COUNTS: dict[int, Field] = {2: "centi", 3: "milli", 6: "micro"}
_UNITS: dict[str, Field] = {"s": "fraction", "ms": "milli", "us": "micro"}


def with_counts(form: StampForm, cells: Sequence[str]) -> StampForm:
    """The form with what its last figures are, where their number changes from cell to cell; else `counted`.

    Cells must stand in the order of time. A count never has a zero before it, a fraction that is cut off never one
    behind it, and of two rows of one second the later has more of both.
    """
    if "fraction" not in form.fields:
        return form
    found = [part for part in (_parted(form, cell) for cell in cells) if part is not None]
    figures = [figure for _, figure in found]
    longest = max(map(len, figures), default=0)
    if len({len(f) for f in figures}) < 2 or longest > 6 or any(f[0] == "0" and len(f) > 1 for f in figures):
        return form
    count = _COUNTS.get(longest)
    if longest == 2 and max(map(int, figures)) < EVIDENCE.count_full * 100:
        count = None
    pairs = [(a[1], b[1]) for a, b in itertools.pairwise(found) if a[0] == b[0] and a[1] != b[1]]
    votes = [int(b) > int(a) for a, b in pairs if (int(b) > int(a)) != (_share(b) > _share(a))]
    counted = sum(votes) / len(votes) if votes else float(any(f[-1] == "0" and len(f) > 1 for f in figures)) or 0.5
    if counted <= 1 - EVIDENCE.count_share:
        return form
    if counted < EVIDENCE.count_share or count is None:
        return replace(form, counted=True)
    return _as_count(form, count, "what follows the seconds counts on from row to row, without leading zeros")


def as_given(form: StampForm, unit: str) -> StampForm:
    """The form with its last figures as the station file says: "ms" and "us" counts, "s" a fraction."""
    field = _UNITS.get(unit)
    return form if field is None or not form.counted else _as_count(form, field, "station file")


def _as_count(form: StampForm, field: Field, evidence: str) -> StampForm:
    fields = tuple(field if f == "fraction" else f for f in form.fields)
    joined = f"{form.evidence}; {evidence}" if form.evidence else evidence
    return replace(form, fields=fields, counted=False, evidence=joined)


def _parted(form: StampForm, cell: str) -> tuple[str, str] | None:
    """A cell without its last figures, and these; None where it has none."""
    runs = list(_RUN.finditer(cell))
    if len(runs) != len(form.fields) - form.worded:
        return None
    run = runs[form.fields.index("fraction") - len(form.fields)]
    return cell[: run.start()] + cell[run.end() :], run.group()


def _share(figures: str) -> float:
    return float(f"0.{figures}")
