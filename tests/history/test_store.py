"""The history folder: what it promises about logs that are added, merged, forgotten and read meanwhile."""

import io
import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest
from history.made_up_records import (
    DAY_US,
    JAN_US,
    cycles_table,
    facts_of,
    log_id_of,
    record_of,
    simple_record,
    station_result,
)  # fmt: skip

from tracekit.errors import OutputError, UsageError
from tracekit.history.add import add_record
from tracekit.history.arrow import arrow_bytes
from tracekit.history.forgotten import write_tombstone
from tracekit.history.place import LocalPlace, open_place
from tracekit.history.read import read_rows
from tracekit.history.schema import SCHEMA_KEY, shard
from tracekit.history.upkeep import check, compact, export_csv
from tracekit.model.estimate import Bound, Withheld
from tracekit.model.station import Limit, Price, Station, StationFacts
from tracekit.options.history import StoreOptions


def rows_of(folder: Path, name: str, kind: str = "measure") -> list[tuple[str, float]]:
    """Station and value of every row of a measure, in order of station and time."""
    table = read_rows(open_place(folder)).table
    here = table.where("name", name) & table.where("kind", kind)
    found = zip(table.texts("station"), table.codes("start_time"), table.floats("value"), here, strict=True)
    return [(str(s), float(v)) for s, _, v in sorted((s, t, v) for s, t, v, h in found if h)]


def summary_file(folder: Path, number: int) -> Path:
    """The one loose file of a log."""
    log_id = log_id_of(number)
    (found,) = (folder / "summaries" / shard(log_id)).glob(f"{log_id}-*.parquet")
    return found


def test_same_content_counts_once_whatever_its_name(tmp_path: Path) -> None:
    """Adding the same bytes twice under two names changes nothing and says so."""
    first = add_record(tmp_path, simple_record(1, source="a.csv"))
    before = {p: p.read_bytes() for p in tmp_path.rglob("*.parquet")}
    second = add_record(tmp_path, simple_record(1, source="b.csv"))
    assert (first[0].status, second[0].status) == ("added", "known")
    assert second[0].text == "b.csv: known already, counted once"
    assert {p: p.read_bytes() for p in tmp_path.rglob("*.parquet")} == before


def test_newer_version_replaces_rows_and_says_so(tmp_path: Path) -> None:
    """A re-analysis with a newer version replaces a log's rows; an older one added later does not win."""
    add_record(tmp_path, simple_record(1, decay=1.0, version="0.9.0"))
    newer = add_record(tmp_path, simple_record(1, decay=2.0, version="0.10.0"))
    older = add_record(tmp_path, simple_record(1, decay=3.0, version="0.8.0"))
    assert newer[0].text == "log.csv: replaces the analysis by tracekit 0.9.0"
    assert older[0].text == "log.csv: kept, but the analysis by tracekit 0.10.0 goes on counting"
    assert rows_of(tmp_path, "decay_rate_kpa_s") == [("Glaze 1", 2.0)]


def test_the_last_of_two_analyses_of_one_version_counts(tmp_path: Path) -> None:
    """With another station file, then with the first again, the last one added counts."""
    limits = Station(limits={"decay_rate_kpa_s": Limit(max=4.0)})
    add_record(tmp_path, simple_record(1))
    assert rows_of(tmp_path, "decay_rate_kpa_s", "limit") == []
    assert add_record(tmp_path, simple_record(1), stations=limits)[0].status == "replaced"
    assert rows_of(tmp_path, "decay_rate_kpa_s", "limit") == [("Glaze 1", 4.0)]
    assert add_record(tmp_path, simple_record(1))[0].status == "replaced"
    assert rows_of(tmp_path, "decay_rate_kpa_s", "limit") == []


