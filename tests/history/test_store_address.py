"""The same history at an address that fsspec understands."""

import pytest
from history.made_up_records import simple_record

from tracekit.errors import UsageError
from tracekit.history.add import add_record
from tracekit.history.events import note_event, parse_event, read_events
from tracekit.history.place import open_place
from tracekit.history.read import read_rows
from tracekit.history.trend import trend
from tracekit.history.upkeep import check, compact

pytest.importorskip("fsspec", reason="the extra fleet is not installed")


def test_a_history_in_memory() -> None:
    """Adding, reading, merging, noting and trending work alike in a store of objects."""
    address = "memory://tile-works/history"
    for number in range(12):
        add_record(address, simple_record(number, decay=1.0 + 0.1 * number))
    assert add_record(address, simple_record(3, decay=1.3))[0].status == "known"
    place = open_place(address)
    before = read_rows(place).table
    assert compact(place).before == 24
    after = read_rows(place).table
    assert len(after) == len(before)
    assert check(place).sound
    note_event(place, parse_event("2025-01-05 Glaze 1: cups changed"))
    assert len(read_events(place)) == 1
    assert trend(address).stations[0].logs == 12


def test_nothing_at_the_address() -> None:
    """An address without a history is refused as a folder is."""
    with pytest.raises(UsageError, match="no history there"):
        read_rows(open_place("memory://tile-works/nothing"))
