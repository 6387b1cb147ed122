"""Several files of one recording, and several station files of one log, from one known recording."""

import gzip
import hashlib
import itertools

import numpy as np
import pytest

from tests.read.dialects import Dialect, make_recording, write
from tests.read.reading import read
from tracekit.errors import LogReadError, UsageError
from tracekit.model.station import Channel, Station, StationFacts
from tracekit.options.read import ReadOptions
from tracekit.read import opening, overlap
from tracekit.read.opening import group_logs, open_log
from tracekit.read.source import find_inputs
from tracekit.read.station_file import match_stations, parse_station

RECORDING = make_recording(cycles=8)
OTHER = make_recording(cycles=8, seed=4)


def lines_of(recording=RECORDING, **changes) -> tuple[str, list[str]]:
    """Header and rows of a recording."""
    head, *rows = write(recording, Dialect(**changes)).decode().splitlines()
    return head, rows


def put(path, head: str, rows: list[str]):
    """A header and rows in a file."""
    path.write_text("\n".join([head, *rows]) + "\n")
    return path


def same(found) -> bool:
    """True where a reading equals the recording."""
    return (
        len(found.time_s) == len(RECORDING.time_s)
        and np.abs(found.time_s - RECORDING.time_s).max() < 1e-4
        and np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
        and np.array_equal(found.digital, RECORDING.digital)
    )


@pytest.mark.parametrize("time", ["s", "ms", "iso", "epoch_ms", "dayfirst", "serial"])
@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1), (1, 2, 0)])
def test_three_files_in_any_order_are_one_recording(tmp_path, time, order):
    """Files that continue one another are the recording whatever their names, the order given, and their overlap."""
    head, rows = lines_of(time=time)
    cuts = [rows[:700], rows[650:1400], rows[1400:]]
    paths = [put(tmp_path / f"{'zay'[k]}.csv", head, cuts[k]) for k in order]
    found = read(paths)
    assert same(found)
    assert found.facts.rows_rejected == 50
    assert [r.reason for r in found.facts.rejections] == ["overlaps the file before (a.csv)"]
    ids = sorted(hashlib.sha256(p.read_bytes()).hexdigest() for p in paths)
    assert found.facts.log_id == hashlib.sha256("\n".join(ids).encode()).hexdigest()
    assert [g.paths for g in group_logs([str(p) for p in paths])] == [tuple(str(tmp_path / f"{n}.csv") for n in "zay")]


@pytest.mark.parametrize("packed", [False, True])
def test_rounded_stamps_go_on_within_a_second(tmp_path, packed):
    """A file that goes on within the last rounded stamp of the one before loses no row."""
    head, rows = lines_of(time="rounded")
    for name, part in (("a", rows[:1050]), ("b", rows[1050:])):
        text = "\n".join([head, *part]) + "\n"
        (tmp_path / f"{name}.csv").write_bytes(gzip.compress(text.encode()) if packed else text.encode())
    found = read(tmp_path)
    assert found.facts.rows_used == len(rows)
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert np.abs(found.time_s - RECORDING.time_s).max() < 0.016


@pytest.mark.parametrize("time", ["s", "iso", "rounded"])
def test_other_samples_at_the_same_time_are_another_recording(tmp_path, time):
    """Files with the same columns and times, but other samples, are separate: two stations, or two days."""
    put(tmp_path / "a.csv", *lines_of(time=time))
    put(tmp_path / "b.csv", *lines_of(OTHER, time=time))
    head, rows = lines_of(OTHER, time=time)
    put(tmp_path / "c.csv", head, rows[500:])
    groups = group_logs([str(tmp_path)])
    joined = [(str(tmp_path / "a.csv"),), (str(tmp_path / "b.csv"), str(tmp_path / "c.csv"))]
    assert [g.paths for g in groups] == joined
    with pytest.raises(LogReadError, match="2 recordings that do not continue"):
        open_log(tmp_path)


def test_a_copy_is_counted_once(tmp_path):
    """A second copy of a file gives no sample twice, and a file that is named twice is read once."""
    paths = [put(tmp_path / f"{n}.csv", *lines_of()) for n in "ab"]
    found = read(paths)
    assert same(found)
    assert found.facts.rows_rejected == len(RECORDING.time_s)
    assert len(find_inputs([paths[0], tmp_path / ".." / tmp_path.name / "a.csv", tmp_path])) == 2


def test_a_long_pause_parts_recordings(tmp_path):
    """A file that starts an hour after the other ends is a recording of its own."""
    head, rows = lines_of(time="epoch_s")
    put(tmp_path / "a.csv", head, rows)
    later = [f"{float(r.partition(',')[0]) + 3600:.3f},{r.partition(',')[2]}" for r in rows]
    put(tmp_path / "b.csv", head, later)
    assert len(group_logs([str(tmp_path)])) == 2