def test_merging_changes_no_row(tmp_path: Path) -> None:
    """Compaction leaves every row as it was, counts no log twice and can be repeated."""
    for number in range(40):
        add_record(tmp_path, simple_record(number, stations=("Glaze 1", "Glaze 2"), decay=1.0 + number))
    add_record(tmp_path, simple_record(3, stations=("Glaze 1", "Glaze 2"), decay=9.0, version="0.2.0"))
    before = rows_of(tmp_path, "decay_rate_kpa_s")
    done = compact(open_place(tmp_path))
    assert done.before == 82
    assert done.after < done.before
    assert rows_of(tmp_path, "decay_rate_kpa_s") == before
    assert len(before) == 80
    again = compact(open_place(tmp_path))
    assert again.before == again.after == done.after
    assert add_record(tmp_path, simple_record(5, stations=("Glaze 1", "Glaze 2"), decay=6.0))[0].status == "known"


def test_loose_and_merged_copy_side_by_side_count_once(tmp_path: Path) -> None:
    """A compaction killed before it deleted leaves each log counted once."""
    for number in range(8):
        add_record(tmp_path, simple_record(number))
    loose = {p: p.read_bytes() for p in tmp_path.rglob("*.parquet")}
    before = rows_of(tmp_path, "evacuation_time_s")
    compact(open_place(tmp_path))
    for path, data in loose.items():
        path.write_bytes(data)
    assert rows_of(tmp_path, "evacuation_time_s") == before


def test_two_folders_merge_by_copying(tmp_path: Path) -> None:
    """Files of one history copied into another are read as one history."""
    for number in range(6):
        add_record(tmp_path / ("a" if number < 4 else "b"), simple_record(number))
    add_record(tmp_path / "b", simple_record(0))
    for path in (tmp_path / "b").rglob("*.parquet"):
        target = tmp_path / "a" / path.relative_to(tmp_path / "b")
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(path.read_bytes())
    assert len(rows_of(tmp_path / "a", "decay_rate_kpa_s")) == 6


def test_a_log_without_a_date_needs_one(tmp_path: Path) -> None:
    """Without a date nothing is written and the message names the option; with one the date counts."""
    record = simple_record(0, start_us=None)
    with pytest.raises(UsageError, match=r"log.csv: no date in the log.*--started"):
        add_record(tmp_path, record)
    assert list(tmp_path.iterdir()) == []
    add_record(tmp_path, record, started_us=JAN_US + 5 * DAY_US)
    table = read_rows(open_place(tmp_path)).table
    assert set(table.codes("start_time").tolist()) == {JAN_US + 5 * DAY_US}


def test_a_log_of_three_days_is_kept_in_three_parts(tmp_path: Path) -> None:
    """A log longer than a day is one row per 24 hours, each with its own start."""
    cycles = cycles_table(log_id_of(0), "Glaze 1", cycles=30)
    start = np.arange(30) * 8640.0
    cycles = cycles.with_columns(start_s=start, end_s=start + 6.0)
    facts = facts_of(log_id_of(0), duration_s=30 * 8640.0)
    add_record(tmp_path, record_of(station_result(cycles), facts=facts))
    table = read_rows(open_place(tmp_path)).table
    here = table.where("name", "evacuation_time_s") & table.where("kind", "measure")
    assert table.codes("part")[here].tolist() == [0, 1, 2]
    assert (table.codes("start_time")[here] - JAN_US).tolist() == [0, DAY_US, 2 * DAY_US]
    assert table.codes("n")[here].tolist() == [10, 10, 10]


def test_every_station_of_a_log_is_kept(tmp_path: Path) -> None:
    """One log of many stations is one file with rows of each."""
    add_record(tmp_path, simple_record(0, stations=("Glaze 1", "Glaze 2", "Kiln")))
    assert [s for s, _ in rows_of(tmp_path, "decay_rate_kpa_s")] == ["Glaze 1", "Glaze 2", "Kiln"]
    assert len(list((tmp_path / "summaries").rglob("*.parquet"))) == 1


