"""Cases that once went wrong, each kept as a test of its own."""

import io
import json
import os
import re
import subprocess
import sys
import time
import warnings
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hardness.child import ROOT
from hardness.fuzz_cases import NAMES, SMALL, SMALLEST, WHOLE
from hardness.made import csv_text, rows
from hardness.mutate import mutated_log
from hardness.trial import command, leftovers

from tracekit.cli.stream import HarmlessStream
from tracekit.errors import LogReadError, StationFileError
from tracekit.model.outside import disarmed, visible
from tracekit.model.tables import Column, join_tables, make_table
from tracekit.pipeline import diagnose
from tracekit.read.opening import open_log
from tracekit.read.pressure import highest_stable
from tracekit.read.station_file import load_station
from tracekit.read.told import with_split_units


def test_a_station_without_cycles_beside_one_with_context(tmp_path):
    """A station that made no cycle has no context columns; the log is diagnosed all the same."""
    header, cells = rows(3)
    with_parts = [[*row, name, "plate"] for row in cells for name in ("Kiln 1", "Kiln 2")]
    for row in with_parts:
        if row[5] == "Kiln 2":
            row[1:5] = ["-0.10", "0", "0", "0"]
    (tmp_path / "log.csv").write_text(csv_text([*header, "station", "recipe"], with_parts))
    (tmp_path / "s.toml").write_text('[channels]\ncontext = ["recipe"]\n')
    ran = command("diagnose", tmp_path / "log.csv", "--station", tmp_path / "s.toml", "--out", tmp_path / "out")
    assert (ran.status, ran.err) == (0, "")


def test_tables_with_different_columns_are_joined():
    """A column that only some tables have is missing in the rows of the others; categories are merged once."""
    plain, text = Column("n", "int", "", ""), Column("c", "category", "", "")
    first = make_table((plain,), {"n": np.array([1, 2])}, {})
    second = make_table((plain, text), {"n": np.array([3]), "c": np.array([1])}, {"c": ("a", "b")})
    third = make_table((plain, text), {"n": np.array([4]), "c": np.array([0])}, {"c": ("b",)})
    joined = join_tables((first, second, third))
    assert joined.codes("n").tolist() == [1, 2, 3, 4]
    assert joined.texts("c") == [None, None, "b", "b"]


class Terminal(io.StringIO):
    """A text stream that says it is a terminal."""

    def isatty(self):
        return True


def test_own_marks_reach_a_terminal_and_nothing_else():
    """Bold and inverse of tracekit's own go to a terminal; what a name brings is shown as its number."""
    terminal, pipe = Terminal(), io.StringIO()
    for stream in (terminal, pipe):
        HarmlessStream(stream).write("\x1b[1mbold\x1b[0m \x1b[31mred\x9b\u202e\r\n")
    assert terminal.getvalue() == "\x1b[1mbold\x1b[0m \\u001b[31mred\\u009b\\u202e\\u000d\n"
    assert "\x1b" not in pipe.getvalue()


def test_texts_for_terminals_and_spreadsheets():
    """Harmless text stays as it is; a wide equals sign is a formula too."""
    assert visible("Lüfter 3 → 7\t\n") == "Lüfter 3 → 7\t\n"
    assert disarmed("＝1+1") == "'＝1+1"
    assert disarmed("x\x1b=1") == "x\\u001b=1"


def test_a_unit_with_a_sign_beside_every_number(tmp_path):
    """Numbers that each carry a sign beyond ASCII, like 5 °C, are read or refused, never an internal error."""
    header, cells = rows(2)
    lines = [[*row, "5 °C"] for row in cells[::4]]
    (tmp_path / "log.csv").write_text(csv_text([*header, "note"], lines), encoding="utf-8")
    for column in range(5):
        changed = [[*row[:column], "5 °C", *row[column + 1 :]] for row in cells[::4]]
        (tmp_path / f"{column}.csv").write_text(csv_text(header, changed), encoding="utf-8")
        assert command("inspect", tmp_path / f"{column}.csv").outcome() in ("right", "refused")
    assert command("inspect", tmp_path / "log.csv").status == 0


@pytest.mark.parametrize("ops", [
    [("row gone", 292, 202, 53), ("packing", 53, 572, 142), ("columns swapped", 73, 207, 142), ("column gone", 202, 382, 50)],
    [("column scaled", 663, 235, 173)],
])  # fmt: skip
def test_mutations_that_once_broke_the_reader(tmp_path, ops):
    """Time in a list column of a Parquet file, and a time that advances by 1e28 s per row, are read or refused."""
    names, cells = rows(2)
    (tmp_path / "log.bin").write_bytes(mutated_log(names, cells[::4], ops))
    assert command("inspect", tmp_path / "log.bin").outcome() in ("right", "refused")


