"""Files that are written one at a time (exports, station files, simulated logs): whole or not at all."""

import errno
import functools
import os
import shutil
from pathlib import Path

import pytest
from hardness.cuts import Acts, acting, ended_at
from hardness.made import csv_text, rows
from hardness.trial import command, leftovers
from history.made_up_records import simple_record

from tracekit.errors import OutputError
from tracekit.history.add import add_record
from tracekit.report import files as kept_files
from tracekit.simulate import Scenario, SimulatedLog, simulate

MOST_ACTS = 100


@pytest.fixture(scope="module")
def given(tmp_path_factory) -> Path:
    """A folder with a log and a history."""
    place = tmp_path_factory.mktemp("given")
    (place / "log.csv").write_text(csv_text(*rows(3)))
    for number in (1, 2):
        add_record(place / "history", simple_record(number))
    return place


@functools.cache
def made_log() -> SimulatedLog:
    """A short simulated log."""
    return simulate(Scenario(name="short", cycles=1))


def written(name: str, given: Path, place: Path) -> tuple[int, str]:
    """Write into a place; the status and what was said."""
    if name == "log":
        try:
            made_log().write(place)
        except OutputError as error:
            return 2, str(error)
        return 0, ""
    words = {
        "export": ("history", given / "history", "--export", place / "all.csv"),
        "station file": ("inspect", given / "log.csv", "--quiet", "--write-station", place / "new.toml"),
    }  # fmt: skip
    ran = command(*words[name])
    return ran.status, ran.err


NAMES = ("export", "station file", "log")


def files(place: Path) -> dict[str, int]:
    """Finished files of a place and their sizes."""
    return {p.relative_to(place).as_posix(): p.stat().st_size for p in sorted(place.rglob("*")) if p.is_file() and not p.name.endswith(".part")}


def whole(place: Path, wanted: dict[str, int], old: frozenset[str]) -> bool:
    """Whether every file is either as it was before or as it should be."""
    return all(size == wanted.get(name) or (name in old and size == 3) for name, size in files(place).items())


@pytest.mark.parametrize("replaced", [False, True], ids=["new", "replaced"])
@pytest.mark.parametrize("name", NAMES)
def test_single_files_on_a_full_disk(given, tmp_path, tally, name, replaced):
    """At whatever act the disk is full, one message says so and each file is the old one, the new one or not there."""
    (tmp_path / "never").mkdir()
    assert written(name, given, tmp_path / "never")[0] == 0
    wanted = files(tmp_path / "never")
    old = frozenset(n for n in wanted if replaced and name in ("export", "log"))  # the others refuse to replace a file
    for last in range(1, MOST_ACTS):
        place = tmp_path / str(last)
        place.mkdir()
        for one in old:
            (place / one).write_text("old")
        with acting(Acts(last, OSError(errno.ENOSPC, "No space left on device"), once=True)) as acts:
            status, err = written(name, given, place)
        said = err.strip().splitlines()
        good = status == 0 or (status == 2 and len(said) == 1 and "No space left on device" in said[0])
        good = good and whole(place, wanted, old) and leftovers(place) == []
        tally.add("single files, disk full", ("refused" if status else "right") if good else "half-written", (name, last, err, files(place), wanted))
        assert good, (last, err, files(place), wanted)
        shutil.rmtree(place)
        if acts.count < last:
            break
    assert status == 0
    assert 3 < last < MOST_ACTS - 1


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the system has no fork to kill programs with")
@pytest.mark.parametrize("name", NAMES)
def test_single_files_that_are_cut(given, tmp_path, tally, name):
    """Wherever the power fails, no file that has its name is part of one."""
    (tmp_path / "never").mkdir()
    assert written(name, given, tmp_path / "never")[0] == 0
    wanted = files(tmp_path / "never")
    for last in range(1, MOST_ACTS):
        place = tmp_path / str(last)
        place.mkdir()
        finished, early = ended_at(last, lambda place=place: written(name, given, place))
        good = early == 0 and whole(place, wanted, frozenset())
        tally.add("single files, cut", "right" if good else "half-written", (name, last, early, files(place), wanted))
        assert good, (last, early, files(place), wanted)
        if finished:
            break
    assert 3 < last < MOST_ACTS - 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no file that is always full")
def test_what_is_no_file_is_written_to(given):
    """A device is written to, not replaced; one that is full is one message."""
    for device, status in (("/dev/null", 0), ("/dev/full", 2)):
        before = Path(device).stat().st_rdev
        ran = command("history", given / "history", "--export", device)
        assert (ran.status, "No space left on device" in ran.err) == (status, status == 2), ran.err
        assert Path(device).stat().st_rdev == before


KEEPING = {
    "inspect": lambda place: ("inspect", place / "log.csv", "--quiet", "--write-station", place / "file"),
    "plan": lambda place: ("plan", "--quiet", "--out", place / "out", "--freeze", place / "file"),
}  # fmt: skip


@pytest.mark.parametrize("links", [True, False], ids=["links", "no links"])
@pytest.mark.parametrize("name", list(KEEPING))
def test_a_file_that_came_meanwhile_is_kept(given, tmp_path, tally, monkeypatch, name, links):
    """A file that a person made while a command worked is not replaced, also where the disk knows no links; a free name is taken."""
    if not links:
        monkeypatch.setattr(Path, "hardlink_to", no_links)
    shutil.copy(given / "log.csv", tmp_path)
    staged, words, edited = kept_files._staged, KEEPING[name](tmp_path), tmp_path / "file"
    assert command(*words).status == 0
    assert edited.stat().st_size > 3
    edited.unlink()

    def meanwhile(target, write):
        if target == edited:
            edited.write_text("own")
        return staged(target, write)

    monkeypatch.setattr(kept_files, "_staged", meanwhile)
    ran = command(*words)
    good = edited.read_text() == "own" and leftovers(tmp_path) == []
    tally.add("file came meanwhile", ran.outcome() if good else "silent loss", (name, ran.err))
    assert good
    assert ran.status == 2
    assert "file: there is a file already; expected a new name" in ran.err


def no_links(self, target):
    """What a disk without links says."""
    raise PermissionError(errno.EPERM, "Operation not permitted")