def test_groups_of_parts_are_kept_apart(tmp_path: Path) -> None:
    """Where a context column tells the part type, each type's own median is kept."""
    cycles = cycles_table(log_id_of(0), "Glaze 1", parts=("plain", "ribbed"))
    rate = np.where(np.arange(12) % 2 == 0, 1.0, 5.0)
    cycles = cycles.with_columns(decay_rate_kpa_s=rate)
    add_record(tmp_path, record_of(station_result(cycles), facts=facts_of(log_id_of(0))))
    table = read_rows(open_place(tmp_path)).table
    here = table.where("name", "decay_rate_kpa_s") & table.where("kind", "group")
    found = dict(zip(np.array(table.texts("context"))[here], table.floats("value")[here], strict=True))
    assert found == {"part=plain": 1.0, "part=ribbed": 5.0}


def test_bounds_and_withheld_leaks_stay_what_they_are(tmp_path: Path) -> None:
    """A lower bound is kept as a bound and a withheld leak as a reason, never as a number."""
    bound = Bound(status="lower_bound", limit=7.0, unit="kPa/s", n=12, method="made up")
    for number, leak in enumerate((bound, Withheld("too few coasts"))):
        result = station_result(cycles_table(log_id_of(number), "Glaze 1"), leak=leak)
        add_record(tmp_path, record_of(result, facts=facts_of(log_id_of(number), JAN_US + number)))
    table = read_rows(open_place(tmp_path)).table
    here = table.where("name", "decay_rate_kpa_s")
    by_time = sorted(
        zip(table.codes("start_time")[here], table.floats("value")[here], table.floats("lower")[here],
            np.array(table.texts("text"))[here], strict=True)
    )  # fmt: skip
    assert np.isnan([v for _, v, _, _ in by_time]).all()
    assert by_time[0][2] == 7.0
    assert [t for *_, t in by_time] == ["lower_bound", "too few coasts"]


def test_limits_price_and_group_of_the_station_file_are_kept(tmp_path: Path) -> None:
    """What the trend needs of the station file goes into the history."""
    station = Station(
        station=StationFacts(supply_group="north main"),
        limits={"ultimate_vacuum_kpa": Limit(min=70.0)},
        price=Price(nozzle_flow_l_min_anr=100.0, energy_kwh_per_m3_anr=0.12, price_per_kwh=0.2),
    )
    add_record(tmp_path, simple_record(0), stations=station)
    table = read_rows(open_place(tmp_path)).table
    texts = dict(zip(table.texts("name"), table.texts("text"), strict=True))
    assert texts["supply_group"] == "north main"
    assert rows_of(tmp_path, "price_per_kwh", "fact") == [("Glaze 1", 0.2)]
    assert rows_of(tmp_path, "ultimate_vacuum_kpa", "limit") == [("Glaze 1", 70.0)]


def test_forgetting_hides_at_once_and_goes_at_compaction(tmp_path: Path) -> None:
    """A forgotten span of a station is gone for readers at once, from the files after compaction, and can come back."""
    for number in range(10):
        add_record(tmp_path, simple_record(number, stations=("Glaze 1", "Glaze 2")))
    place = open_place(tmp_path)
    write_tombstone(place, "Glaze 1", JAN_US + 3 * DAY_US, JAN_US + 6 * DAY_US)
    stations = [s for s, _ in rows_of(tmp_path, "decay_rate_kpa_s")]
    assert (stations.count("Glaze 1"), stations.count("Glaze 2")) == (7, 10)
    compact(place)
    kept = [pq.read_table(p) for p in (tmp_path / "summaries").rglob("*.parquet")]
    named = [(str(s), t.value) for k in kept for s, t in zip(k["station"], k["start_time"], strict=True)]
    assert not any(s == "Glaze 1" and JAN_US + 3 * DAY_US <= t < JAN_US + 6 * DAY_US for s, t in named)
    assert add_record(tmp_path, simple_record(4, stations=("Glaze 1", "Glaze 2")))[0].status != "known"
    stations = [s for s, _ in rows_of(tmp_path, "decay_rate_kpa_s")]
    assert (stations.count("Glaze 1"), stations.count("Glaze 2")) == (8, 10)


