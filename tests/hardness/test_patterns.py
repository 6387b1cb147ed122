"""No expression of the product takes long over a line that a stranger wrote: each is tried on long runs of what it looks for."""

import importlib
import pkgutil
import re
import signal
import sys
import time
from collections.abc import Iterator

import pytest

import tracekit

LONG, MOST_S = 500, 1.0
RUNS = (" ", "a", "0", "-", ".", "_", '"', "'", "#", ";", ",", ":", "=", "/", "\t", "a ", "0 ", "a.", "0.", "1:", "- ", "a=", "(", "()", "[", "%", "\\", "|", "\n", "\x0b")
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
def test_no_expression_blows_up():
    """Runs of 500 characters cost every expression less than a second of processor time."""
    known = patterns()
    assert len(known) > 80
    before = signal.signal(signal.SIGPROF, ring)
    try:
        slow = {}
        for name, pattern in known.items():
            for text in (head + (run * LONG)[:LONG] + tail for run in RUNS for head in BEFORE for tail in AFTER):
                taken = seconds(pattern, text)
                if taken > MOST_S:
                    slow[name] = (taken, text[:12])
                    break
    finally:
        signal.signal(signal.SIGPROF, before)
    assert slow == {}
