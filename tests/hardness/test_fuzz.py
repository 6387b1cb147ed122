"""Mutated logs, station files, histories, documents and command lines: right, partly read with the loss counted, or refused.

The short form tries some hundreds of each; the full form (`-m full`) as many as `CASES` says.
"""

import json
import os
import re
import resource
import time
from pathlib import Path

import numpy as np
import pytest
from hardness.made import csv_text, rows
from hardness.mutate import CELLS, changes, damaged, mutated_document, mutated_log, operations, toml_text
from hardness.trial import SLOW_S, command, leftovers
from hypothesis import given, settings
from hypothesis import strategies as st

from tracekit.cli import COMMANDS
from tracekit.errors import TracekitError
from tracekit.read.opening import open_logs
from tracekit.read.station_file import load_station

MOST_KIB = 1 << 20
CASES = {"logs read": 62_000, "logs diagnosed": 6_000, "station files": 14_000, "histories": 5_000, "JSON inputs": 7_000, "command lines": 6_000}
SHORT = {"logs read": 120, "logs diagnosed": 15, "station files": 150, "histories": 25, "JSON inputs": 40, "command lines": 40}
NAMES, WHOLE = rows(2)
SMALL = WHOLE[::4]

both = pytest.mark.parametrize("cases", [pytest.param(SHORT, id="short"), pytest.param(CASES, id="all", marks=pytest.mark.full)])


def share(cases: dict[str, int], kind: str) -> int:
    """Cases to be tried; `TRACEKIT_FUZZ` in the environment scales the full number, for a machine with less time."""
    return max(int(cases[kind] * float(os.environ.get("TRACEKIT_FUZZ", "1"))), 10) if cases is CASES else cases[kind]


def tried(tally, kind: str, run, strategy, count: int) -> None:
    """Try a strategy's cases. Each gives a word and its details; those not allowed are told at the end."""
    before = len(tally.broken(kind))

    @settings(max_examples=count, database=None, report_multiple_bugs=False)
    @given(strategy)
    def attempt(case):
        begun = time.process_time()
        word, told = run(case)
        word = "too slow" if time.process_time() - begun > SLOW_S else word
        tally.add(kind, word, (told, case))

    attempt()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    if peak > MOST_KIB:
        tally.add(kind, "memory", peak)
    assert tally.broken(kind)[before:] == []


def read(path: Path) -> tuple[str, str]:
    """What became of a log that is only read."""
    try:
        lost = sum(lost_rows(log, path) for log in open_logs(path))
    except TracekitError as error:
        return ("refused", "") if path.name in str(error) else ("traceback", f"names no file: {error}")
    except Exception as error:  # noqa: BLE001 - this is what is looked for
        return "traceback", f"{type(error).__name__}: {error}"
    return ("silent loss" if lost < 0 else "partly read" if lost else "right"), str(lost)


def lost_rows(log, path: Path) -> int:
    """Rows that were counted as lost; -1 where some are missing in the count or time does not rise."""
    last = [-np.inf] * max(len(log.layout.stations), 1)
    for block in log.blocks():
        if not (np.diff(block.time_s, prepend=last[block.station]) > 0).all():
            return -1
        last[block.station] = block.time_s[-1] if len(block.time_s) else last[block.station]
    facts = log.facts()
    if facts.rows_read != facts.rows_used + facts.rows_rejected or not counted(path, facts.rows_read, facts.warnings):
        return -1
    return facts.rows_rejected + len(facts.warnings)


def counted(path: Path, rows_read: int, warnings: tuple[str, ...]) -> bool:
    """Whether the rows read are those that stand in a plain text file, a short head set aside."""
    data = path.read_bytes()
    if warnings or re.search(rb'[^\t\n -~]|"', data) or data.startswith((b"PK", b"PAR1")):
        return True
    lines = sum(1 for line in data.split(b"\n") if line.strip(b" \t,;|:"))
    return lines - 45 <= rows_read <= lines


@both
def test_logs_are_read_or_refused(cases, tally, tmp_path):
    """Whatever happens to a log, in any container, its rows are accounted for or one message names the file."""
    path = tmp_path / "log.bin"

    def run(ops):
        path.write_bytes(mutated_log(NAMES, SMALL, ops))
        return read(path)

    tried(tally, "logs read", run, operations, share(cases, "logs read"))