def test_check_finds_and_names_damage(tmp_path: Path) -> None:
    """A cut, an emptied, a scribbled file and a stray note are each named; the rest is read."""
    for number in range(12):
        add_record(tmp_path, simple_record(number))
    assert check(open_place(tmp_path)).sound
    cut, empty, scribbled = (summary_file(tmp_path, n) for n in (1, 2, 3))
    cut.write_bytes(cut.read_bytes()[:-100])
    empty.write_bytes(b"")
    scribbled.write_bytes(b"PAR1" + b"x" * 5000 + b"PAR1")
    (tmp_path / "events").mkdir()
    (tmp_path / "events" / "x.json").write_text("{}")
    found = check(open_place(tmp_path))
    assert {d.name.rsplit("/", 1)[-1] for d in found.damaged} == {cut.name, empty.name, scribbled.name, "x.json"}
    assert all(d.reason for d in found.damaged)
    assert len(rows_of(tmp_path, "decay_rate_kpa_s")) == 9
    compact(open_place(tmp_path))
    assert cut.exists()
    assert len(rows_of(tmp_path, "decay_rate_kpa_s")) == 9


def test_every_flipped_byte_is_named(tmp_path: Path) -> None:
    """Whatever single byte of a file is changed, the check names the file and no reader counts it."""
    add_record(tmp_path, simple_record(0))
    path = summary_file(tmp_path, 0)
    good = path.read_bytes()
    for at in range(0, len(good), 97):
        path.write_bytes(good[:at] + bytes([good[at] ^ 0x5A]) + good[at + 1 :])
        assert [d.name for d in check(open_place(tmp_path)).damaged] == [str(path.relative_to(tmp_path))]
        assert rows_of(tmp_path, "evacuation_time_s") == []
    path.write_bytes(good)
    assert rows_of(tmp_path, "evacuation_time_s") == [("Glaze 1", 0.2)]


def test_an_unfinished_file_is_listed_and_removed_when_old(tmp_path: Path) -> None:
    """What a killed program left beside is no log; it is listed, and removed by compaction once it is old."""
    add_record(tmp_path, simple_record(0))
    left = summary_file(tmp_path, 0).with_name("x.parquet.0.unfinished")
    left.write_bytes(b"half")
    assert check(open_place(tmp_path)).unfinished
    assert compact(open_place(tmp_path)).removed == 0
    assert compact(open_place(tmp_path), StoreOptions(stale_s=-1.0)).removed == 1
    assert not left.exists()


def test_an_older_history_opens_and_a_newer_one_is_refused(tmp_path: Path) -> None:
    """A file that lacks columns reads as missing values; one of a newer schema is refused by name."""
    add_record(tmp_path, simple_record(0))
    path = summary_file(tmp_path, 0)
    table = pq.ParquetFile(path).read()
    older = table.drop_columns(["p05", "p95", "context", "unit"]).replace_schema_metadata({SCHEMA_KEY: "0"})
    path.unlink()
    path.with_name("older.parquet").write_bytes(arrow_bytes(older))
    assert rows_of(tmp_path, "decay_rate_kpa_s") == [("Glaze 1", 1.5)]
    assert np.isnan(read_rows(open_place(tmp_path)).table.floats("p05")).all()
    path.with_name("newer.parquet").write_bytes(arrow_bytes(table.replace_schema_metadata({SCHEMA_KEY: "2"})))
    with pytest.raises(UsageError, match=r"newer tracekit \(schema 2\); expected schema 1 or less. Update tracekit"):
        read_rows(open_place(tmp_path))


def test_no_history_there_is_said(tmp_path: Path) -> None:
    """Reading a folder that does not exist is refused with one message."""
    with pytest.raises(UsageError, match="no history there"):
        read_rows(open_place(tmp_path / "nowhere"))


def test_a_place_that_cannot_be_written_is_one_message(tmp_path: Path) -> None:
    """A file in the way of the folder gives a message, not a traceback."""
    (tmp_path / "history").write_text("in the way")
    with pytest.raises(OutputError, match="cannot be written"):
        add_record(tmp_path / "history", simple_record(0))


