"""Mutated logs, station files, histories, documents and command lines: right, partly read with the loss counted, or refused.

The short form tries some of each, and lets hypothesis make a bad case smaller; the full form (`-m full`) tries 100 000,
guided by coverage (`fuzz.py`, which is also a command).
"""

import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hardness.fuzz import CASES, TURNS, Kept, attempts, ended, seed_of, table
from hardness.fuzz_cases import (
    CALLED,
    FITTING,
    FITTING_VALUES,
    OPTIONS,
    STARTS,
    WAYS,
    WORDS,
    Draw,
    Trials,
    counted,
    options_of,
)
from hardness.made import csv_text, rows
from hardness.mutate import changes, lines_of, made_log, operations
from hardness.tally import Tally
from hardness.trial import SLOW_S
from hypothesis import given, settings
from hypothesis import strategies as st

MOST_KIB = 1 << 20
NAMES, WHOLE = rows(2)


@pytest.fixture
def trials(tmp_path, monkeypatch):
    """A folder to try cases in, which is also the current one."""
    monkeypatch.chdir(tmp_path)
    return Trials(tmp_path)


def tried(tally, kind: str, run, strategy, count: int) -> None:
    """Try a strategy's cases. Each gives a word and its details; those not allowed are told at the end."""
    before, peak_before = len(tally.broken(kind)), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

    @settings(max_examples=count, database=None, report_multiple_bugs=False)
    @given(strategy)
    def attempt(case):
        begun = time.process_time()
        word, told = run(case)
        word = "too slow" if time.process_time() - begun > SLOW_S else word
        tally.add(kind, word, (told, case))

    attempt()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    if peak > max(MOST_KIB, peak_before):  # what other tests of this process took is not this one's
        tally.add(kind, "memory", peak)
    assert tally.broken(kind)[before:] == []


def test_logs_are_read_or_refused(tally, trials):
    """Whatever happens to a log, in any container, its rows are accounted for or one message names the file."""
    tried(tally, "logs read", trials.read, operations, 120)


def test_logs_are_diagnosed_or_refused(tally, trials):
    """Whatever happens to a log, the command writes all its files or none, and ends with one message or a result."""
    tried(tally, "logs diagnosed", trials.diagnose, operations, 15)


def test_station_files_are_taken_or_refused(tally, trials):
    """A station file is understood, and then a log is read with it, or one message names the file or the log."""
    strategy = st.tuples(changes, st.integers(0, 255), st.integers(0, 999))
    tried(tally, "station files", lambda case: trials.station_file(*case), strategy, 150)


def test_damaged_histories_are_read_as_far_as_they_are_sound(tally, trials):
    """A damaged file of a history is named; the others count; no command fails over it."""
    trials.make_history()
    one = st.tuples(st.integers(0, 999), st.integers(0, 999), st.integers(1, 991), st.integers(-1, 255))
    strategy = st.tuples(st.lists(one, min_size=1, max_size=3), st.integers(0, len(WAYS)))
    tried(tally, "histories", lambda case: trials.damaged_history(*case), strategy, 25)


def test_mutated_documents_are_taken_or_refused(tally, trials):
    """A plan or a sheet that was changed is refused in one message, or used where it still makes sense."""
    trials.make_documents()
    strategy = st.tuples(changes, st.integers(0, 255), st.integers(0, 999))
    tried(tally, "JSON inputs", lambda case: trials.document(*case), strategy, 40)


def test_command_lines_are_understood_or_refused(tally, trials):
    """Any words in any order end with a status of the contract and one message."""
    word = st.one_of(st.sampled_from(WORDS), st.sampled_from(OPTIONS), st.integers(-5, 500).map(str))
    parts = st.tuples(st.sampled_from(CALLED), st.sampled_from(STARTS), st.lists(word, max_size=5))
    tried(tally, "command lines", trials.command_line, parts.map(lambda t: [t[0], t[1], *t[2]]), 40)


def test_a_row_that_vanished_is_noticed():
    """The count of rows that a case is held against is that of its file, in text, packed text and tables."""
    cells = WHOLE[::4]
    for packing in ("plain", "gzip", "zip", "parquet", "records", "feather"):
        made = made_log(NAMES, cells, (), packing)
        assert made.lines - len(cells) in (0, 1), packing
        assert counted(made.lines, len(cells), ())
        assert not counted(made.lines, len(cells) - 60, ())
        assert not counted(made.lines, len(cells) + 2, ())
    cut = made_log(NAMES, cells, [("cut", 500, 0, 0)], "gzip")
    assert cut.lines is None
    assert lines_of(b'a,"b\nc"\n') is None
    assert lines_of(csv_text(["a", "b"], [["1", "2"]] * 7).replace('"', "").encode()) == 8


def test_drawn_cases_change_with_their_bytes():
    """Every byte of the first operation counts, numbers stay below their bound, and an empty input is a case too."""
    base = bytes(range(1, 49))
    cases = [Draw(base[:at] + bytes([base[at] ^ 1]) + base[at + 1 :]).ops() for at in range(1, 7)]
    assert len({repr(c) for c in (*cases, Draw(base).ops())}) == 7
    assert Draw(b"\xff" * 9).number(992) < 992
    assert len(Draw(b"").ops()) == 1
    assert Draw(b"").words() == [CALLED[0], STARTS[0]]


