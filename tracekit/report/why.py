"""The block of causes: which one, how likely, what speaks for or against it, and what else was found."""

from tracekit.model.finding import CODES, CauseChance, Finding
from tracekit.model.result import StationResult
from tracekit.report.contexts import lost_together
from tracekit.report.doubt import others_differ, untold_leak
from tracekit.report.frame import render
from tracekit.report.levels import note
from tracekit.report.phrases import NO_FAULT, NO_KNOWN_CAUSE, NO_OTHER, NOTHING, OR_UNKNOWN, cause_name
from tracekit.report.ruled import LIKELY, PROBABLE, is_open
from tracekit.report.second import both_told, second_fault
from tracekit.report.text import clean, whole
from tracekit.report.verdict import verdict
from tracekit.report.view import is_list, main_finding, symptom
from tracekit.report.words import Num, chance, html, of_quantity, plain, share_of, strength

_POSSIBLE, _LEAST_CAUSES, _MOST_NAMED, _MOST_LISTED = 0.005, 3, 15, 8
_MAY_BE = 0.15
_TOLD, _TWO, _ALIKE = 0.075, 2, "it would show so too ("
_NOTHING_FOR = "nothing speaks for it"
_NO_SIGN = "Nothing in this log points to a fault."


def why_this_cause(result: StationResult, unit: str) -> str:
    """Causes with their chances, "something else" completing the sum, and what else was found."""
    return render("causes.html", {
        "causes": _causes(result), "others": _others(result), "named": _named_cycles(result),
        "same": _told_alike(result), "both": both_told(result), "code": _code(result),
        "levels": html(note(result, tuple(c.reason for c in result.causes)), unit),
    }, unit)  # fmt: skip


def _code(result: StationResult) -> str:
    """The code of the first finding, by which the handbook is asked; empty without one that it knows."""
    main = main_finding(result)
    return main.code if main is not None and main.code in CODES else ""


def has_causes(result: StationResult) -> bool:
    """True where there is anything to say about causes."""
    return bool(result.causes) or bool(_others(result))


def _named_cycles(result: StationResult) -> str:
    """The cycles of the first finding one by one, where it names a part, and losses at one nest or part type."""
    main = main_finding(result)
    together = [f"{line}." for line in lost_together(result)]
    if main is None or not 0 < len(main.cycles) < len(result.data.cycles):
        return " ".join(together)
    seen = "Clearest on" if others_differ(result, main) else "Seen on"
    many = "s" if len(main.cycles) > 1 else ""
    named = f"{seen} cycle{many} {is_list(main.cycles, _MOST_NAMED)}: {cause_name(main.code).lower()}."
    return " ".join([named, *together])


def _no_fault(result: StationResult, left: float) -> tuple[str, float, str]:
    """The row of a log in which nothing is found: a leak that cannot be judged is no sign of nothing wrong."""
    rate = of_quantity(result.leak.decay_rate)
    if not untold_leak(result) or rate is None:
        return NO_FAULT, left, _NO_SIGN
    size = plain((Num(value=rate.value, unit=rate.unit, step=0.1),))
    return NO_OTHER, left, f"Its leak of {size} cannot be judged: plate test first."


def _causes(result: StationResult) -> list[dict[str, object]]:
    """The likely causes, each with its chance; the last row completes the sum."""
    causes = result.causes
    known = _likeliest_first(result)
    probable = [c for c in known if c.chance >= LIKELY]
    # what the log leaves open tells more than what it rules out
    others = sorted((c for c in known if c.chance < LIKELY), key=lambda c: not is_open(c))
    others = [c for c in others if c.chance >= _POSSIBLE or (probable and is_open(c))]
    if probable:
        others = [c for c in others if not c.reason.endswith(_NOTHING_FOR)]
    likely = [*probable, *others[: max(0, _LEAST_CAUSES - len(probable))]]
    named = [(cause_name(c.code), c.chance, _reason(c, result)) for c in likely]
    left = max(0.0, 1.0 - sum(c.chance for c in likely))
    other = next(
        (whole(c.reason) for c in causes if c.code in NOTHING and c.reason), "What the log does not tell apart."
    )
    quiet = verdict(result).severity == "info"
    row = (NO_KNOWN_CAUSE, left, other)
    if quiet:
        row = (OR_UNKNOWN, left, "No known cause stands out.") if probable else _no_fault(result, left)
    if quiet and all(left > p for _, p, _ in named):
        rows = [row, *named]
    else:
        rows = [*named, row] if left >= _POSSIBLE or not named else named
    return [{"name": n, "chance": chance(p), "boxes": _boxes(p), "reason": why} for n, p, why in rows]