def test_a_counter_that_starts_again_tells_no_order(tmp_path):
    """Files of a counter that wraps are not put together by its values."""
    head, rows = lines_of(time="wrap16")
    put(tmp_path / "a.csv", head, rows[:1100])
    put(tmp_path / "b.csv", head, rows[1100:])
    assert len(group_logs([str(tmp_path)])) == 2


def test_bad_files_do_not_touch_good_ones(tmp_path):
    """A bad file among several is a group with its error; the others are grouped as without it."""
    head, rows = lines_of()
    paths = [put(tmp_path / "a.csv", head, rows[:900]), tmp_path / "b.csv", put(tmp_path / "c.csv", head, rows[900:])]
    paths[1].write_text("nothing here\n")
    first, second = group_logs([str(p) for p in paths])
    assert first.paths == (str(paths[0]), str(paths[2]))
    assert second.paths == (str(paths[1]),)
    assert "b.csv" in str(second.error)


def test_a_piece_that_tells_nothing_is_read_like_its_neighbour(tmp_path):
    """A file without a cycle whose channels have no names is read as the file before it was."""
    head, rows = lines_of(names="nothing", unit="kPa")
    put(tmp_path / "a.csv", head, rows[:2000])
    quiet = next(k for k in range(2000, len(rows)) if not RECORDING.digital[k : k + 40].any())
    put(tmp_path / "b.csv", head, rows[2000 : quiet + 40])
    put(tmp_path / "c.csv", head, rows[quiet + 40 :])
    found = read(tmp_path)
    assert same(found)


def test_stations_of_a_later_file_keep_their_samples(tmp_path):
    """Stations that stand in another order in a later file, or appear there first, get their own samples."""
    head, rows = lines_of(time="iso")
    _, others = lines_of(OTHER, time="iso")
    n = min(len(rows), len(others))
    cut = n // 2
    first = [f"{s},{r}" for a, b in zip(rows[:cut], others[:cut], strict=True) for s, r in (("A", a), ("B", b))]
    second = [f"{s},{r}" for a, b in zip(rows[cut:n], others[cut:n], strict=True) for s, r in (("B", b), ("A", a))]
    put(tmp_path / "1.csv", f"Station,{head}", first)
    put(tmp_path / "2.csv", f"Station,{head}", [*second, f"C,{rows[n - 1]}"])
    found = read(tmp_path)
    assert found.layout.stations == ("A", "B", "C")
    for k, recording in enumerate((RECORDING, OTHER)):
        assert np.array_equal(found.pressure_kpa[found.station == k], recording.pressure_kpa[:n])
    assert (found.station == 2).sum() == 1


def side_files() -> tuple[Station, Station]:
    """Two station files that name the columns of their own station."""
    texts = [
        f'[station]\nname = "{n}"\n[channels]\npressure = {{ column = "P{k} [kPa]" }}\nsupply = {{ column = "S{k}" }}\n'
        f'release = {{ column = "R{k}" }}\npart_present = {{ column = "D{k}" }}\n'
        for k, n in ((1, "left"), (2, "right"))
    ]
    return parse_station(texts[0], "a.toml"), parse_station(texts[1], "b.toml")


def test_station_files_that_name_their_columns(tmp_path):
    """Two station files that name different columns of one log give two stations, each with its own samples."""
    n = min(len(RECORDING.time_s), len(OTHER.time_s))
    rows = [
        ",".join([f"{t:.2f}", *(x for p, d in both for x in (str(p), *(str(d >> b & 1) for b in range(3))))])
        for t, both in zip(
            RECORDING.time_s,
            zip(zip(RECORDING.pressure_kpa, RECORDING.digital, strict=True),
                zip(OTHER.pressure_kpa[:n], OTHER.digital[:n], strict=True), strict=False),
            strict=False,
        )
    ]  # fmt: skip
    head = ",".join(
        ["Time [s]", *(f"{c}{k}{u}" for k in (1, 2) for c, u in (("P", " [kPa]"), ("S", ""), ("R", ""), ("D", "")))]
    )
    found = read(put(tmp_path / "log.csv", head, rows), side_files())
    assert found.layout.stations == ("left", "right")
    for k, recording in enumerate((RECORDING, OTHER)):
        assert np.array_equal(found.pressure_kpa[found.station == k], recording.pressure_kpa[:n])
        assert np.array_equal(found.digital[found.station == k], recording.digital[:n])


