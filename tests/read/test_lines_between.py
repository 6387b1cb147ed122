"""Rulers, records, words in the place of values and facts in sentences: read like the recording, or asked."""

import datetime as dt

import numpy as np
import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import read
from tracekit.options.read import ReadOptions
from tracekit.read.cells import is_reading
from tracekit.read.deciding import UndecidedLogError
from tracekit.read.station_file import parse_station
from tracekit.read.told import pressure_sentence
from tracekit.read.waiting import first_waiting
from tracekit.read.words import hints

RECORDING = make_recording(cycles=8)
KPA, LEVELS = RECORDING.pressure_kpa.round(2), [RECORDING.digital >> bit & 1 for bit in range(3)]
SECONDS = [f"{t:.3f}" for t in RECORDING.time_s]
STAMPS = [(START + dt.timedelta(seconds=float(t))).strftime("%Y-%m-%d %H:%M:%S.%f")[:-3] for t in RECORDING.time_s]
HEAD = "Time [s];Pressure [kPa];Suction;Blow-off;Part present"


def rows(times=SECONDS, values=KPA, mark: str = ";") -> list[str]:
    """Rows of times and readings with the levels."""
    return [mark.join(map(str, row)) for row in zip(times, values, *LEVELS, strict=True)]


def bars() -> list[str]:
    """A table between bars, with a ruler that says how cells are set."""
    body = [f"| {row} |" for row in rows(mark=" | ")]
    return ["| time s | vacuum kPa | suction | blow off | part present |", "|---:|---:|:-:|:-:|:-:|", *body]


def console() -> list[str]:
    """Columns of fixed width under a drawn line."""
    body = [f" {t:>10} | {k:12.2f} | {'ft'[s]}      | {'ft'[r]}       | {'ft'[p]}" for t, k, s, r, p in columns()]
    return ["  time_s    | pressure_kpa | supply | release | part", "-" * 12 + "+" + "-" * 14 + "+--------+---", *body]


def aligned() -> list[str]:
    """Names with blanks above columns that are aligned, a ruler between them."""
    body = [f"{t:>10} {k:14.2f} {s:8} {r:9} {p:13}" for t, k, s, r, p in columns()]
    head = f"{'time s':>10} {'pressure kPa':>14} {'suction':>8} {'blow off':>9} {'part present':>13}"
    return [head, " ".join("=" * n for n in (10, 14, 8, 9, 13)), *body]


def columns():
    """Text of time, kPa and three levels, row by row."""
    return zip(SECONDS, KPA, *LEVELS, strict=True)


def commas() -> list[str]:
    """Decimal commas between commas; the first 300 rows lie still, so that a decimal has few figures there."""
    cells = [f"{k:.1f}" if i > 300 else f"0.{i % 2}" for i, k in enumerate(KPA)]
    return [HEAD.replace(";", ","), *(row.replace(".", ",") for row in rows(values=cells, mark=","))]


def by_name() -> list[str]:
    """A stamp in square brackets, a word, and values with names and units."""
    body = zip(STAMPS, KPA, *LEVELS, strict=True)
    return [f"[{at}] INFO vac={k}kPa sv={s} rv={r} part={p}" for at, k, s, r, p in body]


def records() -> list[str]:
    """Flat records, every third with its names the other way round."""
    names = ("t_ms", "vac_kpa", "sv", "rv", "part")
    cells = zip(np.rint(RECORDING.time_s * 1000).astype(int), KPA, *LEVELS, strict=True)
    pairs = [[f'"{n}": {c}' for n, c in zip(names, row, strict=True)] for row in cells]
    return ["{" + ", ".join(p if i % 3 else p[::-1]) + "}" for i, p in enumerate(pairs)]


def units_in_cells() -> list[str]:
    """Tabs, a unit behind every reading, a minus of typography, blanks in names."""
    cells = [f"{k} kPa".replace("-", "\u2212").replace(".", ",") for k in KPA]
    body = rows([s.replace(".", ",") for s in SECONDS], cells, "\t")
    return ["Zeit s\tDruck\tVakuum ein\tAbblasen\tTeil", *body]


