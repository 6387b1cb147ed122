"""Numbers, stamps and signals in writings that look like something else: each is read as what it is."""

import datetime as dt

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError, StationFileError
from tracekit.read.deciding import UndecidedLogError
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=30)
LEVELS = [(RECORDING.digital >> b & 1).astype(int) for b in range(3)]
NAMES = "suction valve,blow-off valve,part present"
FIRST_S = START.replace(tzinfo=dt.UTC).timestamp()
IN_UTC = parse_station('[station]\ntimezone = "UTC"\n', "s.toml")
EDGES = [np.flatnonzero(np.diff(level)) + 1 for level in LEVELS]


def put(folder, head: str, columns: list) -> str:
    """A file of some columns of text or numbers below their names."""
    rows = zip(*columns, strict=True)
    (folder / "log.csv").write_text(head + "\n" + "".join(",".join(map(str, row)) + "\n" for row in rows))
    return folder / "log.csv"


def stamps(form: str, cut: int = 3) -> list[str]:
    """Stamps of the recording with so many figures of a second."""
    times = [START + dt.timedelta(seconds=float(t)) for t in RECORDING.time_s]
    return [t.strftime(form)[: -6 + cut] for t in times]


def test_bits_as_text_are_a_word(tmp_path):
    """Eight figures of base 2 are eight levels, though two of the words fill nearly all rows."""
    word = sum(level << (7 - bit) for bit, level in enumerate(LEVELS))
    head = "time_s,pressure kPa,DIN"
    found = read(put(tmp_path, head, [RECORDING.time_s, RECORDING.pressure_kpa, [f"{w:08b}" for w in word]]))
    assert "DIN" in found.layout.columns["part_present"]
    assert {d.value for d in found.layout.assumptions if d.what in ("supply", "release")} == {"DIN.7", "DIN.6"}
    assert np.array_equal(found.digital, RECORDING.digital)


@pytest.mark.parametrize("between", [1, 3])
def test_signals_with_lines_drawn_to_their_edges(tmp_path, between):
    """An exporter that draws lines between its points leaves values between the levels at every edge."""
    kernel = np.ones(between + 1) / (between + 1)
    drawn = [np.convolve(np.pad(v, (between, 0), "edge"), kernel, "valid").round(3) for v in LEVELS]
    assert all(float(((v > 0) & (v < 1)).mean()) > 0.003 for v in drawn)
    path = put(tmp_path, f"time_s,pressure kPa,{NAMES}", [RECORDING.time_s, RECORDING.pressure_kpa, *drawn])
    found = read(path)
    for bit, level in enumerate(LEVELS):
        late = np.abs(np.flatnonzero(np.diff((found.digital >> bit & 1).astype(int))) + 1 - EDGES[bit])
        assert late.max() <= between, level
    assert {a.value for a in found.layout.assumptions if a.what == "supply"} == {"suction valve, 1 above 0.5"}


def test_a_valve_without_levels_is_named_as_left_aside(tmp_path):
    """A column that is named like a valve and holds no two levels does not go unseen."""
    opening = (50 + 49 * np.sin(np.arange(len(RECORDING.time_s)) / 40)).round(2)
    columns = [RECORDING.time_s, RECORDING.pressure_kpa, opening, *LEVELS[1:]]
    found = read(put(tmp_path, f"time_s,pressure kPa,{NAMES}", columns))
    assert [a.value for a in found.layout.assumptions if a.what == "left aside"] == ['"suction valve"']


@pytest.mark.parametrize("sign", ["-", ""])
@pytest.mark.parametrize("form", ["%Y-%m-%d %H:%M:%S.%f", "%d.%m.%Y %H:%M:%S.%f"])
def test_decimal_commas_beside_stamps_with_points(tmp_path, form, sign):
    """The point of a stamp says nothing of the numbers: five names above six parts show the decimal comma."""
    kpa = [f"{(1 if sign else -1) * p:.2f}".replace(".", ",") for p in RECORDING.pressure_kpa]
    name = "pressure kPa" if sign else "vacuum kPa"
    found = read(put(tmp_path, f"time,{name},{NAMES}", [stamps(form), kpa, *LEVELS]))
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max() < 0.006
    assert np.array_equal(found.digital, RECORDING.digital)


