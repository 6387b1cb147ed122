"""No expression of the product takes long over a line that a stranger wrote: each is tried on long runs of what it looks for."""

import contextlib
import importlib
import pkgutil
import re
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

import tracekit
from tracekit.errors import LogReadError
from tracekit.read import open_log

LONG, MOST_S = 500, 1.0
RUNS = (
    " ",
    "a",
    "0",
    "-",
    ".",
    "_",
    '"',
    "'",
    "#",
    ";",
    ",",
    ":",
    "=",
    "/",
    "\t",
    "a ",
    "0 ",
    "a.",
    "0.",
    "1:",
    "- ",
    "a=",
    "(",
    "()",
    "[",
    "%",
    "\\",
    "|",
    "\n",
    "\x0b",
)
BEFORE = ("", "a", "pressure ")
AFTER = ("", "!")


def patterns() -> dict[str, re.Pattern]:
    """Every compiled expression that a module holds, alone or in a tuple, a list or a mapping."""
    found: dict[re.Pattern, str] = {}
    for module in pkgutil.walk_packages(tracekit.__path__, "tracekit."):
        if "__main__" in module.name:
            continue
        for name, value in vars(importlib.import_module(module.name)).items():
            for pattern in held(value):
                found.setdefault(pattern, f"{module.name}.{name} {pattern.pattern!r:.60}")
    return {name: pattern for pattern, name in found.items()}


def held(value: object) -> Iterator[re.Pattern]:
    """The expressions in a value."""
    if isinstance(value, re.Pattern):
        yield value
    elif isinstance(value, dict):
        yield from held([*value.keys(), *value.values()])
    elif isinstance(value, (tuple, list, set, frozenset)):
        for one in value:
            yield from held(one)


LINES = {
    "names": "t=0.01 pressure_kpa=-57.3 supply=1 part=0",
    "quoted names": 'ts="10:00:01" pressure_kpa="-57.3 kPa" supply="on"',
    "names in any order": "pressure_kpa=-57.3;supply=1;t=0.01",
    "points": "vacuum,cell=4 pressure_kpa=-57.3,supply=1i 1742289247010000000",
    "records": '{"t": 0.01, "v": {"pressure_kpa": -57.3, "supply": 1}}',
    "statements": "INSERT INTO samples (time_s, pressure_kpa, supply) VALUES (0.01, -57.3, 1);",
    "a table": "0.01;-57.3;1",
    "events": "0.01;-57.3",
}
HEADS = {
    "a table": "# Sample interval: 10 ms\n# started: 2025-03-18 09:14:07\n# DI word: bit 0 = suction, bit 1 = release\n"
    "Time [s];Vacuum [kPa];DI word",
    "events": "time_s;pressure kPa",
}


def made_while_reading(folder: Path) -> dict[str, re.Pattern]:
    """Every expression that is asked for while logs of many forms are read: those put together then are among them."""
    found: dict[str, re.Pattern] = {}
    compiled = re._compile

    def noting(pattern, flags):
        made = compiled(pattern, flags)
        if not isinstance(pattern, re.Pattern):
            found.setdefault(f"{pattern!r:.300} {int(flags)}", made)
        return made

    re._compile = noting
    try:
        for name, line in LINES.items():
            lines = [HEADS[name]] if name in HEADS else []
            for k in range(60):
                own = line.replace("0.01", f"{k / 100:.2f}").replace("-57.3", f"{-(k % 30) * 2.1:.1f}")
                lines.append(own if k % 2 or name != "names in any order" else ";".join(reversed(own.split(";"))))
                if name == "events" and k % 6 == 0:
                    lines.append(f"{k / 100:.2f};Suction valve {'on' if k % 12 else 'off'}")
            path = folder / f"{name}.log"
            path.write_text("\n".join([*lines, ""]))
            with contextlib.suppress(LogReadError):
                for _ in open_log(path).blocks():
                    pass
    finally:
        re._compile = compiled
    return found


def hostile(*, own: bool) -> Iterator[str]:
    """Long runs, for expressions of a form of lines also behind and inside lines that nearly have it."""
    yield from (head + (run * LONG)[:LONG] + tail for run in RUNS for head in BEFORE for tail in AFTER)
    if own:
        for line in LINES.values():
            yield from (line + (run * LONG)[:LONG] + "!" for run in RUNS)
            yield from (line[: len(line) // 2] + (run * LONG)[:LONG] + line[len(line) // 2 :] + "!" for run in RUNS)
            yield from ((line + mark) * 20 + "!" for mark in " ;,")


class TooLongError(Exception):
    """An expression that has not come to an end."""


def ring(*_: object) -> None:
    """What the alarm does: the engine looks for signals now and then."""
    raise TooLongError


def seconds(pattern: re.Pattern, text: str) -> float:
    """Processor time of an expression over a text, from its start and anywhere; it is stopped after a while."""
    subject = text.encode() if isinstance(pattern.pattern, bytes) else text
    begun = time.process_time()
    signal.setitimer(signal.ITIMER_PROF, 2 * MOST_S)
    try:
        pattern.match(subject)
        pattern.search(subject)
        pattern.fullmatch(subject)
    except TooLongError:
        return 2 * MOST_S
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    return time.process_time() - begun


@pytest.mark.skipif(sys.platform == "win32", reason="no timer of processor time here")
def test_no_expression_blows_up(tmp_path):
    """Runs of 500 characters cost every expression less than a second of processor time."""
    known = patterns()
    assert len(known) > 80
    made = made_while_reading(tmp_path)
    assert sum("pressure_kpa" in name for name in made) > 4  # one for every form of lines that name their values
    held_ones = set(known.values())
    made = {name: pattern for name, pattern in made.items() if pattern not in held_ones}
    known |= made
    before = signal.signal(signal.SIGPROF, ring)
    try:
        slow = {}
        for name, pattern in known.items():
            for text in hostile(own=name in made):
                taken = seconds(pattern, text)
                if taken > MOST_S:
                    slow[name] = (taken, text[:12])
                    break
    finally:
        signal.signal(signal.SIGPROF, before)
    assert slow == {}