LINES = {
    "bars": bars,
    "console": console,
    "aligned": aligned,
    "commas": commas,
    "by name": by_name,
    "records": records,
    "units in cells": units_in_cells,
    "interval in two lines": lambda: [
        "Interval: 10", "Interval unit: ms", "", HEAD.partition(";")[2], *(r.partition(";")[2] for r in rows())
    ],
    "interval of a letter": lambda: [
        "Ts=0,010 s", HEAD.replace("Time [s]", "Nr"), *(r.replace(".", ",") for r in rows(range(len(KPA))))
    ],
    "unit in a sentence": lambda: [
        "Note 3, all pressures in mbar (gauge), times in s", "", "Time;Pressure;Suction;Blow-off;Part present",
        *rows(values=(10 * KPA).round(1)),
    ],
    "counts of a tenth": lambda: [
        HEAD.replace("Pressure [kPa]", "vacuum x0.1kPa"), *rows(values=np.rint(KPA * 10).astype(int))
    ],
    "addresses": lambda: [
        "Trend 7;;;;", "Time;Cup vacuum;Suction;Blow-off;Part present", ";AIW64;Q0.2;Q0.3;I0.7", "s;mbar;-;-;-",
        *rows(values=(10 * KPA).round(1)),
    ],
}  # fmt: skip


@pytest.mark.parametrize("options", [ReadOptions(), ReadOptions(block_bytes=5000)], ids=["whole", "pieces"])
@pytest.mark.parametrize("name", LINES)
def test_the_recording_comes_back(name, options, tmp_path):
    """Time, pressure and levels are those that were written, no question is asked, no row is lost."""
    path = tmp_path / "log.txt"
    path.write_text("\n".join(LINES[name]()) + "\n", encoding="utf-8")
    found = read(path, options=options)
    kpa = np.where(np.arange(len(KPA)) > 300, KPA, np.arange(len(KPA)) % 2 / 10) if name == "commas" else KPA
    assert len(found.time_s) == len(KPA)
    assert np.abs(found.time_s - found.time_s[0] - RECORDING.time_s + RECORDING.time_s[0]).max() < 1e-6
    coarse = name in ("commas", "counts of a tenth")
    assert np.abs(found.pressure_kpa - kpa).max() < (0.051 if coarse else 1e-9)  # half a step of the last figure
    assert np.array_equal(found.digital, RECORDING.digital)
    assert found.facts.rows_rejected == 0


ASKED = {
    "no column rises like time": [
        "Interval: 10", "Interval unit: ms", "Interval unit: s", "", HEAD.partition(";")[2],
        *(r.partition(";")[2] for r in rows()),
    ],
    'the unit of "Pressure" does not show': [
        "pressures in mbar", "vacuum in kPa", "", HEAD.replace(" [kPa]", ""), *rows(),
    ],
}  # fmt: skip


@pytest.mark.parametrize("asked", ASKED)
def test_what_contradicts_itself_is_asked(asked, tmp_path):
    """Two units for one number tell nothing: of an interval, of a pressure in sentences."""
    path = tmp_path / "log.txt"
    path.write_text("\n".join(ASKED[asked]) + "\n")
    with pytest.raises(UndecidedLogError, match=asked):
        read(path)


@pytest.mark.parametrize("line", ["Air pressure in bar", "the pressure rises in kPa per s", "x pressure in bar"])
def test_a_sentence_of_something_else_tells_no_unit(line):
    """The feed's pressure and rates are not what the vacuum is written in."""
    assert pressure_sentence([line]) is None
    assert pressure_sentence([line, "all pressures are in mbar"])[0].kpa == 0.1


@pytest.mark.parametrize(("name", "kpa"), [("vacuum x0.1kPa", 0.1), ("vac 0.01*bar", 1.0), ("switch 0.1 kPa", 1.0)])
def test_a_factor_counts_with_its_sign(name, kpa):
    """Without a sign of multiplication a number before a unit may be a threshold."""
    assert hints(name).pressure_unit.kpa == pytest.approx(kpa)


@pytest.mark.parametrize(("cell", "reading"), [("-0.1kPa", True), ("01 57", False), ("5 s", True), ("INFO", False)])
def test_what_reads_as_a_value(cell, reading):
    """Two numbers with a blank between them are no number with its unit."""
    assert is_reading(cell) is reading


@pytest.mark.parametrize("count", [1, 2, 90])
def test_words_before_the_first_values(count, tmp_path):
    """A recorder that still wakes up: the names stand above, its rows are read and told as without pressure."""
    path = tmp_path / "log.csv"
    waiting = [f"{t};INIT;?;?;?" for t in SECONDS[:count]]
    path.write_text("\n".join([HEAD, *waiting, *rows()[count:]]) + "\n")
    found = read(path)
    assert found.facts.rows_read == len(KPA)
    assert np.isnan(found.pressure_kpa[:count]).all()
    assert np.array_equal(found.pressure_kpa[count:], KPA[count:])
    assert any(w.startswith(f"{count} rows: no pressure") for w in found.facts.warnings)


