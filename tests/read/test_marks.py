"""Marks about cells, numbered channels and rarer clocks: read like the recording without a question."""

import datetime as dt

import numpy as np
import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions
from tracekit.read.cells import cell_kind
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=8)
KPA, LEVELS = RECORDING.pressure_kpa, [RECORDING.digital >> bit & 1 for bit in range(3)]
AT = [START + dt.timedelta(seconds=float(t)) for t in RECORDING.time_s]
HEAD = "Time [s];Pressure [kPa];Suction;Blow-off;Part present"


def rows(times, values=KPA, mark: str = ";") -> list[str]:
    """Rows of times and readings with the levels."""
    return [mark.join(map(str, row)) for row in zip(times, values, *LEVELS, strict=True)]


def iso(pattern: str = "%Y-%m-%dT%H:%M:%S") -> list[str]:
    """Stamps with milliseconds."""
    return [f"{a:{pattern}}.{a.microsecond // 1000:03d}" for a in AT]


def brackets() -> list[str]:
    """Numbers below zero in round brackets."""
    cells = [f"({-k})" if k < 0 else f"{k}" for k in KPA]
    return [HEAD, *rows([f"{t:.2f}" for t in RECORDING.time_s], cells)]


def numbered() -> list[str]:
    """A row per reading, channels by numbers that remarks tell."""
    legend = ["# id 7 = pressure kPa", "# id 12 = suction", "# id 13 = blow-off", "# id 20 = part present"]
    readings = [
        f"{number},{t:.2f},{column[i]}"
        for i, t in enumerate(RECORDING.time_s)
        for number, column in zip((7, 12, 13, 20), (KPA, *LEVELS), strict=True)
    ]
    return [*legend, "id,time_s,value", *readings]


def broken_names() -> list[str]:
    """Names with line ends in quotes, under a line about the log and over one of nothing."""
    names = ["Time\n[s]", "Pressure\n[kPa]", "Suction\nvalve", "Blow-off\nvalve", "Part\npresent"]
    return ["Recorder 7", ";".join(f'"{n}"' for n in names), *rows([f"{t:.2f}" for t in RECORDING.time_s])]


MARKED = {
    "broken names": broken_names,
    "apostrophes": lambda: ["stamp,pressure kPa,suction,blow-off,part", *rows([f"'{s}" for s in iso()], mark=",")],
    "quoted lines": lambda: [
        '"' + line.replace('"', '""') + '"'
        for line in ('Time [s],"Pressure [kPa]",Suction,Blow-off,Part', *rows(RECORDING.time_s.round(2), mark=","))
    ],
    "brackets": brackets,
    "numbered": numbered,
    "days of the year": lambda: ["Time;Pressure [kPa];Suction;Blow-off;Part", *rows(iso("%Y-%j %H:%M:%S"))],
    "letters": lambda: [
        "Heure;Pression kPa;Aspiration;Soufflage;Pièce",
        *rows([f"{a:%Hh%Mm%S}s{a.microsecond // 1000:03d}" for a in AT]),
    ],
}


@pytest.mark.parametrize("options", [ReadOptions(), ReadOptions(block_bytes=5000)], ids=["whole", "pieces"])
@pytest.mark.parametrize("name", MARKED)
def test_it_is_read_right(tmp_path, name, options):
    """Time, pressure and levels are those of the recording, and no row is lost."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join(MARKED[name]()) + "\n")
    found = read(path, options=options)
    assert np.abs(found.time_s - RECORDING.time_s).max() < 1e-6
    assert np.abs(found.pressure_kpa - KPA).max() < 1e-9
    assert np.array_equal(found.digital, RECORDING.digital)
    assert found.facts.rows_rejected == 0


def test_days_of_the_year_are_dates(tmp_path):
    """The count of a day through its year gives the date, in a leap year too."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join(MARKED["days of the year"]()) + "\n")
    given = parse_station('[station]\ntimezone = "UTC"\n', "s.toml")
    assert read(path, given).facts.start_time_us == round(START.timestamp() * 1e6)


@pytest.mark.parametrize("cell", ["2024-123", "13h05m07s", "13h05m07,25s", "13h05m07s250"])
def test_what_is_a_clock(cell):
    """A number behind a year is no date by itself; clocks with letters are clocks."""
    assert (cell_kind(cell) == "time") == ("h" in cell)


def test_columns_of_levels_are_no_numbered_channels(tmp_path):
    """Remarks that number the columns of a wide log do not rename its levels."""
    remarks = ["# ch 0 = pressure kPa", "# ch 1 = suction", "# ch 2 = blow-off", "# ch 3 = part"]
    path = tmp_path / "log.csv"
    path.write_text("\n".join([*remarks, HEAD, *rows(RECORDING.time_s.round(2))]) + "\n")
    found = read(path)
    assert np.array_equal(found.digital, RECORDING.digital)
    assert np.array_equal(found.pressure_kpa, KPA)


def test_records_that_each_hold_all_channels(tmp_path):
    """Pairs of tag and value, all channels in each line, are read with the unit of time that the message asks for."""
    tags = ("p_kPa", "supply", "release", "part")
    lines = [
        ";".join([f"{t:.2f}", *(f"{tag};{column[i]}" for tag, column in zip(tags, (KPA, *LEVELS), strict=True))])
        for i, t in enumerate(RECORDING.time_s)
    ]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n")
    found = read(path, parse_station('[channels]\ntime = { column = "column 1", unit = "s" }\n', "s.toml"))
    assert np.array_equal(found.pressure_kpa, KPA)
    assert np.array_equal(found.digital, RECORDING.digital)
    assert np.abs(found.time_s - RECORDING.time_s).max() < 1e-9


def test_the_feed_pressure_is_no_vacuum(tmp_path):
    """Of two pressures the one that always lies above ambient is compressed air: the other is the vacuum."""
    path = tmp_path / "log.csv"
    lines = [
        f"{t:.2f},{500 + 10 * np.sin(t):.1f},{k},{s}" for t, k, s in zip(RECORDING.time_s, KPA, LEVELS[0], strict=True)
    ]
    path.write_text("\n".join(["time_s,p1 kPa,p2 kPa,suction", *lines]) + "\n")
    assert np.array_equal(read(path).pressure_kpa, KPA)


NO_TABLES = {
    "records of JSON with records inside": [
        f'{{"ts": {t:.2f}, "first": {{"x": {k}}}, "io": {{"y": {s}}}}}'
        for t, k, s in zip(RECORDING.time_s, KPA, LEVELS[0], strict=True)
    ],
    "channels stand in lines": [
        ",".join(["time_s", *(f"{t:.2f}" for t in RECORDING.time_s)]),
        ",".join(["pressure_kpa", *map(str, KPA)]),
        ",".join(["suction", *map(str, LEVELS[0])]),
    ],
}


@pytest.mark.parametrize("found", NO_TABLES)
def test_what_is_no_table_is_said(tmp_path, found):
    """Records inside records and a table on its side are refused with what was seen."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join(NO_TABLES[found]) + "\n")
    with pytest.raises(LogReadError, match=found):
        read(path)