@both
def test_logs_are_diagnosed_or_refused(cases, tally, tmp_path):
    """Whatever happens to a log, the command writes all its files or none, and ends with one message or a result."""
    path, out = tmp_path / "log.bin", tmp_path / "out"
    wanted = {"report.html", "diagnosis.json", "cycles.parquet", "periods.parquet", "edges.parquet"}

    def run(ops):
        path.write_bytes(mutated_log(NAMES, WHOLE if len(ops) % 2 else SMALL, ops))
        for old in out.rglob("*") if out.exists() else ():
            if old.is_file():
                old.unlink()
        ran = command("diagnose", path, "--out", out, "--quiet")
        there = {p.name for p in out.iterdir() if p.is_file()} if out.exists() else set()
        if leftovers(out) or (there if ran.status else not wanted <= there):
            return "half-written", sorted(there)
        word = ran.outcome()
        if word == "right":
            log = json.loads((out / "diagnosis.json").read_text(encoding="utf-8"))["logs"][0]
            whole = log["rows_read"] == log["rows_used"] + log["rows_rejected"]
            word = "silent loss" if not whole else "partly read" if log["rows_rejected"] or log["warnings"] else word
        return word, ran.err[-400:]

    tried(tally, "logs diagnosed", run, operations, share(cases, "logs diagnosed"))


STATION = {
    "station": {"name": "Loader 2", "volume_ml": 60.0, "volume_rel_u": 0.05, "ambient_kpa": 100.8, "temperature_c": 20, "timezone": "Europe/Lisbon", "source": "ejector", "sensor_at": "generator", "cups_per_circuit": 1, "supply_group": "north", "ref_vacuum_kpa": 60, "recording": "continuous"},
    "settings": {"set_point_kpa": 56.0, "reset_point_kpa": 51.0, "supply_off_kpa": 68.0, "supply_on_kpa": 62.0, "guard_kpa": 1.0, "adjustable": ["set_point"]},
    "display": {"unit": "kPa", "step": 0.1, "negative": True, "entry": {"reset_point": "below set_point"}},
    "channels": {"time": "time_s", "pressure": {"column": "pressure_kpa", "unit": "kPa", "sense": "gauge"}, "supply": {"column": "supply", "on_level": 1, "signal": "valve"}, "release": "none", "context": ["part_present"]},
    "load": {"mass_kg": 2.0, "acceleration_m_s2": 5.0, "cups": 4, "cup_diameter_mm": 40, "friction": 0.5, "orientation": "horizontal", "safety_factor": 2.0},
    "limits": {"decay_rate_kpa_s": {"max": 4.0, "severity": "major"}, "hold_vacuum_kpa": {"min": 50.0}},
    "price": {"nozzle_flow_l_min_anr": 90.0, "energy_kwh_per_m3_anr": 0.12, "price_per_kwh": 0.2},
}  # fmt: skip


@both
def test_station_files_are_taken_or_refused(cases, tally, tmp_path):
    """A station file is understood, and then a log is read with it, or one message names the file or the log."""
    path, log = tmp_path / "station.toml", tmp_path / "log.csv"
    log.write_text(csv_text(NAMES, SMALL))

    def run(case):
        ops, late, place = case
        text = toml_text(mutated_document(STATION, ops)).encode("utf-8", "surrogatepass")
        path.write_bytes(damaged(text, place, late, late) if late % 3 == 0 else text)
        try:
            station = load_station(path)
            if late % 5 == 0:
                for one in open_logs(log, station):
                    list(one.blocks())
                    one.facts()
        except TracekitError as error:
            named = path.name in str(error) or log.name in str(error)
            return ("refused", "") if named else ("traceback", f"names no file: {error}")
        except Exception as error:  # noqa: BLE001 - this is what is looked for
            return "traceback", f"{type(error).__name__}: {error} {text[:400]!r}"
        return "right", ""

    strategy = st.tuples(changes, st.integers(0, 255), st.integers(0, 999))
    tried(tally, "station files", run, strategy, share(cases, "station files"))