def test_a_row_of_numbers_among_the_names_is_none_of_values():
    """A whole number of a channel above the first values tells no time; with decimals it does."""
    below = [["0.00", "-0.1", "0"], ["0.01", "-0.2", "0"]]
    kinds = ("number", "number", "number")
    for cell, start in (("1", 1), ("0.000", 0)):
        assert first_waiting([[cell, "AI4", "DO1"], *below], 1, kinds) == start


def test_records_with_other_names_are_rejected(tmp_path):
    """A record that lacks a name, one that has one more and one that is cut lose none of the others."""
    path = tmp_path / "log.jsonl"
    lines = records()
    lines[700] = lines[700].replace('"sv"', '"xx"')
    lines[701] = lines[701].replace("}", ', "more": 1}')
    lines[702] = lines[702][:-9]
    path.write_text("\n".join(lines) + "\n")
    found = read(path)
    assert (found.facts.rows_read, found.facts.rows_rejected) == (len(KPA), 3)
    assert np.array_equal(found.pressure_kpa, np.delete(KPA, [700, 701, 702]))


def test_a_list_of_records_over_several_lines_is_read_as_far_as_it_tells(tmp_path):
    """Records inside records, drawn out: times and levels are read, and the unit that no name tells is asked."""
    path = tmp_path / "log.json"
    whole = zip(STAMPS, KPA, LEVELS[0], strict=True)
    made = [
        f' {{\n  "time": "{at}",\n  "pressure": {{\n   "value": {k}\n  }},\n  "supply": {s}\n }}' for at, k, s in whole
    ]
    path.write_text("[\n" + ",\n".join(made) + "\n]\n")
    with pytest.raises(UndecidedLogError, match=r'the unit of "pressure') as asked:
        read(path)
    assert set(asked.value.channels) >= {"time", "supply"}


def in_blocks(first: float) -> str:
    """Rows whose time starts again every 300 rows, each block under its own names."""
    lines = []
    for i, row in enumerate(rows([f"{first + i % 300 / 100:.2f}" for i in range(len(KPA))])):
        lines += [f"Block {i // 300};;;;", HEAD] if i % 300 == 0 else []
        lines.append(row)
    return "\n".join(lines) + "\n"


def test_a_time_that_starts_again_is_told(tmp_path):
    """What was left out between is not guessed: with the line offered a pause is assumed at each start, and told."""
    path = tmp_path / "log.csv"
    path.write_text(in_blocks(0.0))
    with pytest.raises(UndecidedLogError, match=r'"Time \[s\]" starts again \d+ times') as asked:
        read(path)
    (question,) = asked.value.questions
    line = question.line.partition("   #")[0]
    assert "interval_s = 0.01 where" in question.line
    found = read(path, parse_station(f"[channels]\n{line}\n", "s.toml"))
    starts = np.arange(len(KPA)) % 300 == 0
    assert np.abs(np.diff(found.time_s)[~starts[1:]] - 0.01).max() < 1e-9
    assert any(w.startswith("time starts again") for w in found.facts.warnings)
    assert len(found.facts.gaps) == starts.sum() - 1
    assert len(found.facts.clock_steps) == starts.sum() - 1
    assert found.facts.rows_rejected == 2 * (starts.sum() - 1)
    assert np.array_equal(found.pressure_kpa, KPA)


def test_a_time_in_no_order_is_not_told_as_starting_again(tmp_path):
    """Where values fall back elsewhere no interval is offered."""
    path = tmp_path / "log.csv"
    lines = in_blocks(0.0).split("\n")
    mixed = [
        f"{float(line.partition(';')[0]) % 1.7 + 5 * (k % 700 > 350):.2f};{line.partition(';')[2]}"
        if line[:1].isdigit()
        else line
        for k, line in enumerate(lines)
    ]
    path.write_text("\n".join(mixed))
    with pytest.raises(UndecidedLogError, match="no column rises like time"):
        read(path)


def test_names_above_addresses_are_the_names(tmp_path):
    """An address of a word is no name of a column."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join(LINES["addresses"]()) + "\n")
    columns = read(path).layout.columns
    assert (columns["time"], columns["pressure"], columns["supply"]) == ("Time", "Cup vacuum", "Suction")
