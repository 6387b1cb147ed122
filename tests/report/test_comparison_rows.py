"""Holds before and after, drawn row by row."""

from dataclasses import replace

import numpy as np

from tests.compare.compared_stations import recording
from tracekit.compare.engine import compare
from tracekit.model.comparison import Comparison, HoldRows
from tracekit.report.compare_page import comparison_page
from tracekit.report.comparison_rows import before_after_rows
from tracekit.report.comparison_words import text_of


def _rows(refills: list[int]) -> HoldRows:
    """Holds of 3 s, evacuated in 0.3 s, each with so many refills of 0.1 s, one a second from the first second on."""
    row = np.repeat(np.arange(len(refills)), refills)
    start = np.concatenate([1.0 + np.arange(n) for n in refills]) if sum(refills) else np.zeros(0)
    return HoldRows(
        cycle=np.arange(len(refills)), first=np.full(len(refills), 0.3), end=np.full(len(refills), 3.0), row=row,
        start=start, stop=start + 0.1, refills=np.array(refills),
    )  # fmt: skip


def _compared(before: HoldRows | None, after: HoldRows | None) -> Comparison:
    return compare(
        (replace(recording(1, 60, name="before"), holds=before),),
        (replace(recording(2, 60, start_h=24.0, name="after"), holds=after),),
    )


def test_refills_of_both_sides() -> None:
    """The heading gives the refills of both sides, the numbers each refill, and the page shows the picture."""
    case = _compared(_rows([2, 2, 2, 1]), _rows([0, 0, 0, 0]))
    picture = before_after_rows(case)
    assert picture is not None
    assert text_of(picture.heading) == "Refills in a hold: usually 2 before, none after."
    assert picture.shown == 7
    assert picture.rows[0] == ("before", 0, 1.0, 1.1)
    assert "4 of 4 holds before, 4 of 4 after" in text_of(picture.caption)
    assert text_of(picture.heading) in comparison_page(case)


def test_a_range_where_holds_differ() -> None:
    """Where no count is usual the range of nine in ten is given."""
    picture = before_after_rows(_compared(_rows([1, 2, 3, 4, 5]), _rows([0, 0, 0, 0, 1])))
    assert picture is not None
    assert text_of(picture.heading) == "Refills in a hold: 1 to 4 before, usually none after."


def test_many_holds_are_thinned() -> None:
    """Of many holds at most twelve a side are drawn, and the caption says of how many."""
    picture = before_after_rows(_compared(_rows([1] * 20), _rows([1] * 3)))
    assert picture is not None
    assert "12 of 20 holds before, 3 of 3 after" in text_of(picture.caption)


def test_nothing_to_draw() -> None:
    """Without holds on a side, or without a single refill, there is no picture."""
    assert before_after_rows(_compared(None, _rows([1, 1]))) is None
    assert before_after_rows(_compared(_rows([0, 0]), _rows([0, 0]))) is None