@pytest.mark.parametrize("form", ["%y%m%d%H%M%S.%f", "%y%m%d%H%M%S%f"])
def test_dates_with_two_figures_of_the_year_in_a_number(tmp_path, form):
    """Over a full minute time goes on by a hundredth of a second, and the date is that of the first row."""
    found = read(
        put(tmp_path, f"timestamp,pressure kPa,{NAMES}", [stamps(form), RECORDING.pressure_kpa, *LEVELS]), IN_UTC
    )
    assert np.ptp(RECORDING.time_s) > 60
    assert np.abs(found.time_s - found.time_s[0] - RECORDING.time_s + RECORDING.time_s[0]).max() < 1.1e-3
    assert abs(found.facts.start_time_us / 1e6 - FIRST_S) < 1.0


def test_a_count_is_no_date(tmp_path):
    """A count of microseconds with as many figures runs through the seconds from 60 to 99."""
    count = 260318134712005 + np.rint(RECORDING.time_s * 1e6).astype(np.int64)
    head = f"timestamp [us],pressure kPa,{NAMES}"
    found = read(put(tmp_path, head, [count, RECORDING.pressure_kpa, *LEVELS]))
    assert np.abs(found.time_s - found.time_s[0] - RECORDING.time_s + RECORDING.time_s[0]).max() < 1e-4


def test_six_columns_from_the_year_to_the_second(tmp_path):
    """A pause of four minutes shows in the minutes; seconds may have a fraction."""
    later = np.where(np.arange(len(RECORDING.time_s)) < 1000, 0.0, 240.0)
    times = [START + dt.timedelta(seconds=float(t + p)) for t, p in zip(RECORDING.time_s, later, strict=True)]
    parts = [[t.strftime(f"%{letter}") for t in times] for letter in "YmdHM"]
    seconds = [t.strftime("%S.%f")[:-3] for t in times]
    head = f"Year,Month,Day,Hour,Minute,Second,pressure kPa,{NAMES}"
    found = read(put(tmp_path, head, [*parts, seconds, RECORDING.pressure_kpa, *LEVELS]), IN_UTC)
    assert np.diff(found.time_s).max() == pytest.approx(240.0 + np.diff(RECORDING.time_s)[999], abs=0.01)
    assert abs(found.facts.start_time_us / 1e6 - FIRST_S) < 1.0


def test_events_with_arrows(tmp_path):
    """A second file of lines with a time, a name of one word or two, an arrow and a level."""
    names = ("Vacuum valve", "Blow-off", "Part present")
    written = stamps("%Y-%m-%d %H:%M:%S.%f")
    put(tmp_path, "time,pressure kPa", [written, RECORDING.pressure_kpa]).rename(tmp_path / "p.csv")
    rows = sorted((k, name, level[k]) for name, level, own in zip(names, LEVELS, EDGES, strict=True) for k in own)
    text = "".join(f"{written[k]} {name} -> {'ON' if on else 'OFF'}\n" for k, name, on in rows)
    (tmp_path / "e.txt").write_text(text)
    found = read([tmp_path / "p.csv", tmp_path / "e.txt"])
    assert float((found.digital != RECORDING.digital).mean()) < 0.001


def test_many_rejected_rows_are_told(tmp_path):
    """Where the delimiter changes half way, what is left out stands among the warnings, with where it begins."""
    path = put(tmp_path, f"time_s,pressure kPa,{NAMES}", [RECORDING.time_s, RECORDING.pressure_kpa, *LEVELS])
    lines = path.read_text().splitlines()
    half = len(lines) // 2
    path.write_text("\n".join(lines[:half] + [line.replace(",", ";") for line in lines[half:]]))
    (told,) = [w for w in read(path).facts.warnings if "could not be read" in w]
    assert told.startswith(f"{len(lines) - half} of {len(lines) - 1} rows (50%)")
    assert f"lines {half + 1}, " in told
    path.write_text("\n".join([*lines[:half], "1;2", *lines[half:]]))
    assert not any("could not be read" in w for w in read(path).facts.warnings)


