"""The line of urgency: what to do about a station, what was lost, how likely the cause and a second fault are."""

from tracekit.model.estimate import Withheld
from tracekit.model.finding import Finding, Severity
from tracekit.model.result import StationResult
from tracekit.report.coast_dips import coast_dips
from tracekit.report.doubt import PERHAPS, RUNNING, beside_leak, leak_chance, leak_size_shown, untold_leak
from tracekit.report.phrases import phrase
from tracekit.report.rivals import chance_of, rival_of, runner_up
from tracekit.report.second import SURE, called, drops_by, second_fault, second_words
from tracekit.report.view import LEAKS, counts, early_ends
from tracekit.report.words import Num, capital, chance, count, plain, urgency


def cannot_answer(result: StationResult) -> bool:
    """True where nothing could be judged: no cycle, or no cause that this log could have shown.

    Nor where neither a baseline nor a rate nor any other measure would have shown a leak: what may leak is no baseline.
    """
    if len(result.data.cycles) == 0:
        return True
    unseen = not anything_shown(result) or (result.baseline is None and not leak_size_shown(result))
    return unseen and isinstance(result.leak.decay_rate, Withheld)


def anything_shown(result: StationResult) -> bool:
    """True where a change of any known cause would have been seen in this log."""
    return any(d.smallest is not None for d in result.detectable)


def action_of(result: StationResult, main: Finding | None, worst: Severity) -> str:
    """What is to be done, and how soon, in a few words."""
    if main is None and (cannot_answer(result) or _only_recording(result)):
        return "Record again."
    second = second_fault(result, main) if main is not None else None
    if second is not None and second.confidence >= SURE and worst in ("minor", "major"):
        return "Plan both repairs." if worst == "minor" else "Repair both this shift."
    if main is not None and main.kind == "setting" and worst in ("minor", "major"):
        return "Plan the change." if worst == "minor" else "Change it this shift."
    if untold_leak(result):
        return "Do the plate test first."
    if worst == "critical" and main is not None and main.next_steps and RUNNING in main.next_steps[0].caution:
        return "Stop production."  # the first step runs the machine once more, for the test alone
    return urgency(worst)


def _only_recording(result: StationResult) -> bool:
    """True where nothing but the recording itself is at fault."""
    above = [f for f in result.findings if f.severity != "info"]
    return bool(above) and all(f.kind == "recording" for f in above)


def reasons_of(result: StationResult, main: Finding | None, room: int) -> str:
    """Dropped and missed, then chance and rival, as far as they fit."""
    n = counts(result.data)
    parts: list[str] = []
    if n["cycles"]:
        parts.append(_losses(n["dropped"], n["missed"], len(early_ends(result.data))))
    second = second_fault(result, main) if main is not None else None
    beside = beside_leak(result, main, rival_of(result, main)) if main is not None else None
    if second is not None and not (beside is not None and second.code in LEAKS):  # the place of a leak is told as open
        tail = second_words(result, second)
        if main is not None and drops_by(result, main, second) is second:
            parts_dropped = _losses(n["dropped"], 0, 0).rstrip(".")
            told = f"{parts_dropped} by the second: {called(second)}."
            parts, tail = ([told], "") if len(told) <= room else ([], f"Drops by the second: {called(second)}.")
        full = second_words(result, second, likely=True) if tail else ""
        alone = [full] if full and not n["dropped"] + n["missed"] else []  # what was lost stands before the chance
        said = [f"{' '.join(parts)} {full}".strip()] if full else []
        said += [*alone, " ".join([*parts, tail]).strip(), tail]
        return next((t for t in said if len(t) <= room), " ".join(parts))
    if main is None and untold_leak(result) and leak_chance(result) >= PERHAPS:
        tail = f"Too much: {chance(leak_chance(result))} likely."
        parts = next((t for t in ([*parts, tail], [tail]) if len(" ".join(t)) <= room), parts)
    if main is None and (dips := coast_dips(result)):
        deepest = plain((Num(value=max(d.depth_kpa for d in dips), unit="kPa", step=0.1),))
        parts = next((t for t in ([*parts, f"Some holds dip by {deepest}."], parts) if len(" ".join(t)) <= room), parts)
    if main is not None and beside is not None:
        p = next((c.chance for c in result.causes if c.code == beside), main.confidence)
        tail = f"{plain(capital((phrase(beside).rival,)))}: {chance(p)} likely."
        parts = next((t for t in ([*parts, tail], [tail]) if len(" ".join(t)) <= room), parts)
    elif main is not None:
        other = runner_up(result, main)
        sure = f"Cause: {chance(chance_of(result, main))} likely"
        full = f"{sure}; else {phrase(other).rival}." if other else f"{sure}."
        tries = [[*parts, full], [*parts, f"{sure}."], parts if n["dropped"] + n["missed"] else [full]]
        parts = next((t for t in tries if len(" ".join(t)) <= room), parts)
    return " ".join(parts)


def _losses(dropped: int, missed: int, early: int) -> str:
    if not dropped and not missed:
        holds = "hold ends" if early == 1 else "holds end"
        return f"No drop seen; {count(early)} {holds} early." if early else "No drop seen."
    if dropped and missed:
        return f"{count(dropped)} dropped, {count(missed)} missed."
    words = []
    if dropped:
        words.append(f"{count(dropped)} part{'' if dropped == 1 else 's'} dropped")
    if missed:
        words.append(f"{count(missed)} pick{'' if missed == 1 else 's'} missed")
    return ", ".join(words) + "."
