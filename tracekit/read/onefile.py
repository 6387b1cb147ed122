"""Several tables of one file: they are one recording, one after the other, or add nothing to it."""

from collections.abc import Collection, Sequence
from dataclasses import replace

from tracekit.errors import LogReadError, message
from tracekit.options.evidence import EVIDENCE
from tracekit.options.read import ReadOptions
from tracekit.read.digitals import ROLES, find_digitals
from tracekit.read.head import Head
from tracekit.read.midnight import goes_on_s
from tracekit.read.overlap import Part
from tracekit.read.plan import Plan
from tracekit.read.words import hints


def one_after_another(
    parts: Sequence[Part], options: ReadOptions
) -> tuple[list[Part], list[tuple[Part, LogReadError]]]:
    """The parts, of which those of one file follow one another, and parts of files whose tables cannot, with why.

    Times without a date that begin again are placed a pause behind the table before.
    """
    placed: list[Part] = []
    refused: list[tuple[Part, LogReadError]] = []
    before: dict[int, Part] = {}
    for part in parts:
        last = before.get(id(part.opened.source))
        if last is not None:
            try:
                part = _behind(last, part, options)
            except LogReadError as error:
                refused.append((part, error))
                continue
        before[id(part.opened.source)] = part
        placed.append(part)
    return placed, refused


def _behind(last: Part, part: Part, options: ReadOptions) -> Part:
    """A table behind the one before it. Raises LogReadError where the two are no one recording."""
    differs = _differs(last.plan, part.plan)
    if not differs and not (last.exact and last.opened.head.whole) and last.plan.time.kind == "row":
        differs = "rows without times"
    if not differs and part.plan.time.dated and part.first_s <= last.last_s:
        differs = "dates that overlap"
    if differs:
        found = (
            f"two tables of samples, from line {last.opened.line} and from line {part.opened.line} on, with {differs}"
        )
        todo = "Write each table into a file of its own and read them one by one."
        raise LogReadError(message(part.opened.source.name, found, "tables of one recording", todo))
    if part.plan.time.dated or (part.first_s > last.last_s and not part.falls and not last.falls):
        return part
    start_s = max(_told_apart_s(last, part), goes_on_s(last, part, options))
    if start_s > last.last_s:
        return _moved(part, start_s)
    start_s = last.last_s + max(last.plan.time.typical_s, part.plan.time.typical_s) + options.restart_gap_s
    told = (
        f"a second table begins in line {part.opened.line}, with times of its own: how long the log paused there is "
        f"not known; a gap of {start_s - last.last_s:.3g} s is assumed, and all later times rest on it"
    )
    return replace(_moved(part, start_s), told=told)


def _moved(part: Part, first_s: float) -> Part:
    return replace(part, first_s=first_s, last_s=first_s + part.last_s - part.first_s)


def _told_apart_s(last: Part, part: Part) -> float:
    """When a table begins by the starts that both tell above their headers [s]; minus infinity where they do not."""
    began, begins = last.plan.time.start_us, part.plan.time.start_us
    if began is None or begins is None:
        return float("-inf")
    return last.first_s + (begins - began) / 1e6


def _differs(one: Plan, other: Plan) -> str:
    """In what two tables are no one recording; empty where they are."""
    if one.time.dated != other.time.dated:
        return "dates in one of them alone"
    if [s.name for s in one.stations] != [s.name for s in other.stations]:
        return "other stations"
    for a, b in zip(one.stations, other.stations, strict=True):
        if set(a.digitals) != set(b.digitals):
            return "other signals"
        if a.pressure.absolute != b.pressure.absolute:
            return "absolute pressure in one of them alone"
    return ""


def adds_nothing(head: Head, roles: Collection[str]) -> bool:
    """True for a table without a pressure, and without anything that may be a signal that is not known yet."""
    pressures = [c for c in head.columns if c.hints.weight("pressure") >= EVIDENCE.name_weight or c.hints.pressure_unit]
    lacking = [r for r in ROLES if r not in roles]
    if pressures or not lacking:
        return not pressures
    listed = [w for c in head.columns if c.kind == "text" for w in c.words]
    named = any(hints(w).weight(role) >= EVIDENCE.name_weight for w in listed for role in lacking)
    return not named and not any(d.moves for d in find_digitals(list(head.columns)))