def test_lists_of_samples_are_no_channels(tmp_path):
    """A row with a block of samples is as many rows; lists of as many heads that go on in time are stations as before."""
    size, rows = 20, len(RECORDING.time_s) // 20
    blocks = RECORDING.pressure_kpa[: size * rows].reshape(rows, size)
    table = pa.table({"time_s": RECORDING.time_s[: size * rows : size], "pressure_kpa": list(blocks)})
    pq.write_table(table, tmp_path / "blocks.parquet")
    found = read(tmp_path / "blocks.parquet")
    np.testing.assert_allclose(found.pressure_kpa, RECORDING.pressure_kpa[: size * rows])
    heads = RECORDING.pressure_kpa[:, None] * np.linspace(0.9, 1.0, 6)
    pq.write_table(pa.table({"time_s": RECORDING.time_s, "pressure_kpa": list(heads)}), tmp_path / "heads.parquet")
    assert len(read(tmp_path / "heads.parquet").layout.stations) == 6


@pytest.mark.parametrize("mark", ["^", "~"])
def test_delimiters_that_are_seldom_met(tmp_path, mark):
    """A sign that stands equally often in every line parts the columns, also where numbers have decimal commas."""
    kpa = [f"{p:.2f}".replace(".", ",") for p in RECORDING.pressure_kpa]
    path = put(
        tmp_path,
        "a,b,c,d,e",
        [[mark.join(map(str, row)) for row in zip(stamps("%H:%M:%S.%f"), kpa, *LEVELS, strict=True)]],
    )
    path.write_text(path.read_text().replace("a,b,c,d,e", f"time,pressure kPa,{NAMES}".replace(",", mark), 1))
    found = read(path)
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max() < 0.006
    assert np.array_equal(found.digital, RECORDING.digital)


def test_single_quotes_and_sums(tmp_path):
    """Every cell in single quotes, or a sum for checking behind every line, hides nothing."""
    columns = [RECORDING.time_s, RECORDING.pressure_kpa, *LEVELS]
    path = put(tmp_path, f"time_s,pressure kPa,{NAMES}", columns)
    lines = path.read_text().splitlines()
    path.write_text("\n".join("'" + line.replace(",", "','") + "'" for line in lines))
    assert np.array_equal(read(path).digital, RECORDING.digital)
    path.write_text("\n".join([lines[0], *(f"{line}*{k % 256:02X}" for k, line in enumerate(lines[1:]))]))
    assert np.array_equal(read(path).digital, RECORDING.digital)


def test_channels_by_number_without_names_are_refused(tmp_path):
    """Levels under some numbers and readings under another are no one column of pressure."""
    rows = []
    for place, values in enumerate([RECORDING.pressure_kpa, *LEVELS]):
        kept = range(len(values)) if place == 0 else np.flatnonzero(np.diff(values, prepend=-1))
        rows += [(k, place + 11, f"{values[k]:.2f}" if place == 0 else int(values[k])) for k in kept]
    written = stamps("%Y-%m-%d %H:%M:%S.%f")
    path = put(tmp_path, "ts,nr,val", zip(*[(written[k], nr, value) for k, nr, value in sorted(rows)], strict=True))
    with pytest.raises(LogReadError, match='numbers in "nr" name: levels under 12, 13, 14, readings under 11'):
        read(path)


@pytest.mark.parametrize(
    ("name", "factor", "offered"),
    [
        ("pressure bar", 1.0, 'unit = "kPa", sense = "gauge"'),
        ("pressure Pa", 1.0, 'unit = "kPa", sense = "gauge"'),
        ("pressure", -7.5, 'unit = "mbar", sense = "vacuum"; or unit = "mmHg", sense = "vacuum"'),
    ],
)
def test_a_unit_that_is_doubted_is_not_filled_in(tmp_path, name, factor, offered):
    """The line offers units that fit and chooses none: pasted as it is, it is refused."""
    columns = [RECORDING.time_s, (RECORDING.pressure_kpa * factor).round(2), *LEVELS]
    with pytest.raises(UndecidedLogError, match="unit") as asked:
        read(put(tmp_path, f"time_s,{name},{NAMES}", columns))
    (question,) = asked.value.questions
    assert offered in question.line.partition("#")[2]
    with pytest.raises(StationFileError, match=r'unit is the text "\.\.\."'):
        parse_station(f"[channels]\n{question.line}\n", "s.toml")


