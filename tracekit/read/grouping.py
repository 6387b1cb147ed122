"""Several stations in the columns of one file."""

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracekit.errors import LogReadError, message
from tracekit.model.station import Station
from tracekit.read.columns import Column
from tracekit.read.digitals import ROLES, Digital
from tracekit.read.head import Question, joined, spread
from tracekit.read.words import fold, hints, tokens_of

_NO_STATIONS = frozenset({
    "abs", "absolute", "rel", "relative", "gauge", "kpa", "mbar", "bar", "hpa", "pa", "mpa", "psi", "vacuum",
    "pressure", "min", "max", "in", "out", "raw", "filtered", "inlet", "outlet", "supply", "mean", "avg", "set",
    "actual", "generator", "cup", "ejector", "ejektor", "pump", "pumpe", "hose", "line", "filter", "tank", "header",
    "before", "behind", "after", "sensor",
})  # fmt: skip
"""Words that tell two pressures of one station apart."""
_ONE_COLUMN = re.compile(r'column = "[^"]*",?\s*')
_SHORTEST = 4
"""Letters of a word before a station's number at least that is taken into its name: "AI 1" is a terminal."""
_MOVING, _FEWEST_MOVING, _OFF = 0.02, 20, 0.25
"""Change from row to row, as a share of the range, at which the order of readings shows; so many such rows at least;
how far off its place in the row a reading may lie, as a share of the distance to the next (no source)."""


def station_keys(pressures: Sequence[Column], signals: Sequence[str] = ()) -> list[str] | None:
    """The part of each pressure column's name that tells its station; None where the names differ in other ways.

    signals  names of digitals; where names of readings say nothing, theirs tell that a part of them is a station's
    """
    named = all(c.hints.weight("pressure") or c.hints.pressure_unit for c in pressures)
    tokens = [tokens_of(c.name) for c in pressures]
    if len({len(t) for t in tokens}) != 1:
        return None
    places = [i for i in range(len(tokens[0])) if len({t[i] for t in tokens}) > 1]
    if len(places) != 1:
        return None
    keys = [t[places[0]] for t in tokens]
    if not named and not (places[0] == 0 and _lead(keys, [tokens_of(s) for s in signals])):
        return None
    if len(set(keys)) < len(keys) or set(keys) & _NO_STATIONS:
        return None
    if not all(re.search(r"\d$|^[a-z]$|[a-z]$", k) for k in keys):
        return None
    stem = _common_start(keys)
    if stem and hints(stem).roles:
        keys = [k[len(stem) :] for k in keys]
    return keys if all(keys) else None


def _lead(keys: Sequence[str], signals: Sequence[tuple[str, ...]]) -> bool:
    """True where words with a number lead the names of signals, and those that follow are the same behind each."""
    if not all(re.fullmatch(r"[^\W\d]+\d+", k) for k in keys):  # bare numbers and letters are those of terminals
        return False
    behind = [{s[1:] for s in signals if s[:1] == (key,) and len(s) > 1} for key in keys]
    return bool(behind[0]) and all(b == behind[0] for b in behind)


def of_all(question: Question) -> Question:
    """A question about the pressure of one of several stations, with a line that answers it for all of them."""
    if not question.line.startswith("pressure = {"):
        return question
    return replace(question, line=_ONE_COLUMN.sub("", question.line, count=1))


def with_own_signals(station: Station, key: str, keys: Sequence[str], own: Sequence[str]) -> Station:
    """The station file as it holds for one of several stations: for a signal of another one its own of that name.

    own  names of the signals of the station whose key it is
    """
    channels = dict(station.channels)
    for role in ROLES:
        name = channels[role].column if role in channels else None
        other = next((k for k in keys if k != key and name is not None and k in tokens_of(name)), None)
        if name is None or other is None:
            continue
        tail = [t for t in tokens_of(name) if t != other]
        same = [n for n in own if [t for t in tokens_of(n) if t != key] == tail]
        if len(same) == 1:
            channels[role] = replace(channels[role], column=same[0])
    return replace(station, channels=channels)


