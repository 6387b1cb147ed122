"""The last good log of a station comes back as it was."""

from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from history.made_up_records import DAY_US, JAN_US, cycles_table, facts_of, log_id_of, record_of, station_result

from tracekit.errors import UsageError
from tracekit.history.add import add_record
from tracekit.history.forgotten import write_tombstone
from tracekit.history.frozen import freeze, thaw
from tracekit.history.good import last_good
from tracekit.history.place import LocalPlace, open_place
from tracekit.model.finding import Finding
from tracekit.model.result import StationResult

WRONG = Finding(code="leak_steady", kind="cause", severity="minor", confidence=0.9, share=1.0, title="A leak")


def same(one: Any, two: Any) -> bool:
    """Whether two records agree in every field, arrays included."""
    if is_dataclass(one):
        return type(one) is type(two) and all(same(getattr(one, f.name), getattr(two, f.name)) for f in fields(one))
    if isinstance(one, np.ndarray):
        return one.dtype == two.dtype and np.array_equal(one, two, equal_nan=one.dtype.kind == "f")
    if isinstance(one, dict):
        return set(one) == set(two) and all(same(one[k], two[k]) for k in one)
    if isinstance(one, tuple):
        return len(one) == len(two) and all(same(a, b) for a, b in zip(one, two, strict=True))
    return bool(one == two) or (one != one and two != two)  # noqa: PLR0124 - NaN


def result_of(number: int, cycles: int = 30) -> StationResult:
    """A healthy made-up result of that log."""
    return station_result(cycles_table(log_id_of(number), "Glaze 1", cycles, decay=1.0 + 0.01 * number))


def added(folder: Path, number: int, result: StationResult) -> None:
    """Add the log to the history, a day after the one before it."""
    facts = facts_of(log_id_of(number), JAN_US + number * DAY_US)
    add_record(folder, record_of(result, facts=facts))


def test_a_record_comes_back_as_it_was() -> None:
    """Freezing and thawing changes no field of a station's data and leak."""
    result = result_of(1)
    records, told = thaw(freeze({"data": result.data, "leak": result.leak}, {"x": 1}))
    assert told == {"x": 1}
    assert same(records["data"], result.data)
    assert same(records["leak"], result.leak)


def test_the_newest_good_log_is_kept(tmp_path: Path) -> None:
    """Of good and bad logs added in any order the newest good one is the baseline, and only it is kept."""
    added(tmp_path, 1, result_of(1))
    added(tmp_path, 3, result_of(3))
    added(tmp_path, 2, result_of(2))
    added(tmp_path, 4, replace(result_of(4), findings=(WRONG,)))
    added(tmp_path, 5, result_of(5, cycles=5))
    data, leak, log_id = last_good(tmp_path, "Glaze 1")
    assert log_id == log_id_of(3)
    assert same(data.cycles, result_of(3).data.cycles)
    assert same(leak, result_of(3).leak)
    assert len(list((tmp_path / "good").rglob("*.good"))) == 1


def test_a_baseline_does_not_follow_slow_growth(tmp_path: Path) -> None:
    """Logs without findings of their own, each a little worse, leave the first one: else it would hide the growth."""
    for number, decay in enumerate((1.0, 1.1, 2.4, 4.0), start=1):
        result = station_result(cycles_table(log_id_of(number), "Glaze 1", 30, decay=decay))
        added(tmp_path, number, result)
    assert last_good(tmp_path, "Glaze 1")[2] == log_id_of(2)
    slower = station_result(cycles_table(log_id_of(5), "Glaze 1", 30, decay=1.0))
    took = slower.data.cycles
    later = {**took.data, "evacuation_time_s": 1.4 * took.floats("evacuation_time_s")}
    added(tmp_path, 5, replace(slower, data=replace(slower.data, cycles=replace(took, data=later))))
    assert last_good(tmp_path, "Glaze 1")[2] == log_id_of(2)
    added(tmp_path, 6, station_result(cycles_table(log_id_of(6), "Glaze 1", 30, decay=0.9)))
    assert last_good(tmp_path, "Glaze 1")[2] == log_id_of(6)


def test_where_there_is_none_it_is_said(tmp_path: Path) -> None:
    """No history, another station, only later logs, damage or a forgotten span: one message each, never a wrong baseline."""
    with pytest.raises(UsageError, match="no good log"):
        last_good(tmp_path, "Glaze 1")
    added(tmp_path, 3, result_of(3))
    with pytest.raises(UsageError, match='no good log of "Glaze 2"'):
        last_good(tmp_path, "Glaze 2")
    with pytest.raises(UsageError, match="no good log"):
        last_good(tmp_path, "Glaze 1", before_us=JAN_US + 2 * DAY_US)
    (path,) = (tmp_path / "good").rglob("*.good")
    whole = path.read_bytes()
    path.write_bytes(whole[:-7] + b"broken!")
    with pytest.raises(UsageError, match="no good log"):
        last_good(tmp_path, "Glaze 1")
    path.write_bytes(whole)
    write_tombstone(open_place(tmp_path), "Glaze 1", 0, JAN_US + 9 * DAY_US)
    with pytest.raises(UsageError, match="no good log"):
        last_good(tmp_path, "Glaze 1")


def test_what_another_version_kept_is_refused() -> None:
    """A record type or field that is not known is refused, not guessed."""
    data = freeze({"leak": result_of(1).leak}, {})
    for old, new in ((b'"LeakResult"', b'"Unknown__!"'), (b'"mechanism"', b'"mechanics"')):
        import io
        import zipfile

        out = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(out, "w") as target:
            for member in source.namelist():
                target.writestr(member, source.read(member).replace(old, new))
        with pytest.raises(ValueError, match="not what this version keeps"):
            thaw(out.getvalue())


def test_a_good_log_that_is_replaced_while_it_is_looked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another process puts a newer one in the place of the one listed: the newer one is found."""
    added(tmp_path, 1, result_of(1))
    listed = LocalPlace.names

    def torn(place: LocalPlace, folder: str) -> list[str]:
        found = listed(place, folder)
        if folder.startswith("good/"):
            monkeypatch.setattr(LocalPlace, "names", listed)
            added(tmp_path, 2, result_of(2))
        return found

    monkeypatch.setattr(LocalPlace, "names", torn)
    assert last_good(tmp_path, "Glaze 1")[2] == log_id_of(2)
