"""Two programs add and merge and are killed at random instants: nothing lost, nothing doubled, no reader misled."""

import os
import random
import shutil
import signal
import time
from collections import Counter
from pathlib import Path

import pytest
from history.made_up_records import log_id_of, simple_record

from tracekit.history.add import add_record
from tracekit.history.place import open_place
from tracekit.history.read import read_rows
from tracekit.history.upkeep import check, compact

LOGS = 24
STATIONS = ("Glaze 1", "Glaze 2")

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="the system has no fork to kill programs with")


def writer(folder: Path, seed: int) -> None:
    """Add logs in an order of its own for ever, each of them one that the other writer adds too; merge now and then."""
    rng = random.Random(seed)
    numbers = list(range(LOGS))
    while True:
        rng.shuffle(numbers)
        for number in numbers:
            add_record(folder, simple_record(number, stations=STATIONS))
            if rng.random() < 0.15:
                compact(open_place(folder))


def started(folder: Path, seed: int) -> int:
    """The process id of a new writer."""
    child = os.fork()
    if child == 0:
        try:
            writer(folder, seed)
        finally:
            os._exit(1)
    return child


def logs_seen(folder: Path) -> set[str]:
    """Logs that a reader finds; every one of them must be whole and counted once."""
    table = read_rows(open_place(folder)).table
    names = table.texts("log_id")
    measures = zip(names, table.texts("station"), table.texts("name"), table.texts("context"), table.texts("kind"), strict=True)
    assert max(Counter(measures).values(), default=1) == 1, "a row is doubled"
    sizes = Counter(names)
    assert len(set(sizes.values())) <= 1, f"a log is there in part: {sizes}"
    return {str(name) for name in sizes}


def time_to_add(folder: Path) -> float:
    """How long adding one log takes just now [s]: on a busy machine writers live longer, else none would ever add one."""
    begun_s = time.monotonic()
    add_record(folder, simple_record(0, stations=STATIONS))
    shutil.rmtree(folder)
    return time.monotonic() - begun_s


def killed_run(folder: Path, kills: int, seed: int) -> dict[str, int]:
    """Kill one of two writers at a random instant, again and again, reading in between."""
    rng = random.Random(seed)
    longest_s = max(0.15, 8.0 * time_to_add(folder.with_name("first")))
    (folder / "summaries").mkdir(parents=True)
    running = [started(folder, seed + n) for n in range(2)]
    kept: set[str] = set()
    reads = 0
    try:
        for kill in range(kills):
            time.sleep(rng.uniform(0.0, longest_s))
            victim = rng.randrange(2)
            os.kill(running[victim], signal.SIGKILL)
            os.waitpid(running[victim], 0)
            now = logs_seen(folder)
            assert kept <= now, f"lost after kill {kill}: {kept - now}"
            kept, reads = now, reads + 1
            running[victim] = started(folder, seed + 2 + kill)
    finally:
        for child in running:
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
    unfinished = len(check(open_place(folder)).unfinished)
    return {"kills": kills, "reads": reads, "logs": len(kept), "unfinished": unfinished}


def finish(folder: Path) -> None:
    """What the next run does: the missing logs are added, the folder merged; all must be there once."""
    for number in range(LOGS):
        add_record(folder, simple_record(number, stations=STATIONS))
    assert logs_seen(folder) == {log_id_of(n) for n in range(LOGS)}
    compact(open_place(folder))
    assert logs_seen(folder) == {log_id_of(n) for n in range(LOGS)}
    found = check(open_place(folder))
    assert found.sound
    assert found.orphans == ()


def test_twenty_kills_lose_and_double_nothing(tmp_path: Path) -> None:
    """After each of 20 kills every log that was in is in, whole and once; the next run completes the rest."""
    told = killed_run(tmp_path / "history", 20, seed=4)
    assert told["reads"] == 20
    assert told["logs"] > 0
    finish(tmp_path / "history")


@pytest.mark.full
def test_two_hundred_kills_lose_and_double_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same with 200 kills, over eight histories so that young ones are hit too."""
    total: Counter[str] = Counter()
    for part in range(8):
        folder = tmp_path / f"history-{part}"
        total.update(killed_run(folder, 25, seed=100 * part))
        finish(folder)
    with capsys.disabled():
        print(f"\nkills {total['kills']}, consistent reads {total['reads']}, unfinished files met {total['unfinished']}")
    assert total["kills"] == total["reads"] == 200