@pytest.fixture
def history(tmp_path):
    """A history of three logs with a note, as bytes by file."""
    folder = tmp_path / "history"
    for day in range(3):
        header, cells = rows(3, seed=day)
        (tmp_path / f"{day}.csv").write_text(csv_text(header, cells))
        assert command("diagnose", tmp_path / f"{day}.csv", "--out", tmp_path / "o", "--quiet", "--history", folder, "--started", f"2025-01-0{day + 1}T00:00Z").status == 0
    assert command("history", folder, "--event", "2025-01-02 0: cups changed").status == 0
    return folder, {p: p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def lost(hurt: list[Path]) -> bool:
    """Whether a changed file of a history holds rows or a note that must not be missed; notes of the watch are a cache."""
    return any(p.suffix == ".parquet" for p in hurt)


@both
def test_damaged_histories_are_read_as_far_as_they_are_sound(cases, tally, history):
    """A damaged file of a history is named; the others count; no command fails over it."""
    folder, files = history
    names = list(files)
    ways = (("--check",), (), ("--compact",), ("--json",), ("--export", "-"))

    def run(case):
        ops, way = case
        for path in [p for p in folder.rglob("*") if p.is_file() and p not in files]:
            path.unlink()
        for path, data in files.items():
            path.write_bytes(data)
        for which, place, size, pick in ops:
            path = names[which % len(names)]
            path.write_bytes(damaged(path.read_bytes(), place, size, pick))
        ran = command("trend", folder, "--format", "text") if way == 5 else command("history", folder, *ways[way])
        if way:
            return ran.outcome(), (ran.err[-300:], way)
        hurt = [p for p in names if p.suffix in (".parquet", ".json") and p.read_bytes() != files[p]]
        named = ran.status == 2 and "damaged:" in ran.out
        word = "partly read" if named else "silent loss" if hurt and lost(hurt) else ran.outcome()
        return word, (ran.out[-300:], hurt)

    one = st.tuples(st.integers(0, 999), st.integers(0, 999), st.integers(1, 991), st.integers(-1, 255))
    strategy = st.tuples(st.lists(one, min_size=1, max_size=3), st.integers(0, 5))
    tried(tally, "histories", run, strategy, share(cases, "histories"))


@pytest.fixture
def documents(tmp_path):
    """A plan and a comparison with their log."""
    header, cells = rows(4)
    log = tmp_path / "log.csv"
    log.write_text(csv_text(header, cells))
    assert command("plan", "--freeze", tmp_path / "frozen.json", "--out", tmp_path / "p", "--quiet", "--margin", 0.5).status == 0
    assert command("compare", log, log, "--out", tmp_path / "c", "--quiet").status == 0
    read_json = [json.loads((tmp_path / n).read_text(encoding="utf-8")) for n in ("frozen.json", "c/comparison.json")]
    return tmp_path, log, read_json


@both
def test_mutated_documents_are_taken_or_refused(cases, tally, documents):
    """A plan or a sheet that was changed is refused in one message, or used where it still makes sense."""
    folder, log, (plan, sheet) = documents
    path = folder / "given.json"

    def run(case):
        ops, late, place = case
        use_plan = late % 2 == 0
        text = json.dumps(mutated_document(plan if use_plan else sheet, ops)).encode()
        path.write_bytes(damaged(text, place, late, late) if late % 3 == 0 else text)
        more = ("compare", log, log, "--plan", path, "--out", folder / "again", "--quiet") if use_plan else ("verify", path, log)
        ran = command(*more)
        return ran.outcome(), ran.err[-400:]

    strategy = st.tuples(changes, st.integers(0, 255), st.integers(0, 999))
    tried(tally, "JSON inputs", run, strategy, share(cases, "JSON inputs"))


OPTIONS = (
    "--out", "--station", "--baseline", "--blanked", "--history", "--started", "--csv", "--units", "--fail-on", "--json", "--quiet",
    "--workers", "--set", "--goal", "--only", "--plan", "--primary", "--accept", "--accept-rule", "--match", "--measure", "--change",
    "--margin", "--power", "--looks", "--freeze", "--limit", "--as-of", "--format", "--check", "--compact", "--event", "--forget",
    "--from", "--to", "--export", "--orifice-mm", "--discharge", "--orifice-c-dm3-s-bar", "--orifice-b", "--orifice-u", "--kind",
    "--seed", "--cycles", "--severity", "--once", "--help", "--timing", "--no-color", "--write-station", "--show-model",
)  # fmt: skip
WORDS = (*(c for c in CELLS if "\x00" not in c and len(c) < 500), "LOG", "FOLDER", "STATION", "HISTORY", "leak_steady", "diagnosis",
         "decay_rate_kpa_s<=2", "decay_rate_kpa_s<=1e999", "set_point=56", "set_point=nan", "set_point=-1e308", "mbar", "decay_rate_kpa_s",
         "20%", "-20%", "nan%", "2025-01-01 x: y", "csv", "healthy", "torn_cup", "last-good", "**", "[", "a" * 300, "~", "LOG/x")  # fmt: skip
SLOW_COMMANDS = ("watch",)  # without --once it never ends


@both
def test_command_lines_are_understood_or_refused(cases, tally, tmp_path, monkeypatch):
    """Any words in any order end with a status of the contract and one message."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "log.csv").write_text(csv_text(NAMES, WHOLE))
    (tmp_path / "station.toml").write_text(toml_text(STATION))
    named = {"LOG": "log.csv", "FOLDER": ".", "STATION": "station.toml", "HISTORY": "history"}
    commands = [name for name, _ in COMMANDS if name not in SLOW_COMMANDS]

    def run(words):
        ran = command(*(named.get(w, w) for w in words if w != "--open"))
        return ran.outcome(), ran.err[-400:]

    word = st.one_of(st.sampled_from(WORDS), st.sampled_from(OPTIONS), st.integers(-5, 500).map(str))
    strategy = st.tuples(st.sampled_from(commands), st.sampled_from(["LOG", "HISTORY", "x"]), st.lists(word, max_size=5)).map(lambda t: [t[0], t[1], *t[2]])
    tried(tally, "command lines", run, strategy, share(cases, "command lines"))