def test_command_lines_hold_what_commands_ask_for():
    """Every command that ends by itself is called with options of its own, and each of these has a value that fits."""
    assert set(FITTING) == set(CALLED)
    for name in FITTING:
        flags, valued = options_of(name)
        assert set(valued) <= set(FITTING_VALUES), name
        assert {*flags, *valued} or name == "schema"
    words = Draw(b"\x03\x01\x02\x06\x00\x00\x0b").words()
    assert words[:2] == ["diagnose", "LOG"]
    assert set(words[2::2]) & set(options_of("diagnose")[1])


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the system has no fork")
def test_the_long_run_counts_each_case_once(tmp_path, monkeypatch):
    """A turn ends after its number of new cases, keeps what it tried, and tells what is not allowed with its case."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "place").mkdir()
    kind = "log read: gzip"

    def turned(count: int, word: str) -> int:
        child = os.fork()
        if child == 0:
            trials = Trials(tmp_path / "place")
            trials.read = lambda ops, packing: (word, packing)
            attempt = attempts(Kept(tmp_path / "kept", kind), trials, count, time.monotonic() + 60)
            for number in range(1000):
                attempt(bytes([0, number % 17]))
            os._exit(1)
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])

    assert turned(5, "right") == 0
    assert turned(7, "traceback") == 0
    assert turned(999, "right") == 1, "only 17 cases are new"
    kept = Kept(tmp_path / "kept", kind)
    assert kept.counts == {"right": 5, "traceback": 7}
    lines, wrong = table(tmp_path / "kept")
    assert wrong == 7
    assert sum(line.startswith(f"{kind}: traceback: gzip") for line in lines) == 7
    assert (ended(0), ended(70), ended(71), ended(-11)) == ("", "too slow", "memory", "traceback")


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the system has no fork")
def test_the_long_run_leaves_nothing_but_its_folder(tmp_path):
    """The command tries its share of a kind in turns, prints the table, and removes what its cases wrote."""
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    words = ("--blind", "--share", "0.02", "--only", "log read: feather", "--folder", "kept")
    told = subprocess.run([sys.executable, Path(__file__).with_name("fuzz.py"), *words], env={**os.environ, "TMPDIR": str(scratch)}, cwd=tmp_path, check=True, capture_output=True, text=True)
    assert [line.split()[3] for line in told.stdout.splitlines() if line.startswith("log read: feather")] == ["20"]
    assert {p.name for p in (tmp_path / "kept").iterdir()} >= {"log_read_feather"}
    assert list(scratch.iterdir()) == []


def test_every_turn_draws_cases_of_its_own():
    """No turn of any kind begins with the cases of another: they would be tried again and not counted."""
    seeds = [seed_of(1, kind, count * turn // TURNS) for kind, count in CASES.items() for turn in range(TURNS)]
    assert len(set(seeds)) == len(seeds) == TURNS * len(CASES)


@pytest.mark.full
def test_the_guided_run_sees_the_whole_package():
    """A fuzzer that is guided sees the branches of all modules but those few that it needs itself."""
    pytest.importorskip("atheris", reason="atheris is not installed")
    code = (
        "import sys, types; from hardness.fuzz import instrumented; assert instrumented(blind=False); import atheris\n"
        "made = [(m.__name__, f) for m in list(sys.modules.values()) if m.__name__.startswith('tracekit.')"
        " for f in vars(m).values() if isinstance(f, types.FunctionType) and f.__module__ == m.__name__]\n"
        "print(len(made), sum(atheris in f.__code__.co_consts for _, f in made))"
    )
    paths = os.pathsep.join([str(Path(__file__).parents[2]), str(Path(__file__).parents[1]), str(Path(__file__).parents[1] / "cli")])
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env={**os.environ, "PYTHONPATH": paths})
    functions, seen = map(int, ran.stdout.split())
    assert functions > 2000
    assert seen > 0.95 * functions


@pytest.mark.full
def test_a_hundred_thousand_cases(tally, tmp_path):
    """The whole run (`TRACEKIT_FUZZ` scales it, for a machine with less time): nothing that is not allowed."""
    share = float(os.environ.get("TRACEKIT_FUZZ", "1"))
    program = Path(__file__).with_name("fuzz.py")
    ran = subprocess.run([sys.executable, program, "--folder", tmp_path / "kept", "--share", str(share)], capture_output=True, text=True, check=False)
    for kind in CASES:
        for word, times in Kept(tmp_path / "kept", kind).counts.items():
            tally.add(f"fuzz, {kind}", word, times=times)
    assert ran.returncode == 0, ran.stdout[-5000:] + ran.stderr[-1000:]
    assert isinstance(tally, Tally)
    assert sum(tally.total(f"fuzz, {kind}") for kind in CASES) >= share * 99_990
