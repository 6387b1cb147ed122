"""The answers that an open question leaves: what each would mean, and the line that chooses it."""

import re
from collections.abc import Sequence

from tracekit.errors import UsageError
from tracekit.model.understood import OpenQuestion
from tracekit.units import PRESSURE_UNITS, SENSES, time_unit

_LOWEST_KPA, _HIGHEST_KPA, _LEAST_SPAN_KPA = -103.0, 1000.0, 15.0
"""No vacuum is deeper than ambient, blow-off hardly higher, and a vacuum that parts are held with at least so deep."""
_RANGE = re.compile(r"readings from (-?[\d.e+]+) to (-?[\d.e+]+)")
_STEP = re.compile(r"from row to row ([\d.e+-]+)")
_FASTEST_S, _SLOWEST_S = 1e-5, 60.0
_USUAL = ("kPa", "mbar", "bar", "Pa", "psi", "inHg", "mmHg")
_QUOTED = re.compile(r'"([^"]*)"(?=[^"]*$)')
_OTHER = re.compile(
    r'\bor (?P<key>[a-z_]+) = (?P<value>\{[^}]*\}|"[^"]*"|\[\[.*?\]\]|\[[^\]]*\]|[\d.e+-]+)'
    r"(?P<means> (?:where|to) [^;]*)?"
)
_OFFERED = re.compile(r'unit = "([^"]+)", sense = "([^"]+)"')
_LEFT_OPEN = 'unit = "...", sense = "..."'
_INNER = ("unit", "scale", "interval_s")  # keys of a channel, one of which stands for the others
_COLUMN = re.compile(r'column = "[^"]*"')
NARROW = "\u00a0"
"""Stands between a number and its unit."""


def answers(question: OpenQuestion) -> list[tuple[str, str]]:
    """Every answer to a question as what it would mean, empty where that does not show, and its line.

    For a pressure whose unit does not show they are the units in which its readings are possible at a station of
    vacuum, for a unit of time the intervals that each would give, for a sense the vacuum, else the columns that may be
    meant, or what stands behind the line.
    """
    answer, _, comment = question.line.partition("#")
    answer = answer.rstrip()
    shown = _RANGE.search(question.found)
    if shown and (offered := _offered(answer, comment, float(shown[1]), float(shown[2]))):
        return offered
    if answer.startswith("pressure") and 'unit = "' in answer and shown and "unit" in question.found:
        ends = float(shown[1]), float(shown[2])
        listed = [*_units(answer, *ends), *_senses(answer, comment, *ends), *_told(answer, _OFFERED.sub("", comment))]
        return [one for place, one in enumerate(listed) if one[1] not in [line for _, line in listed[:place]]]
    senses = [(s, re.search(rf"as {s}[^,]*? (\d+) kPa", question.found)) for s in SENSES]
    if any(m for _, m in senses):
        return [
            (f"{s}: a vacuum of up to {m[1]}{NARROW}kPa", re.sub(r'sense = "[^"]*"', f'sense = "{s}"', answer))
            for s, m in senses if m
        ]  # fmt: skip
    columns = _columns(question.found)
    if columns and _COLUMN.search(answer):
        before, behind = _COLUMN.split(answer, maxsplit=1)
        return [(name, f'{before}column = "{name}"{behind}') for name in columns]
    return [*_words(answer, _OTHER.sub("", comment), question.found), *_told(answer, comment)]


def _senses(answer: str, comment: str, low: float, high: float) -> list[tuple[str, str]]:
    """The units that stand behind a line with a sense of their own, which is another than that of the line."""
    sense = re.search(r'sense = "([^"]*)"', answer)
    if sense is None:
        return []
    others = " ".join(f'unit = "{u}", sense = "{s}"' for u, s in _OFFERED.findall(comment) if s != sense[1])
    bare = re.sub(r'unit = "[^"]*", sense = "[^"]*"', _LEFT_OPEN, answer)
    return _offered(bare, others, low, high)


def _offered(answer: str, comment: str, low: float, high: float) -> list[tuple[str, str]]:
    """The units with their senses that stand behind a line which leaves both open; none where it does not."""
    sizes = {unit.symbol: unit.kpa for unit in PRESSURE_UNITS}
    found = []
    for unit, sense in _OFFERED.findall(comment) if _LEFT_OPEN in answer else ():
        ends = sorted((0.0 - low, 0.0 - high) if sense == "vacuum" else (low, high))
        span = f"from {_figure(ends[0] * sizes[unit])} to {_figure(ends[1] * sizes[unit])}{NARROW}kPa"
        means = f"{unit}: {span}{' absolute' if sense == 'absolute' else ''}"
        found.append((means, answer.replace(_LEFT_OPEN, f'unit = "{unit}", sense = "{sense}"')))
    return found