def test_a_station_file_by_the_name_of_the_log(tmp_path):
    """Of several station files that name one column, the one whose name the log's begins with is taken."""
    head, rows = lines_of(names="nothing", sense="vacuum", unit="bar")
    path = put(tmp_path / "loader-2_monday.csv", head.replace(" [bar]", ""), rows)
    files = [
        Station(station=StationFacts(name=n), channels={"pressure": Channel(column="AI1", unit=u, sense="vacuum")})
        for n, u in (("Loader 1", "kPa"), ("Loader 2", "bar"), ("Loader 22", "kPa"))
    ]
    found = read(path, files)
    assert found.layout.stations == ("Loader 2",)
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max() < 0.002
    assert match_stations(files, found.layout.stations) == {"Loader 2": files[1]}


def test_station_files_of_which_none_belongs_are_refused():
    """Several station files none of which bears the name of a station are refused with both names."""
    files = [Station(station=StationFacts(name=n)) for n in ("A", "B")]
    with pytest.raises(UsageError, match='found "A", "B"; expected the name of a station in the log: "log"'):
        match_stations(files, ["log"])


def test_a_single_file_without_a_name_belongs_to_all_stations():
    """One station file that has no name holds for every station of a log."""
    only = Station(station=StationFacts(volume_ml=60.0))
    assert match_stations([only], ["A", "B"]) == {"A": only, "B": only}


def test_levels_that_contradict_each_other_are_refused(tmp_path):
    """Station files of one log that give different on levels are refused: a log has one wiring."""
    files = [
        Station(station=StationFacts(name=n), channels={"supply": Channel(column="DI0", on_level=k)})
        for k, n in enumerate(("A", "B"))
    ]
    path = put(tmp_path / "log.csv", *lines_of(names="nothing"))
    with pytest.raises(LogReadError, match="give different on_level for supply"):
        read(path, files)


@pytest.mark.parametrize("words", [True, False])
@pytest.mark.parametrize("time", ["s", "iso"])
@pytest.mark.parametrize("block_bytes", [1500, 1 << 20])
def test_a_list_of_events_in_a_second_file(tmp_path, words, time, block_bytes):
    """A second file with a row per change of a digital lies under the samples of the first."""
    head, rows = lines_of(time=time)
    cells = [row.split(",") for row in rows]
    put(tmp_path / "analogue.csv", ",".join(head.split(",")[:2]), [",".join(c[:2]) for c in cells])
    names, last, listed = ("Suction", "BlowOff", "PartPresent", "Door"), ["", "", ""], []
    for n, row in enumerate(cells):
        for k in range(3):
            if row[2 + k] != last[k]:
                last[k] = row[2 + k]
                listed.append(f"{row[0]};{names[k]};{('off', 'on')[int(last[k])] if words else last[k]}")
        if n % 500 == 0:
            listed.append(f"{row[0]};Door;{'on' if words else 1}")
    put(tmp_path / "events.csv", f"{head.split(',')[0]};Signal;State", listed)
    found = read(tmp_path, options=ReadOptions(block_bytes=block_bytes))
    assert same(found)
    assert found.facts.rows_read == len(rows) + len(listed)
    assert "listed in a second file" in [a.evidence for a in found.layout.assumptions]


def test_digitals_beside_files_that_continue(tmp_path):
    """Digitals in a second file lie under all files of the recording, wherever these are cut."""
    head, rows = lines_of(time="iso")
    cells = [row.split(",") for row in rows]
    names = head.split(",")
    for k, part in enumerate((cells[:800], cells[800:])):
        put(tmp_path / f"p{k}.csv", ",".join(names[:2]), [",".join(c[:2]) for c in part])
    changes = [b for a, b in itertools.pairwise([[""] * 5, *cells]) if a[2:] != b[2:]]
    put(tmp_path / "levels.csv", ",".join([names[0], *names[2:]]), [",".join([c[0], *c[2:]]) for c in changes])
    found = read(tmp_path)
    assert same(found)
    assert len(group_logs([str(tmp_path)])) == 1


def test_many_files_are_each_read_once(tmp_path, monkeypatch):
    """Placing many logs of one time reads each of them once, and keeps no rows of any."""
    head, rows = lines_of()
    read_ = []
    held = []
    first, join = overlap._samples, opening.recordings

    def counted(part, *stretch):
        read_.append(part.opened.source.name)
        return first(part, *stretch)

    def kept(*given, **named):
        found = join(*given, **named)
        held.extend(c for r in found[0] for p in r.parts for c in (*p.opened.head.columns, *p.plan.columns.values()))
        return found

    monkeypatch.setattr(overlap, "_samples", counted)
    monkeypatch.setattr(opening, "recordings", kept)
    stamps, values = zip(*(row.split(",", 1) for row in rows), strict=True)
    for k in range(12):
        put(tmp_path / f"{k:02d}.csv", head, [",".join(pair) for pair in zip(stamps, values[k:], strict=False)])
    assert len(group_logs([str(tmp_path)])) == 12
    assert sorted(read_) == [f"{k:02d}.csv" for k in range(12)]
    assert held
    assert {len(column.array) for column in held} == {0}