def test_hostile_names_stay_inside_and_harmless(tmp_path: Path) -> None:
    """A station named like a path or a formula stays text; a log_id that is no hash leaves no folder."""
    log_id = "../../../escape"
    cycles = cycles_table(log_id, '=HYPERLINK("x")')
    add_record(tmp_path / "h", record_of(station_result(cycles), facts=facts_of(log_id)))
    assert [p.name for p in tmp_path.iterdir()] == ["h"]
    out = io.StringIO()
    assert export_csv(open_place(tmp_path / "h"), out) > 10
    assert "'=HYPERLINK" in out.getvalue()
    assert '"=HYPERLINK' not in out.getvalue()


def test_cycles_are_kept_with_their_date(tmp_path: Path) -> None:
    """The cycles table of each log is in the history, every row with log_id and date."""
    add_record(tmp_path, simple_record(2, start_us=None), started_us=JAN_US)
    (path,) = (tmp_path / "cycles").rglob("*.parquet")
    table = pq.read_table(path)
    assert table.num_rows == 12
    assert set(table["log_id"].to_pylist()) == {log_id_of(2)}
    assert [t.value - JAN_US for t in table["start_time"]][:3] == [0, 6_000_000, 12_000_000]


def test_adding_loads_neither_pandas_nor_scipy(tmp_path: Path) -> None:
    """Adding and reading work without pandas or scipy ever being imported."""
    import subprocess

    code = (
        "import sys; sys.path.insert(0, 'tests')\n"
        "from history.made_up_records import simple_record\n"
        "from tracekit.history.add import add_record\n"
        "from tracekit.history.read import read_rows\n"
        "from tracekit.history.place import open_place\n"
        f"add_record({str(tmp_path)!r}, simple_record(0)); read_rows(open_place({str(tmp_path)!r}))\n"
        "print('pandas' in sys.modules, 'scipy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]


class _Racing:
    """A place whose listing misses, once per folder, what another program merges at that moment."""

    def __init__(self, root: Path) -> None:
        self._place = LocalPlace(root)
        self.raced: set[str] = set()

    def __getattr__(self, name: str) -> object:
        return getattr(self._place, name)

    def names(self, folder: str) -> list[str]:
        """The first listing of each folder loses its last file to a merge that it does not see yet."""
        listed = self._place.names(folder)
        if folder.startswith("summaries/") and folder not in self.raced and listed:
            self.raced.add(folder)
            compact(self._place)
            return listed[:-1]
        return listed


def test_a_listing_torn_by_a_merge_is_done_again(tmp_path: Path) -> None:
    """A reader whose listing misses both the old files and the merged one still sees every log once."""
    for number in range(30):
        add_record(tmp_path, simple_record(number))
    racing = _Racing(tmp_path)
    table = read_rows(racing).table  # type: ignore[arg-type]
    assert len(racing.raced) > 20
    assert int((table.where("name", "decay_rate_kpa_s")).sum()) == 30


def test_notes_are_json_that_others_read(tmp_path: Path) -> None:
    """A tombstone is a small JSON file with its schema inside."""
    write_tombstone(open_place(tmp_path), None, 0, 5)
    (path,) = (tmp_path / "forgotten").glob("*.json")
    body = json.loads(path.read_text())
    assert body["schema"] == "tracekit.forgotten/1"
    assert (body["station"], body["from_us"], body["to_us"]) == (None, 0, 5)


def test_options_do_not_change_a_record_given(tmp_path: Path) -> None:
    """Adding leaves the diagnosis untouched."""
    record = simple_record(0)
    before = {n: v.copy() for n, v in record.cycles.data.items()}
    add_record(tmp_path, record, options=replace(StoreOptions(), groups_per_log=1))
    assert all(np.array_equal(v, record.cycles.data[n], equal_nan=v.dtype.kind == "f") for n, v in before.items())