@pytest.mark.parametrize("late_s", [1.4, -1.4])
def test_two_clocks_that_are_far_apart_are_refused(tmp_path, late_s):
    """Digitals of a second file whose clock is off by half a cycle: the answers of the pressure tell."""
    put(tmp_path, "time,pressure kPa", [stamps("%H:%M:%S.%f"), RECORDING.pressure_kpa]).rename(tmp_path / "p.csv")
    shifted = [START + dt.timedelta(seconds=float(t + late_s)) for t in RECORDING.time_s]
    own = [t.strftime("%H:%M:%S.%f")[:-3] for t in shifted]
    put(tmp_path, f"time,{NAMES}", [own, *LEVELS]).rename(tmp_path / "d.csv")
    with pytest.raises(LogReadError, match="whole cycles more or less: two clocks differ"):
        read([tmp_path / "p.csv", tmp_path / "d.csv"])
    columns = [stamps("%H:%M:%S.%f"), *LEVELS]
    put(tmp_path, f"time,{NAMES}", columns).rename(tmp_path / "d.csv")
    assert not any("clocks" in w for w in read([tmp_path / "p.csv", tmp_path / "d.csv"]).facts.warnings)


def span(time_s: float) -> str:
    """A time that has passed as a controller writes it."""
    ms = round(time_s * 1000)
    return f"T#{ms // 60000}m{ms // 1000 % 60}s{ms % 1000}ms"


@pytest.mark.parametrize("form", ["%m/%d/%y %I:%M:%S %p.%f", "%d%b%Y %H:%M:%S.%f", "span"])
def test_stamps_of_unusual_form(tmp_path, form):
    """A fraction behind PM, a month between figures without signs, and times that have passed with letters."""
    times = list(map(span, RECORDING.time_s)) if form == "span" else [s.upper() for s in stamps(form)]
    found = read(put(tmp_path, f"time,pressure kPa,{NAMES}", [times, RECORDING.pressure_kpa, *LEVELS]))
    assert np.abs(found.time_s - found.time_s[0] - RECORDING.time_s + RECORDING.time_s[0]).max() < 1.1e-3


def test_the_word_before_a_stations_number_is_its_name(tmp_path):
    """Columns of stations that are called nests; "pressure 1" is station 1."""
    both = [RECORDING.pressure_kpa, 0.9 * RECORDING.pressure_kpa]
    path = put(tmp_path, "time_s,Nest 1 pressure kPa,Nest 2 pressure kPa", [RECORDING.time_s, *both])
    assert read(path).layout.stations == ("Nest 1", "Nest 2")
    path = put(tmp_path, "time_s,pressure 1 kPa,pressure 2 kPa", [RECORDING.time_s, *both])
    assert read(path).layout.stations == ("1", "2")


def test_the_time_that_is_left_is_not_taken_for_newest_first(tmp_path):
    """Numbers that fall while the pressure answers the valves in the order of the rows; rows turned round are read."""
    left = (100 - RECORDING.time_s).round(3)
    path = put(tmp_path, f"time_s,pressure kPa,{NAMES}", [left, RECORDING.pressure_kpa, *LEVELS])
    with pytest.raises(LogReadError, match="Is it the time that is left") as refused:
        read(path)
    line = str(refused.value).splitlines()[-1]
    found = read(path, parse_station(f"[channels]\n{line}\n", "s.toml"))
    assert np.array_equal(found.digital, RECORDING.digital)
    columns = [v[::-1] for v in (RECORDING.time_s, RECORDING.pressure_kpa, *LEVELS)]
    assert np.array_equal(read(put(tmp_path, f"time_s,pressure kPa,{NAMES}", columns)).digital, RECORDING.digital)
