"""What is damaged, torn or made meanwhile by another program: it is named with what to do, and doing that mends it."""

import os
import re
from pathlib import Path

import pytest
from history.made_up_records import log_id_of, simple_record

from tracekit.history.add import add_record
from tracekit.history.events import note_event, parse_event
from tracekit.history.place import LocalPlace, open_place
from tracekit.history.read import read_rows
from tracekit.history.upkeep import check, compact
from tracekit.model.tables import CYCLES


@pytest.mark.parametrize("folder", ["summaries", "cycles"])
@pytest.mark.parametrize("merged", [False, True], ids=["loose", "merged"])
def test_a_check_says_what_to_do_and_doing_it_mends(tmp_path: Path, folder: str, merged: bool) -> None:
    """The logs that a damaged file held are named by their SHA-256, and adding them writes what is lacking, no more."""
    place, records = open_place(tmp_path), {log_id_of(n): simple_record(n) for n in range(3)}
    for record in records.values():
        add_record(tmp_path, record)
    if merged:
        compact(place)
    path = next((tmp_path / folder).rglob("*.parquet"))
    held = {i for i in records if path.parent.name == i[:2] and (merged or path.name.startswith(i))}
    path.write_bytes(path.read_bytes()[:-100])
    (told,) = check(place).damaged
    assert set(re.findall("[0-9a-f]{64}", told.reason)) == held, told
    for log_id in held:
        word = "added" if folder == "summaries" else "known already; its cycles were damaged or gone and are written again"
        assert add_record(tmp_path, records[log_id])[0].text == f"log.csv: {word}"
    assert bool(check(place).damaged) is (merged or folder == "summaries"), "the same rows replace the damaged file"
    if check(place).damaged:
        path.unlink()
    found = check(place)
    assert (found.logs, found.damaged, found.orphans) == (3, (), ())
    assert [add_record(tmp_path, record)[0].status for record in records.values()] == ["known"] * 3
    assert read_rows(place, CYCLES, "cycles").table.texts("log_id").count(next(iter(held))) == 12


def test_where_nothing_tells_what_a_file_held_the_list_does(tmp_path: Path) -> None:
    """A merged file whose logs have lost their cycles too cannot be told of; a note is written again."""
    add_record(tmp_path, simple_record(0))
    compact(open_place(tmp_path))
    for path in tmp_path.rglob("pack-*"):
        path.write_bytes(b"")
    note_event(open_place(tmp_path), parse_event("2025-01-02 Glaze 1: cups changed"))
    next((tmp_path / "events").iterdir()).write_text("{}")
    told = [one.reason.partition(". ")[2] for one in check(open_place(tmp_path)).damaged]
    lost = "Add any log that the list of the history lacks again, then delete this file."
    assert told == [lost, lost, "Note the event again, then delete this file."]


def test_a_log_that_is_added_during_a_check_is_no_orphan(tmp_path: Path) -> None:
    """Summaries are read before cycles: what another program adds in between is looked at again."""
    add_record(tmp_path, simple_record(0))

    class Adding(LocalPlace):
        def folders(self, folder: str) -> list[str]:
            """The folders; before those of cycles are listed, a log is added."""
            if folder == "cycles":
                add_record(tmp_path, simple_record(1))
            return super().folders(folder)

    assert check(Adding(tmp_path)).orphans == ()
    (alone,) = (p for p in (tmp_path / "summaries").rglob("*.parquet") if p.name.startswith(log_id_of(1)))
    alone.unlink()
    assert check(open_place(tmp_path)).orphans == (log_id_of(1),)


def test_a_folder_that_cannot_be_opened_is_written_into(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a folder may be entered and not listed, its sync is done without; every folder that was made is synced."""
    opened, kept = [], os.open

    def refused(path: Path, flags: int, *more: int) -> int:
        if Path(path).is_dir():
            opened.append(Path(path))
            raise PermissionError(13, "Permission denied")
        return kept(path, flags, *more)

    monkeypatch.setattr(os, "open", refused)
    open_place(tmp_path / "a" / "b").put("c/d.json", b"{}")
    assert (tmp_path / "a" / "b" / "c" / "d.json").read_bytes() == b"{}"
    assert set(opened) == {tmp_path, tmp_path / "a", tmp_path / "a" / "b", tmp_path / "a" / "b" / "c"}
