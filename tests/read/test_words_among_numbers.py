"""Columns of numbers in which no word stands are read without looking for words, with the same result."""

import numpy as np
import pyarrow as pa
import pytest

from tracekit.read import delimited
from tracekit.read.delimited import MISSING, TextShape, parse
from tracekit.read.rows import levels, numbers

TYPES = {"time_s": pa.float64(), "kpa": pa.float64(), "supply": pa.int8()}


def shape() -> TextShape:
    """Three columns of numbers."""
    return TextShape(names=tuple(TYPES), types=TYPES)


@pytest.mark.parametrize("word", [*MISSING, "NaN(1)", "infinity", "-INF", "1E-3", "x"])
def test_every_word_is_missing_as_before(monkeypatch, word):
    """A piece with a word gives what it gives where words are looked for at once, and so does the piece after it."""
    pieces = [f"0.01,-57.25,1\n0.02,{word},0\n0.03,-57.5,1\n".encode(), b"0.04,-1,1\n0.05,-2.5,0\n"]
    own = shape()
    found = [parse(piece, own, 1) for piece in pieces]
    monkeypatch.setattr(delimited, "_LAST", 0)
    for piece, rows in zip(pieces, found, strict=True):
        expected = parse(piece, shape(), 1)
        for name in ("time_s", "kpa"):
            np.testing.assert_array_equal(numbers(rows.columns[name]), numbers(expected.columns[name]))
            assert rows.columns[name].null_count == expected.columns[name].null_count
        np.testing.assert_array_equal(levels(rows.columns["supply"]), levels(expected.columns["supply"]))
        assert rows.rejected == expected.rejected


def test_words_are_not_looked_for_where_none_can_stand(monkeypatch):
    """Plain numbers are read once, without the words; after a first word each piece is read with them at once."""
    asked = []
    read = delimited._read

    def counted(text, shape, types, bad, missing=MISSING):
        asked.append(missing)
        return read(text, shape, types, bad, missing)

    monkeypatch.setattr(delimited, "_read", counted)
    own = shape()
    for piece in (b"0.01,-57.25,1\n", b"0.02,,0\n", b"0.03,---,1\n", b"0.04,-57,1\n"):
        parse(piece, own, 1)
    assert asked == [("",), ("",), ("",), MISSING, MISSING]


def test_lines_that_do_not_fit_are_rejected_once():
    """A line with too few fields beside a word is told once, though the piece is read twice."""
    rows = parse(b"0.01,-57.25,1\n0.02\n0.03,---,1\n", shape(), 1)
    assert [(r.rows, r.first_lines) for r in rows.rejected] == [(1, (2,))]
    assert rows.count == 2