def _told(answer: str, comment: str) -> list[tuple[str, str]]:
    """Other lines, or other values of a key of this one, that stand behind a line: 'or supply = "Valve" where ...'."""
    found = []
    for match in _OTHER.finditer(comment):
        key, value, means = match["key"], match["value"], (match["means"] or "").strip(" ;,.")
        own = re.compile(rf"(?<=[{{,] ){key} = (?:\[\[.*?\]\]|\"[^\"]*\"|[^,}}\s]+)")
        told, column = f"{key} = {value}", _COLUMN.search(answer)
        place = own.search(answer)
        line = answer[: place.start()] + told + answer[place.end() :] if place is not None else told
        if line == told and key in _INNER and column is not None:
            line = f"{answer.partition(' ')[0]} = {{ {column[0]}, {told} }}"
        found.append((means, line))
    return found


def _columns(found: str) -> list[str]:
    """The columns among which a question leaves the choice; none where it is about one."""
    several = re.search(r"several columns may be [^:]*: (.*)", found) or re.search(r"(.*) switch, but which", found)
    clocks = re.search(r"(.*) are two clocks", found)
    match = several or clocks
    return re.findall(r'"([^"]*)"', match[1]) if match else []


def _words(answer: str, comment: str, found: str) -> list[tuple[str, str]]:
    """What stands behind the line as alternatives, single words parted by commas."""
    listed = re.split(r",|\bor\b", comment) if comment.strip().startswith("or ") else []
    words = [w.strip(" ,.;") for w in listed if re.fullmatch(r"\s*\w+\s*[.;]?\s*", w)]
    first = _QUOTED.search(answer)
    if not words or first is None:
        return [("", answer)]
    every = list(dict.fromkeys([first[1], *words]))
    step = _STEP.search(found)
    counts = float(step[1]) if step else 0.0
    likely = [w for w in every if (s := _interval_s(w, counts)) is None or _FASTEST_S <= s <= _SLOWEST_S]
    return [(_every(w, counts), f"{answer[: first.start(1)]}{w}{answer[first.end(1) :]}") for w in likely or every]


def _interval_s(word: str, counts: float) -> float | None:
    """The interval between rows that a unit of time would give [s], None where the word is no unit or it is unknown."""
    try:
        return counts * time_unit(word).seconds or None
    except UsageError:
        return None


def _every(word: str, counts: float) -> str:
    seconds = _interval_s(word, counts)
    return word if seconds is None else f"{word}: a sample every {_figure(seconds)}{NARROW}s"


def _units(answer: str, low: float, high: float) -> list[tuple[str, str]]:
    found: dict[float, tuple[str, str]] = {}
    if 'sense = "vacuum"' in answer:
        low, high = -high, -low
    least = _LEAST_SPAN_KPA if 'sense = "absolute"' not in answer else -_HIGHEST_KPA
    for unit in sorted(PRESSURE_UNITS, key=lambda u: u.symbol not in _USUAL):
        ends = low * unit.kpa, high * unit.kpa
        possible = ends[0] >= _LOWEST_KPA and ends[1] <= _HIGHEST_KPA and ends[1] - ends[0] >= _LEAST_SPAN_KPA
        possible = possible and -ends[0] >= least
        same = any(abs(unit.kpa / known - 1.0) < 1e-3 for known in found)
        if possible and not same:
            means = f"{unit.symbol}: from {_figure(ends[0])} to {_figure(ends[1])}{NARROW}kPa"
            found[unit.kpa] = (means, re.sub(r'unit = "[^"]*"', f'unit = "{unit.symbol}"', answer))
    return list(found.values()) or [("", answer)]


def _figure(value: float) -> str:
    return f"{value:.3g}".replace("-", "\u2212")


def answer_lines(questions: Sequence[OpenQuestion]) -> list[tuple[str, list[tuple[str, str]]]]:
    """What was found with its answers, once for each question."""
    by_found: dict[str, list[tuple[str, str]]] = {}
    for question in questions:
        by_found.setdefault(question.found, []).extend(answers(question))
    return list(by_found.items())
