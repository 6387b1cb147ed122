"""The queue of samples that wait to be measured."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cli.made_logs import write_log
from hypothesis import given
from hypothesis import strategies as st

from tracekit.measure import stream
from tracekit.measure.buffer import RowBuffer, apart
from tracekit.measure.chunk import Outline
from tracekit.model.station import Settings
from tracekit.model.trace import Block
from tracekit.options.measure import MeasureOptions
from tracekit.options.segment import SegmentOptions
from tracekit.pipeline import measure
from tracekit.read import open_log


def block_of(first: int, count: int) -> Block:
    """Rows whose values are their numbers."""
    number = np.arange(first, first + count)
    return Block(
        station=0,
        time_s=number * 1.0,
        pressure_kpa=-number * 1.0,
        digital=(number % 8).astype(np.uint8),
        context={"part": (number % 5).astype(np.int32)},
    )


@given(st.lists(st.tuples(st.integers(1, 50_000), st.floats(0, 1)), min_size=1, max_size=12), st.integers(1, 300_000))
def test_rows_come_out_as_they_went_in(acts: list[tuple[int, float]], capacity: int) -> None:
    """Whatever goes in and is dropped, the rows that wait are the next ones, in order and in every column."""
    buffer, first, last = RowBuffer(capacity), 0, 0
    for count, share in acts:
        buffer.add(block_of(last, count))
        last += count
        rows = buffer.rows(10**9)
        expected = np.arange(first, last)
        assert len(buffer) == len(rows) == last - first
        np.testing.assert_array_equal(rows.time, expected)
        np.testing.assert_array_equal(rows.pressure, -expected)
        np.testing.assert_array_equal(rows.digital, expected % 8)
        np.testing.assert_array_equal(rows.context["part"], expected % 5)
        dropped = int(share * len(buffer))
        buffer.drop(dropped)
        first += dropped


def test_arrays_stay() -> None:
    """Rows that pass through in small portions are held in the same memory all along."""
    buffer = RowBuffer(200_000)
    buffer.add(block_of(0, 100_000))
    buffer.drop(100_000)
    base = buffer.rows(1).time.base
    for number in range(20):
        buffer.add(block_of(number * 30_000, 30_000))
        assert buffer.rows(1).time.base is base
        buffer.drop(30_000)


def test_the_head_is_cleaned_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was cleaned to learn from the head is measured as it is; smaller chunks are cleaned anew, to the same result."""
    log, cleaned = str(write_log(tmp_path / "log.csv", cycles=6)), []
    make = stream.make_samples

    def counted(*arrays: Any, **known: Any) -> Any:
        cleaned.append(len(arrays[0]))
        return make(*arrays, **known)

    monkeypatch.setattr(stream, "make_samples", counted)
    whole = measure(log).stations[0]
    assert len(cleaned) == 1
    pieces = measure(log, chunk_rows=900).stations[0]
    assert len(cleaned) > 3
    for name in ("evacuation_time_s", "peak_vacuum_kpa", "hold_vacuum_kpa"):
        np.testing.assert_array_equal(whole.cycles.floats(name), pieces.cycles.floats(name))


@pytest.mark.parametrize("rows", [100_000, 1500])
def test_the_head_is_cut_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, rows: int) -> None:
    """Cycles that were cut to learn from the head are measured as they are, with the result of cutting them anew."""
    source = str(write_log(tmp_path / "log.csv", cycles=9))
    options = SegmentOptions(head_rows=rows, chunk_rows=rows)
    cuts: list[int] = []
    cut = stream.outline

    def counted(samples: Any, starts: Any, *more: Any) -> Any:
        cuts.append(len(starts))
        return cut(samples, starts, *more)

    def measured() -> list[dict[str, bytes]]:
        cuts.clear()
        log = open_log(source)
        analyser = stream.StationAnalyser(log.layout, Settings(), options, MeasureOptions())
        for block in log.blocks():
            analyser.feed(block)
        analyser.finish()
        tables = [{**r.cycles, **r.levels, **r.periods, **r.edges, **r.bins} for r in analyser.results]
        return [{name: values.tobytes() for name, values in table.items()} for table in tables]

    monkeypatch.setattr(stream, "outline", counted)
    kept, chunks = measured(), len(cuts)
    monkeypatch.setattr(Outline, "of", lambda *_: None)
    assert measured() == kept
    assert len(cuts) == chunks + 1
    assert len(kept) == (1 if rows > 50_000 else chunks)
    assert sum(cuts[1:]) == 9


def test_arrays_kept_apart_are_the_same() -> None:
    """Arrays of any type and shape, empty ones too, are equal in memory of their own, and stay when the first ones change."""
    given = {
        "times": np.arange(5) * 0.1,
        "codes": np.array([3, -1], np.int8),
        "levels": np.arange(6.0).reshape(3, 2),
        "none": np.zeros((0, 4)),
    }
    kept = apart(given)
    for name, values in given.items():
        np.testing.assert_array_equal(kept[name], values)
        assert kept[name].dtype == values.dtype
        assert kept[name].shape == values.shape
        assert not np.shares_memory(kept[name], values)
    given["times"][:] = 0.0
    assert kept["times"].tolist() == (np.arange(5) * 0.1).tolist()
    assert list(apart({"none": np.zeros(0)})) == ["none"]


def test_what_was_kept_is_given_away(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Columns leave the chunks as they are put together, so that a long log is held once."""
    analysers: list[stream.StationAnalyser] = []
    finish = stream.StationAnalyser.finish
    monkeypatch.setattr(stream.StationAnalyser, "finish", lambda self: (analysers.append(self), finish(self))[1])
    data = measure(str(write_log(tmp_path / "log.csv", cycles=6)), chunk_rows=900).stations[0]
    chunks = analysers[0].results
    assert len(data.cycles) >= 6
    assert len(chunks) > 1
    assert not any(chunk.cycles or chunk.levels or chunk.periods or chunk.edges or chunk.bins for chunk in chunks)