def test_a_clock_in_numbers_with_a_fraction(tmp_path):
    """Hours, minutes and seconds side by side in a column of floats of a Parquet file are read as in text."""
    header, cells = rows(20)
    columns = {name: np.array([float(row[i]) for row in cells]) for i, name in enumerate(header)}
    seconds = 3600 * 9 + 60 * 59 + 30.0 + columns.pop("time_s")
    clock = (seconds // 3600) * 10_000 + (seconds // 60 % 60) * 100 + seconds % 60
    pq.write_table(pa.table({"time": np.round(clock, 3), **columns}), tmp_path / "log.parquet")
    log = open_log(str(tmp_path / "log.parquet"))
    time_s = np.concatenate([block.time_s for block in log.blocks()])
    np.testing.assert_allclose(time_s - time_s[0], seconds - seconds[0], atol=2e-6)


def test_text_in_parquet_that_is_none(tmp_path):
    """A Parquet file whose text is damaged is refused as damaged, by every command."""
    header, cells = rows(2)
    table = {name: [row[i] for row in cells[::4]] for i, name in enumerate(header)}
    path = tmp_path / "log.parquet"
    pq.write_table(pa.table({**table, "note": ["qqqqqqqq"] * len(cells[::4])}), path, compression="none")
    path.write_bytes(path.read_bytes().replace(b"qqqqqqqq", b"qqqq\xb2qqq"))
    ran = command("inspect", path)
    assert (ran.status, "log.parquet: a damaged Parquet file" in ran.err) == (2, True), ran.err


def test_a_name_that_no_file_can_have(tmp_path):
    """A log or station file whose name is longer than the system allows is refused like one that is not there."""
    (tmp_path / "log.csv").write_text(csv_text(*rows(2)))
    ran = command("diagnose", tmp_path / "log.csv", "--station", "a" * 300, "--out", tmp_path / "out")
    assert ran.outcome() == "refused", ran.err
    ran = command("inspect", "a" * 300)
    assert (ran.status, "no such file or folder" in ran.err) == (2, True), ran.err


@pytest.mark.parametrize("words", [
    ("volume", "LOG", "LONG", "--orifice-mm", "1"), ("tune", "LONG"), ("LONG",), ("diagnose", "LOG", "--out", "LONG"), ("trend", "LONG"),
    ("history", "LONG"), ("watch", "LONG", "--history", "h", "--once"), ("watch", ".", "--history", "LONG", "--once"), ("compare", "LOG", "LONG"),
    ("verify", "LONG", "LOG"), ("plan", "--out", "LONG"), ("plan", "--freeze", "LONG"), ("inspect", "LOG", "--write-station", "LONG"),
    ("simulate", "loader_2_torn_cup", "--out", "LONG"), ("diagnose", "LOG", "--baseline", "LONG"), ("diagnose", "LOG", "--history", "LONG", "--started", "2025-01-01T00:00Z"),
])  # fmt: skip
def test_a_name_that_no_file_can_have_anywhere(tmp_path, monkeypatch, words):
    """Wherever a file or a folder is named, a name that the system does not allow is refused in one message, with status 2."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "log.csv").write_text(csv_text(*rows(2)))
    ran = command(*({"LOG": "log.csv", "LONG": "a" * 300}.get(word, word) for word in words))
    assert (ran.outcome(), "Please report" in ran.err) == ("refused", False), ran.err
    assert leftovers(tmp_path) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no file that is always full")
@pytest.mark.parametrize("words", [("--help",), ("--version",), ("explain", "leak_steady"), ("schema", "diagnosis"), ("completion", "bash"), ("inspect", "log.csv"), ("diagnose", "log.csv")])
def test_no_room_to_print(tmp_path, words):
    """Where what is printed goes to a full disk, one message says so; what was asked for as files is there."""
    (tmp_path / "log.csv").write_text(csv_text(*rows(2)))
    with open("/dev/full", "w") as full:
        code = "import sys; from tracekit.cli import main; main()"
        ran = subprocess.run([sys.executable, "-c", code, *words], cwd=tmp_path, stdout=full, stderr=subprocess.PIPE, text=True, check=False, env={**os.environ, "PYTHONPATH": str(ROOT)})
    assert (ran.returncode, ran.stderr) == (2, "tracekit: output: No space left on device; expected room for it. Free some, or send the output elsewhere.\n")
    assert words[0] != "diagnose" or list(tmp_path.glob("tracekit-out/*/report.html"))


@pytest.mark.parametrize("odd", ["1e30", "-1e300", "9" * 300])
def test_milliseconds_beyond_measure(tmp_path, odd):
    """Where milliseconds are no time at all, what is lost is counted; nothing overflows on the way."""
    header, cells = rows(20)
    lines = [["2025-03-02", f"09:{int(float(row[0])) // 60:02}:{int(float(row[0])) % 60:02}", f"{round(float(row[0]) % 1 * 1000)}", *row[1:]] for row in cells]
    path = tmp_path / "log.csv"
    path.write_text(csv_text(["date", "time", "ms", *header[1:]], lines))
    whole = sum(len(block.time_s) for block in open_log(str(path)).blocks())
    assert whole == len(cells)
    lines[700][2] = odd
    path.write_text(csv_text(["date", "time", "ms", *header[1:]], lines))
    log = open_log(str(path))
    used = sum(len(block.time_s) for block in log.blocks())
    assert used + log.facts().rows_rejected == whole
    assert log.facts().rows_rejected > 0


def test_a_log_of_one_row(tmp_path):
    """One row has no changes to look at: it is read without a warning of the arithmetic."""
    header, cells = rows(3)
    (tmp_path / "log.csv").write_text(csv_text(header, cells[:1]))
    assert sum(len(block.time_s) for block in open_log(tmp_path / "log.csv").blocks()) == 1


def test_a_log_whose_pressure_is_never_known(tmp_path):
    """Where the pressure is a word in every row but the first ones, the page has no strip of the recording."""
    made = mutated_log(NAMES, WHOLE, [("column shifted", 806, 441, 208)])
    (tmp_path / "log.csv").write_bytes(made)
    ran = command("diagnose", tmp_path / "log.csv", "--out", tmp_path / "out")
    assert (ran.outcome(), ran.err) == ("right", "")


def test_levels_next_to_nothing_apart_beside_one_beyond_measure(tmp_path):
    """A column of two levels that hardly differ, with one cell far beyond them, is looked at without overflow."""
    made = mutated_log(NAMES, SMALL, [("column scaled", 627, 590, 111), ("row twice", 31, 851, 38), ("cell", 893, 805, 138)])
    (tmp_path / "log.csv").write_bytes(made)
    with pytest.raises(LogReadError, match="s apart; expected rows 1e-7 s apart"):  # its time is scaled too
        open_log(tmp_path / "log.csv")


@pytest.mark.parametrize(("packing", "outcome", "ops"), [
    ("parquet", "right or refused", [("one row", 956, 107, 214), ("bytes", 308, 369, 255)]),  # versions of the library lay bytes out differently
    ("plain", "refused", [("time stops", 904, 681, 167), ("row short", 756, 821, 80), ("cell", 248, 698, 142), ("column scaled", 173, 800, 47)]),
    ("plain", "refused", [("row twice", 858, 113, 10), ("row gone", 921, 912, 81), ("column scaled", 364, 345, 68), ("cell", 974, 266, 106)]),
    ("plain", "right", [("comments", 890, 725, 220), ("column constant", 148, 454, 204), ("cell", 360, 949, 139)]),
    ("plain", "refused", [("cell", 633, 804, 178), ("bytes", 493, 124, 146), ("column constant", 962, 245, 74)]),
    ("plain", "refused", [("header", 606, 491, 102), ("column constant", 481, 420, 141), ("packing", 209, 853, 5), ("bytes", 144, 153, 209)]),
    ("plain", "right", [("time back", 90, 808, 207), ("cell", 861, 110, 206), ("column twice", 797, 530, 154)]),
])  # fmt: skip
def test_names_that_are_no_text_and_times_beyond_measure(tmp_path, packing, outcome, ops):
    """Damaged names of Parquet columns, and times that no clock tells, are refused or read; nothing overflows on the way."""
    (tmp_path / "log.bin").write_bytes(mutated_log(NAMES, WHOLE if len(ops) % 2 else SMALL, ops, packing))
    ran = command("diagnose", tmp_path / "log.bin", "--out", tmp_path / "out", "--quiet")
    assert ran.outcome() in outcome.split(" or "), ran.err


def test_readings_that_rest_at_one_level_within_their_last_bits(tmp_path):
    """Where all readings at rest differ in their last bits alone, that level is theirs: no bins are made of it."""
    ops = [("column constant", 738, 846, 102), ("cell", 228, 66, 197), ("column twice", 121, 602, 20), ("rows cut", 287, 720, 208)]
    (tmp_path / "log.bin").write_bytes(mutated_log(NAMES, SMALLEST, ops))
    assert command("inspect", tmp_path / "log.bin").outcome() in ("right", "refused")
    rests = np.concatenate([np.full(40, 101.3) + np.arange(40) * 1e-14, [20.0, 30.0, 40.0]])
    assert highest_stable(rests) == pytest.approx(101.3)


@pytest.mark.parametrize("odd", [5, None, ["x"], {}])
def test_a_sheet_whose_station_files_have_sums_that_are_no_text(tmp_path, odd):
    """A sheet that names a station file by a sum that is no text does not hold, in one message."""
    log, station, sheet = tmp_path / "log.csv", tmp_path / "station.toml", tmp_path / "out" / "comparison.json"
    log.write_text(csv_text(*rows(4)))
    station.write_text('[station]\nname = "Loader 2"\n')
    assert command("compare", log, log, "--station", station, "--out", tmp_path / "out", "--quiet").status == 0
    document = json.loads(sheet.read_text(encoding="utf-8"))
    sheet.write_text(json.dumps({**document, "station_files": {**document["station_files"], "other.toml": odd}}), encoding="utf-8")
    ran = command("verify", sheet, log, "--station", station)
    assert (ran.outcome(), "station files: the sheet names" in ran.err) == ("refused", True), ran.err


def test_free_lines_of_many_blanks_cost_no_more_than_their_length(tmp_path):
    """Lines above the header that are long, or all blanks and marks, are looked at for split units in no time."""
    ops = [("comments", 255, 944, 223), ("headers", 625, 806, 239), ("column constant", 953, 75, 107)]
    (tmp_path / "log.bin").write_bytes(mutated_log(NAMES, SMALLEST, ops, "gzip"))
    assert command("inspect", tmp_path / "log.bin").outcome() in ("right", "refused")
    odd = [sign * 100_000 for sign in (" ", "\t", "_ ", " #", "; ", "unit ", "unit:\t", "a_")]
    begun = time.process_time()
    assert with_split_units([*odd, "Interval: 10", "# Interval unit: ms"]) == [*odd, "Interval: 10 ms", "# Interval unit: ms"]
    assert time.process_time() - begun < 1.0


@pytest.mark.parametrize(("head", "piece"), [("", "0"), ("", " "), ("pressure [", " "), ("# ", "\t"), ("unit: ", " "), ("1", "0."), ("# 1 = a", " ")])
def test_long_runs_of_one_sign_cost_no_more_than_their_length(tmp_path, head, piece):
    """Above the header, in a name or in a cell, 20 000 times the same sign hold no reader up."""
    header, cells = rows(2)
    plain = f"{head}{piece * (20_000 // len(piece))}!"
    run = f'"{plain}"'
    written = {
        "above": f"{plain};\n{run}\n{csv_text(header, cells)}",
        "name": csv_text(header, cells).replace("pressure_kpa", f'"pressure_kpa {run[1:]}', 1),
        "cell": csv_text([*header, "part"], [[*row, run if n == 50 else "a"] for n, row in enumerate(cells)]),
    }
    for place, text in written.items():
        (tmp_path / "log.csv").write_text(text)
        begun = time.process_time()
        assert command("inspect", tmp_path / "log.csv", "--quiet").outcome() in ("right", "refused"), place
        assert time.process_time() - begun < 5.0, place


def test_a_record_whose_last_value_is_blank_costs_no_more_than_its_length(tmp_path):
    """Records that name their values, the last of them 3 000 blanks, are read like others."""
    (tmp_path / "log.bin").write_bytes(mutated_log(NAMES, SMALL, [("column constant", 198, 874, 173)], "records"))
    ran = command("inspect", tmp_path / "log.bin", "--quiet")
    assert (ran.outcome(), ran.seconds < 5.0) == ("right", True), (ran.seconds, ran.err)


def test_a_time_beyond_measure_is_no_time(tmp_path):
    """A last row at 1e308 s is rejected and counted; no hold lasts until then, and nothing overflows."""
    ops = [("columns swapped", 242, 958, 101), ("row moved", 902, 25, 109), ("cell", 136, 845, 204), ("bytes", 91, 825, 162)]
    (tmp_path / "log.csv").write_bytes(mutated_log(NAMES, SMALL, ops, "plain"))
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        record = diagnose(tmp_path / "log.csv")
    assert record.logs[0].rows_rejected >= 1
    assert np.nanmax(record.cycles.floats("hold_end_s"), initial=0.0) < 1e6


@pytest.mark.parametrize("sign", ["", "-"])
@pytest.mark.parametrize(
    "line", ["set_point_kpa = {}", "guard_kpa = {}", '[channels]\npressure = {{ column = "p", scale = [[4, {}], [20, 0]] }}']
)
def test_a_whole_number_of_400_figures_in_a_station_file_is_refused(tmp_path, line, sign):
    """Whole numbers of TOML have no end; one that no float holds is told by its length."""
    (tmp_path / "s.toml").write_text("[settings]\n" + line.format(f"{sign}1{'0' * 400}") + "\n")
    with pytest.raises(StationFileError, match=r"s\.toml.*(a number of 40[12] signs|scale is a list)"):
        load_station(tmp_path / "s.toml")


@pytest.mark.parametrize(
    ("ops", "pack"),
    [
        ([("row twice", 822, 295, 96), ("cell", 820, 194, 42), ("row short", 526, 82, 207)], "gzip"),
        ([("unit row", 588, 405, 118), ("cell", 227, 516, 141), ("decimal", 920, 299, 206)], "parquet"),
        ([("packing", 364, 447, 238), ("column twice", 303, 867, 217), ("column twice", 262, 662, 251), ("bytes", 35, 855, 70)], "gzip"),
        ([("cell", 174, 378, 205)], "plain"),
        ([("rows cut", 761, 927, 242), ("cell", 739, 203, 72), ("header", 215, 390, 237), ("row moved", 334, 963, 228)], "plain"),
    ],
)
def test_a_number_beyond_measure_is_no_reading(tmp_path, ops, pack):
    """A cell of 10^400 in a column that other rows make a reading or a state decides nothing and overflows nothing."""
    (tmp_path / "log.bin").write_bytes(mutated_log(NAMES, SMALL if len(ops) % 2 else SMALLEST, ops, pack))
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        assert command("inspect", tmp_path / "log.bin", "--quiet").outcome() in ("right", "refused")


@pytest.mark.parametrize("mark", [" ", "; "])
@pytest.mark.parametrize("piece", [" ", "a= ", "supply=1 ", "-"])
def test_a_long_line_among_values_by_name_costs_no_more_than_its_length(tmp_path, mark, piece):
    """Between lines that name their values in several orders one of 20 000 signs holds no reader up."""
    on = [k // 100 % 2 for k in range(600)]
    fields = [[f"time_s={k * 0.01:.2f}", f"pressure_kpa={-50 * s}.{k % 7}", f"supply={s}", f"part={s}"] for k, s in enumerate(on)]
    lines = [mark.join(f[::-1] if k % 2 else f) for k, f in enumerate(fields)]
    lines[400] = f"time_s=4.00{mark}supply=1{mark}{piece * (20_000 // len(piece))}x"
    (tmp_path / "log.csv").write_text("\n".join(lines) + "\n")
    begun = time.process_time()
    assert sum(len(block.time_s) for block in open_log(tmp_path / "log.csv").blocks()) >= 598
    assert time.process_time() - begun < 3.0


def test_a_text_that_breaks_every_row_is_one_message(tmp_path):
    """A text with a line end in every row, of which no row is left, is refused without a warning of the arithmetic."""
    texts = ["a\nb", "c d"]
    (tmp_path / "log.csv").write_text(csv_text([*NAMES, *texts], [[*row, *texts] for row in SMALL]))
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        ran = command("inspect", tmp_path / "log.csv", "--quiet")
    assert ran.outcome() in ("right", "refused"), ran.err


@pytest.mark.parametrize("packing", ["plain", "zip"])
def test_a_time_of_no_length_is_no_time(tmp_path, packing):
    """Rows 1e-32 s apart come from no logger: what is wrong is the column or its unit, and no integer holds such rates."""
    data = mutated_log(NAMES, WHOLE, [("column scaled", 361, 165, 125)], packing)
    (tmp_path / f"log.{'csv' if packing == 'plain' else packing}").write_bytes(data)
    (path,) = tmp_path.iterdir()
    ran = command("diagnose", path, "--out", tmp_path / "out", "--quiet")
    assert ran.status == 2
    assert re.search(r"rows [0-9.]+e-\d\d s apart; expected rows 1e-7 s apart or more\. Name the column", ran.err)