def check_stations(name: str, pressures: Sequence[Column], keys: Sequence[str]) -> None:
    """Raise LogReadError where columns with running numbers are samples that follow one another, not stations."""
    if not _follow(pressures, keys):
        return
    found = (
        f"each row holds {len(keys)} samples of one channel, {joined(c.name for c in pressures)}: "
        "they lie in even steps on the way from one row to the next"
    )
    todo = (
        "Write a row with a time of its own for each sample; or take one of them with a station file: "
        f'[channels] pressure = {{ column = "{pressures[0].name}" }}'
    )
    raise LogReadError(message(name, found, "a sample per row, or columns of different stations", todo))


def _follow(pressures: Sequence[Column], keys: Sequence[str]) -> bool:
    """True where the k-th of n columns lies k/n of the way from the first one to the first one of the next row.

    Stations that work side by side do not: what moves between two rows has not begun within one.
    """
    ends = [re.search(r"\d+$", key) for key in keys]
    numbers = [int(end[0]) for end in ends if end is not None]
    if len(numbers) < len(keys) or numbers != list(range(numbers[0], numbers[0] + len(keys))):
        return False
    if any(c.kind != "number" for c in pressures):
        return False
    readings = np.stack([c.values for c in pressures])
    step = np.diff(readings[0])
    low, high = spread(readings[0])
    moving = np.isfinite(readings[:, :-1]).all(axis=0) & (np.abs(step) > _MOVING * (high - low))
    if np.count_nonzero(moving) < _FEWEST_MOVING:
        return False
    shares = np.median((readings[1:, :-1] - readings[0, :-1])[:, moving] / step[moving], axis=1)
    return bool((np.abs(len(keys) * shares - np.arange(1, len(keys))) < _OFF).all())


def _common_start(keys: Sequence[str]) -> str:
    stem = keys[0]
    for key in keys[1:]:
        while not key.startswith(stem):
            stem = stem[:-1]
    return re.sub(r"\d+$", "", stem)


def station_name(key: str, column: str) -> str:
    """The key as it is written in the column's name, with the word for a station before it, if there is one."""
    found = re.search(rf"(?<![^\W_]){re.escape(key)}(?![^\W_])", column, re.IGNORECASE)
    if found is None:
        place = fold(column).find(key)
        return column[place : place + len(key)] if place >= 0 and len(fold(column)) == len(column) else key
    before = re.search(r"([^\W\d_]+)[\s_\-]+$", column[: found.start()])
    if before is not None and _names_a_place(before[1]):
        return f"{before[1]} {found[0]}"
    return found[0]


def _names_a_place(word: str) -> bool:
    """True for a word of a station, "Nest 1", but for those of a reading or a signal, "pressure 1"."""
    known = hints(word)
    reads = known.pressure_unit is not None or fold(word) in _NO_STATIONS
    signal = any(weight for role, weight in known.roles.items() if role != "station")
    return known.weight("station") >= 0.9 or (len(word) >= _SHORTEST and not reads and not signal)


def of_station(digitals: Sequence[Digital], key: str, others: Sequence[str]) -> list[Digital]:
    """Signals that bear the key of a station in their names, else those that bear none."""
    own = [d for d in digitals if _bears(d.name, key)]
    free = [d for d in digitals if not any(_bears(d.name, k) for k in (key, *others))]
    return own or free


def shares_signals(digitals: Sequence[Digital], keys: Sequence[str]) -> bool:
    """True where signals of a role bear no key and keys are words: then these may be two places of one station."""
    roles = [d for d in digitals if any(d.weights.get(r, 0.0) >= 0.8 for r in ROLES)]
    free = [d for d in roles if not any(_bears(d.name, k) for k in keys)]
    return len(roles) > 0 and len(free) == len(roles) and not any(len(k) == 1 or k[-1].isdigit() for k in keys)


def _bears(name: str, key: str) -> bool:
    tokens = tokens_of(name)
    if key in tokens:
        return True
    ends = [t for t in tokens if re.fullmatch(rf"[^\W\d_]+{re.escape(key)}", t)]
    return any(key.isdigit() or hints(t[: -len(key)]).roles for t in ends)