def _likeliest_first(result: StationResult) -> list[CauseChance]:
    """Known causes by chance; of those with the same chance in words the finding of the verdict heads the table."""
    known = sorted((c for c in result.causes if c.code not in NOTHING), key=lambda c: -c.chance)
    main = main_finding(result)
    own = [c for c in known if main is not None and c.code == main.code and chance(c.chance) == chance(known[0].chance)]
    return [*own, *(c for c in known if c not in own)]


def _reason(cause: CauseChance, result: StationResult) -> str:
    """What speaks for a cause that is probably there; for another what speaks against it, told as such.

    The rules of settings and of the recording tell what they saw, whichever way it speaks.
    """
    named = [f.confidence for f in result.findings if f.code == cause.code]
    there = max([cause.chance, *named]) >= PROBABLE or cause.chance >= _MAY_BE
    said = whole(cause.reason)
    if there or is_open(cause) or not said or CODES.get(cause.code) != "cause":
        return said
    return f"Against it: {said[:1].lower()}{said[1:]}"


def _told_alike(result: StationResult) -> str:
    """That the first cause and others show alike, where the same sign is all that speaks for each of them."""
    listed = sorted((c for c in result.causes if c.code not in NOTHING and c.chance >= _TOLD), key=lambda c: -c.chance)
    signs = [c.reason.partition(_ALIKE)[2].rstrip(").") or c.reason.rstrip(".") for c in listed]
    same = [cause_name(c.code).lower() for c, sign in zip(listed, signs, strict=True) if sign == signs[0]]
    if len(same) < _TWO:
        return ""
    names = f"{', '.join(same[:-1])} and {same[-1]}"
    met = "Their chances differ by how often each is met; the test tells them apart."
    return f"This log looks the same under {names}. {met}"


def _boxes(p: float) -> str:
    """Ten boxes filled by the words beside them: a half one stands for 1 in 20."""
    told = chance(p)
    halves = {"under 1 in 20": 0, "1 in 20": 1, "19 in 20": 19, "over 19 in 20": 20}.get(told)
    if halves is None:
        halves = 2 * int(told.partition(" ")[0])
    return "■" * (halves // 2) + "◧" * (halves % 2) + "□" * (10 - (halves + 1) // 2)


def _others(result: StationResult) -> list[dict[str, object]]:
    """Every finding but the one of the verdict: how sure it is, its first step, `again` where that stands above."""
    first = main_finding(result) or symptom(result)
    shown = [f for f in result.findings if f is not first]
    total = len(result.data.cycles)
    second = second_fault(result, first) if first is not None and first is main_finding(result) else None
    told = [{**_other(f, _brought_by(f, first, shown), total), "again": f is second} for f in shown]
    return told[:10]


def _brought_by(sign: Finding, first: Finding | None, others: list[Finding]) -> tuple[str, ...]:
    """The causes that a symptom may come from, the first finding's before those found beside it."""
    known = [f for f in (first, *others) if f is not None and f.kind == "cause" and sign.code in f.explains]
    if first is not None and sign.cycles and set(sign.cycles) == set(first.cycles) and first not in known:
        known = [first]  # the cycles of the verdict are those of the sign
    return tuple(dict.fromkeys(cause_name(f.code).lower() for f in known))


def _where(sign: Finding, total: int) -> str:
    """On which cycles a symptom shows: one by one where they are few, else how many."""
    named = sorted({c for c in sign.cycles if 0 <= c < total})
    if not named:
        return ""
    if len(named) == total:
        return f"On {share_of(total, total, 'cycles')}."
    listed = is_list(named, _MOST_LISTED)
    few = listed if " more" not in listed else share_of(len(named), total, "cycles")
    return f"On {few}." if few != listed else f"On cycle{'s' if len(named) > 1 else ''} {listed}."


def _title(f: Finding) -> str:
    """A finding by the one name that the page has for it; what is said of a recording keeps its own words."""
    return clean(f.title, 100).rstrip(".") if f.kind == "recording" else cause_name(f.code)


def _other(f: Finding, brought_by: tuple[str, ...], total: int) -> dict[str, str]:
    word = strength(f.confidence)
    words = {"": "Found.", "either": "Perhaps."}.get(word, word[:1].upper() + word[1:] + ".")
    if f.kind == "symptom":
        why = f"Comes from: {', or '.join(brought_by)}." if brought_by else words
        return {"title": _title(f), "words": f"{_where(f, total)} {why}".strip()}
    fact = next((e.text for e in f.evidence if len(e.text.split()) >= 4), "") if f.kind == "recording" else ""
    if fact and f.severity == "info":
        return {"title": _title(f), "words": f"For information: {whole(fact)}"}
    step = clean(f.next_steps[0].do, 200).partition(". ")[0].rstrip(".") + "." if f.next_steps else ""
    doubted = f"Not told as a fault: chance {chance(f.confidence)}."
    note = words if f.severity != "info" else doubted if f.kind == "cause" else "For information."
    return {"title": _title(f), "words": f"{note} {step}".strip()}
