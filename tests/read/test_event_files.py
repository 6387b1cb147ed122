"""A second file of events beside the pressure: words of changes, one text for signal and level, and what cannot be."""

import datetime as dt

import numpy as np
import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.read.inspection import inspect_log
from tracekit.read.levels import FALLS, RISES, level_of_word
from tracekit.read.station_file import parse_station
from tracekit.read.words import fold

RECORDING = make_recording(cycles=8)
SIGNALS = ("Suction valve", "Blow-off valve", "Part present")


def stamp(time_s: float) -> str:
    """A stamp with milliseconds."""
    return (START + dt.timedelta(seconds=float(time_s))).strftime("%Y-%m-%d %H:%M:%S.%f")[:-3]


def changes() -> list[tuple[float, str, int]]:
    """Time, signal and new level of every change, in the order of time."""
    found = []
    for bit, signal in enumerate(SIGNALS):
        level = (RECORDING.digital >> bit & 1).astype(int)
        found += [(RECORDING.time_s[k], signal, int(level[k])) for k in np.flatnonzero(np.diff(level)) + 1]
    return sorted(found)


def put(folder, head: str, rows: list[str]):
    """The file of the pressure and a file of events."""
    pressure, events = folder / "p.csv", folder / "e.csv"
    samples = zip(RECORDING.time_s, RECORDING.pressure_kpa, strict=True)
    pressure.write_text("Time;Pressure (kPa)\n" + "".join(f"{stamp(t)};{p:.2f}\n" for t, p in samples))
    events.write_text(head + "\n" + "\n".join(rows) + "\n")
    return [pressure, events]


ROWS = {
    "edges": ("Time;Signal;Edge", lambda t, s, v: f"{stamp(t)};{s};{['falling', 'rising'][v]}"),
    "directions": ("Time;Signal;Change", lambda t, s, v: f"{stamp(t)};{s};{['1->0', '0->1'][v]}"),
    "old and new": ("Time;Signal;Old;New;User", lambda t, s, v: f"{stamp(t)};{s};{1 - v};{v};SYSTEM"),
    "a priority beside": ("Time;Prio;Source;Event;State", lambda t, s, v: f"{stamp(t)};500;PLC;{s};{['OFF', 'ON'][v]}"),
    "sentences": ("Time;Message", lambda t, s, v: f"{stamp(t)};{s} switched {['off', 'on'][v]}"),
    "signal and level": ("Time;Message", lambda t, s, v: f"{stamp(t)};{s}: {v}"),
    "signal = level": ("Time;Text", lambda t, s, v: f"{stamp(t)};{s} = {['FALSE', 'TRUE'][v]}"),
}

WORDS = (
    "went came", "G K", "RESET SET", "cleared raised", "gegangen gekommen", "geht kommt", "disparue apparue",
    "bajado subido", "scomparso comparso", "desapareceu apareceu", "opgeheven gekomen", "gick kom", "ustąpił wystąpił",
    "zánik vznik", "gitti geldi", "ушло пришло", "復帰 発生", "复位 触发", "해제 발생", "end begin", "stop start",
)  # fmt: skip


@pytest.mark.parametrize("words", WORDS)
@pytest.mark.parametrize("form", ["{t};{s};{w}", "{t};{w};{s}", "{t};{s} {w}"], ids=["behind", "before", "one text"])
def test_what_comes_and_goes_in_many_languages(tmp_path, words, form):
    """Words of coming and going are levels in a column of their own, and behind the name of a signal."""
    both = words.split()
    head = "Time;Message" if form.count(";") == 1 else "Time;A;B"
    found = read(put(tmp_path, head, [form.format(t=stamp(t), s=s, w=both[v]) for t, s, v in changes()]))
    assert np.array_equal(found.digital, RECORDING.digital)


def test_no_word_comes_and_goes():
    """No word of a change stands for both levels, nor against what it means elsewhere."""
    rises, falls = ({fold(w) for w in words} for words in (RISES, FALLS))
    assert not rises & falls
    assert all(level_of_word(w) in (None, 1) for w in RISES)
    assert all(level_of_word(w) in (None, 0) for w in FALLS)


@pytest.mark.parametrize("name", ROWS)
def test_words_of_changes_are_levels(tmp_path, name):
    """Every change of every signal stands where the list of events says."""
    head, row = ROWS[name]
    found = read(put(tmp_path, head, [row(*change) for change in changes()]))
    assert np.array_equal(found.digital, RECORDING.digital)


def test_events_of_another_stretch_of_time_are_refused_with_both(tmp_path):
    """Clocks that stand an hour apart are told, since nothing of the events lies under the pressure."""
    head, row = ROWS["edges"]
    with pytest.raises(LogReadError, match=r'begin 360\d.* behind the pressure in "p\.csv".*they share no time'):
        read(put(tmp_path, head, [row(t + 3600.0, s, v) for t, s, v in changes()]))


def test_words_that_are_no_levels_are_shown(tmp_path):
    """A list whose words mean nothing here is no file without a pressure: its words are shown."""
    rows = [f"{stamp(t)};{s};{['gamma', 'delta'][v]}" for t, s, v in changes()]
    with pytest.raises(LogReadError, match=r'neither a pressure nor signals.*beside "p\.csv".*"delta", "gamma"'):
        read(put(tmp_path, "Time;Signal;Event", rows))


@pytest.mark.parametrize("name", ["edges", "sentences"])
def test_the_level_before_a_first_change_is_the_other_one(tmp_path, name):
    """A log that begins in the middle of a hold: what its first event ends was on before."""
    head, row = ROWS[name]
    start = int(np.flatnonzero(np.diff(RECORDING.digital & 4) > 0)[0]) + 3
    kept = [change for change in changes() if change[0] > RECORDING.time_s[start]]
    paths = put(tmp_path, head, [row(*change) for change in kept])
    lines = paths[0].read_text().splitlines(keepends=True)
    paths[0].write_text("".join([lines[0], *lines[1 + start :]]))
    assert RECORDING.digital[start] & 4
    assert np.array_equal(read(paths).digital, RECORDING.digital[start:])


def test_levels_that_are_listed_at_one_time_are_no_changes(tmp_path):
    """A list that begins with the state of all signals, after the first samples, tells nothing of what was before."""
    head, row = ROWS["sentences"]
    first = [row(RECORDING.time_s[4], s, int(RECORDING.digital[0] >> bit & 1)) for bit, s in enumerate(SIGNALS)]
    found = read(put(tmp_path, head, first + [row(*change) for change in changes()]))
    assert np.array_equal(found.digital, RECORDING.digital)


@pytest.mark.parametrize("name", ["edges", "sentences"])
def test_the_station_file_that_is_written_for_events_reads_back(tmp_path, name):
    """Signals that a second file lists are known to both files, by whatever text names them."""
    head, row = ROWS[name]
    paths = put(tmp_path, head, [row(*change) for change in changes()])
    (inspected,) = inspect_log(paths)
    found = read(paths, parse_station(inspected.station_file, "station.toml"))
    assert np.array_equal(found.digital, RECORDING.digital)
    assert np.allclose(found.pressure_kpa, RECORDING.pressure_kpa, atol=0.0051)


def test_the_station_file_of_stations_side_by_side_names_none_of_them(tmp_path):
    """A line for one of them would leave the other out; what each has stands in a remark."""
    path = tmp_path / "two.csv"
    cells = zip(RECORDING.time_s, RECORDING.pressure_kpa, RECORDING.digital.astype(int), strict=True)
    rows = [f"{t:.3f};{p:.2f};{d & 1};{p + 0.5:.2f};{d & 1}" for t, p, d in cells]
    path.write_text(
        "\n".join(["Time (s);North pressure (kPa);North suction;South pressure (kPa);South suction", *rows])
    )
    (inspected,) = inspect_log(path)
    told = parse_station(inspected.station_file, "station.toml")
    assert set(told.channels) == {"time"}
    assert "2 stations side by side" in inspected.station_file
    assert read(path, told).layout.stations == read(path).layout.stations == ("North", "South")
