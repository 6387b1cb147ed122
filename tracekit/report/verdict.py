"""The answer in words: headline, lead and urgency, for the page and for the terminal alike."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracekit.frozen import dataclass
from tracekit.model.estimate import Withheld
from tracekit.model.finding import Evidence, Finding, Severity
from tracekit.model.result import StationResult
from tracekit.report.blow_figures import too_short
from tracekit.report.contexts import lost_together
from tracekit.report.doubt import (
    NEARLY_ALL,
    beside_leak,
    others_differ,
    since,
    told_by_log,
)
from tracekit.report.fitting import LEAD_MOST, first_fit, fit, tenth
from tracekit.report.levels import EVACUATION, sentence
from tracekit.report.measures import has_sentence, measure, setting_names
from tracekit.report.nothing import nothing_found, would_have_shown
from tracekit.report.phrases import NOTHING, phrase, without_article
from tracekit.report.pictures.at_rest import usual
from tracekit.report.rivals import chance_of, rival_of, told_second
from tracekit.report.second import both_headlines, second_fault
from tracekit.report.some_picks import by_turns, rates_told, some_picks_leads, two_rates
from tracekit.report.text import clean
from tracekit.report.urgent import action_of, anything_shown, cannot_answer, reasons_of
from tracekit.report.view import LEAKS, fault_of_log, main_finding, median, symptom
from tracekit.report.words import (
    Num,
    Text,
    capital,
    count,
    of_quantity,
    plain,
    say,
    share_of,
    strength,
)

_COUNTED = {
    "collision_or_peel": "Parts are lost suddenly",
    "part_not_presented": "Vacuum never leaves the open-cup level",
    "part_dropped": "Parts are lost in the hold",
    "part_missed": "No grip",
}
_LIKED = {
    "sensor_zero_shift": ("idle_vacuum_kpa",), "sensor_noisy": ("noise_kpa",),
    "motion_dips": ("deepest dip of the hold",),
    "supply_valve_slow": ("response_delay_s",), "supply_valve_passing": ("idle_vacuum_kpa",),
    "flow_restricted": (EVACUATION, "open_cup_vacuum_kpa", "release_peak_kpa"),
    "exhaust_restricted": (EVACUATION,), "supply_pressure_low": (EVACUATION,),
}  # fmt: skip
"""Codes told by a count, and the measures that tell a code best."""
_UNITS = ("s", "kPa", "kPa/s", "Hz", "Pa·m³/s", "L/min ANR")
URGENCY_MOST = 70
_NO_ANSWER, _UNSEEN = "This recording cannot answer", "No fault found, but a leak would not show"
_RANK: tuple[Severity, ...] = ("info", "minor", "major", "critical")
_FEW = 8  # cycles under which a log is too short to find nothing in
_SOUND = 0.75  # the chance of no known cause from which on "nothing found" is said
_FLIPPED = ("supply_on_below_reset", "hysteresis_too_small", "switch_chatter")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """headline (50 characters at most), lead (110), urgency split into what to do and what speaks for it (70)."""

    headline: str
    lead: Text
    action: str
    reasons: str
    severity: Severity


def verdict(result: StationResult) -> Verdict:
    """The answer of one station in words."""
    worst = _worst(result.findings)
    main, log, sign = main_finding(result), fault_of_log(result), symptom(result)
    if main is not None:
        headline, lead = _headline(result, main), _lead(result, main)
        pulse = too_short(result, main)
        lead = first_fit([(*lead, " ", *pulse), lead]) if pulse else _with_leak(result, main, lead)
    elif sign is not None:
        headline, lead = fit(_symptom_lines(sign)), _lead(result, sign)
    elif cannot_answer(result):
        headline, lead = _UNSEEN if _nothing_else(result, log) else _NO_ANSWER, _why_not(result, log)
    else:
        headline, lead = nothing_found(result, log), would_have_shown(result)
    action = action_of(result, main or sign, worst)
    reasons = reasons_of(result, main, URGENCY_MOST - len(action) - 1)
    return Verdict(headline=headline, lead=lead, action=action, reasons=reasons, severity=worst)


def _with_leak(result: StationResult, main: Finding, lead: Text) -> Text:
    """The lead with the figure of a leak that is there beside the first fault, where it fits."""
    second, rate = told_second(result, main), of_quantity(result.leak.decay_rate)
    if second is None or second.code not in LEAKS or rate is None or "with the supply closed" in plain(lead):
        return lead
    base = of_quantity(result.baseline_leak.decay_rate) if result.baseline_leak is not None else None
    falls = say(" Vacuum falls {} with the supply closed", replace(rate, unsaid=True))
    short = say(" Vacuum falls {}", replace(rate, unsaid=True))
    usual = say("; baseline {}.", replace(base, bare=True, unsaid=True)) if base is not None else (".",)
    return first_fit([(*lead, *falls, *usual), (*lead, *short, *usual), (*lead, *short, "."), lead])


def _nothing_else(result: StationResult, log: Finding | None) -> bool:
    """True where a leak alone cannot be told: cycles are there, and most probably nothing is wrong with them."""
    sound = sum(c.chance for c in result.causes if c.code in NOTHING)
    return log is None and len(result.data.cycles) >= _FEW and (sound >= _SOUND or anything_shown(result))


def _worst(findings: Sequence[Finding]) -> Severity:
    return max((f.severity for f in findings), key=_RANK.index, default="info")


def _headline(result: StationResult, main: Finding) -> str:
    """As in "Very likely a leak at the cup, hose or a fitting"; with a rival "Either … or …"."""
    own = phrase(main.code)
    rival = rival_of(result, main)
    beside = beside_leak(result, main, rival)
    if beside is not None:
        other = phrase(beside).short
        return fit([f"A leak, place open; perhaps {other} too", f"A leak, and perhaps {other}"])
    second = told_second(result, main)
    if second is not None:
        return fit(both_headlines(main, second))
    if rival is not None:
        other = phrase(rival).short
        pairs = [f"Either {own.short} or {other}", f"Either {without_article(own.short)} or {without_article(other)}"]
        return fit(pairs)
    word = strength(_surety(result, main))
    if word == "either":
        word = "perhaps"
    long, short = (f"{word} {noun}".strip() for noun in (own.noun, own.short))
    return fit([long[:1].upper() + long[1:], short[:1].upper() + short[1:]])


def _surety(result: StationResult, main: Finding) -> float:
    """What the strength word says: the chance that is told beside it, unless a second fault shares that chance."""
    return main.confidence if second_fault(result, main) is not None else chance_of(result, main)


def _symptom_lines(sign: Finding) -> list[str]:
    noun = phrase(sign.code).noun
    start = noun[:1].upper() + noun[1:]
    return [f"{start}; the cause does not show", f"{start}; no cause found", start]


def _why_not(result: StationResult, log: Finding | None) -> Text:
    if log is not None:
        return (_sentence(log.title, LEAD_MOST),)
    if 0 < len(result.data.cycles) < _FEW:
        n = len(result.data.cycles)
        return (f"Only {count(n)} cycle{' is' if n == 1 else 's are'} in this log: too few to judge a station.",)
    if len(result.data.cycles) and not result.data.periods.where("kind", "coast").any():
        return ("The supply is never closed in a hold, so how fast vacuum falls does not show.",)
    if isinstance(result.leak.decay_rate, Withheld):
        # its first sentence; what to do about it stands in the steps
        return (_sentence(result.leak.decay_rate.reason.partition(". ")[0], LEAD_MOST),)
    return ("No cycle was found in it.",)


def _lead(result: StationResult, main: Finding) -> Text:
    """Main measure, interval, reference and share of cycles, as far as they fit."""
    if beside_leak(result, main, rival_of(result, main)) is not None:
        return _leak_lead(result, None)
    of_some = some_picks_leads(result, main)
    if of_some:
        return first_fit(of_some)
    rate = next((e for e in main.evidence if e.measure == "decay_rate_kpa_s"), None)
    if told_by_log(result, main):
        return _leak_lead(result, main)
    if main.code in LEAKS and rate is not None and main.share < NEARLY_ALL:
        return _evidence_lead(result, main, rate)
    if main.code in _COUNTED and len(result.data.cycles):
        short = f"{_counted(result, main)} on {_share(result, main)}."
        return first_fit(
            [*((f"{short} {line[:1].upper()}{line[1:]}.",) for line in lost_together(result)[:1]), (short,)]
        )
    liked = _LIKED.get(main.code, ())
    for fact in sorted(main.evidence, key=lambda e: e.measure not in liked):
        if _is_sentence(fact.text):
            return _text_lead(result, main, fact)
        if has_sentence(fact.measure) and fact.unit in _UNITS:
            return _evidence_lead(result, main, fact)
    title = _sentence(main.title, LEAD_MOST)
    return first_fit([(f"{title} On {_share(result, main)}.",), (title,)]) if len(result.data.cycles) else (title,)


def _counted(result: StationResult, main: Finding) -> str:
    """What happened on the counted cycles; losses are called sudden only where the table calls none of them gradual."""
    cycles = result.data.cycles
    own = np.array([c for c in main.cycles if 0 <= c < len(cycles)], np.int64)
    slow = main.code == "collision_or_peel" and bool(cycles.where("drop_kind", "gradual")[own].any())
    return _COUNTED["part_dropped" if slow else main.code]


def _is_sentence(text: str) -> bool:
    """True for a text that says something by itself, not a mere count."""
    return len(text.split()) >= 4


def _text_lead(result: StationResult, main: Finding, fact: Evidence) -> Text:
    """The evidence's own sentence, with what the output does, or the baseline where it was held against one."""
    text = _sentence(setting_names(fact.text), LEAD_MOST)
    flips = result.data.cycles.codes("chatter_edges") > 0
    if main.code in _FLIPPED and fact.measure != "chatter_edges" and flips.any():
        share = share_of(int(flips.sum()), len(flips), "cycles")
        return first_fit([(f"{text} The output goes off in the hold on {share}.",), (text,)])
    if fact.reference is None or fact.reference_source != "baseline" or fact.unit not in _UNITS:
        sound = usual(main.code)
        if sound is None or fact.unit != "kPa":
            some = 0.0 < main.share < NEARLY_ALL and " of " not in text and "cycles" not in text
            return first_fit([(f"{text[:-1]} on {_share(result, main)}.",), (text,)]) if some else (text,)
        return first_fit(
            [say("{} A sound sensor: at most {}.", text, Num(value=sound[1], unit="kPa", step=0.1)), (text,)]
        )
    base = Num(value=fact.reference, unit=fact.unit, step=_step(fact))
    return first_fit([say("{} Baseline: {}.", text, base), (text,)])


def _leak_lead(result: StationResult, main: Finding | None) -> Text:
    """The rate with its baseline; on which cycles, where one finding explains it."""
    rate = of_quantity(result.leak.decay_rate)
    assert rate is not None
    start = say("Vacuum falls {} with the supply closed", rate)
    where = say(", on {}.", _share(result, main)) if main is not None else (".",)
    base = of_quantity(result.baseline_leak.decay_rate) if result.baseline_leak is not None else None
    fast, turns = two_rates(result), ""
    if fast is not None:
        start, where = rates_told(result, fast)[:-1], (".",)
        turns = by_turns(main, fast) if main is not None else ""
    if base is None or base.bound:
        return first_fit([(*start, *where, turns), (*start, *where), (*start, ".")])
    bare = Num(value=base.value, unit=base.unit, lower=base.lower, upper=base.upper, bare=True)
    plainly = replace(bare, unsaid=True)
    return first_fit([
        *((*start, *where, *say(" Baseline: {}.", one), turns) for one in (bare, plainly) if turns),
        (*start, *where, *say(" Baseline: {}.", bare)), (*start, *where, *say(" Baseline: {}.", plainly)),
        (*start, ".", *say(" Baseline: {}.", bare)),
    ])  # fmt: skip


def _evidence_lead(result: StationResult, main: Finding, fact: Evidence) -> Text:
    number = Num(value=fact.value, unit=fact.unit, lower=fact.lower, upper=fact.upper, step=_step(fact))
    start = sentence(fact.measure, result, number) or say(measure(fact.measure).sentence, number)
    where = _where(result, main, fact)
    if fact.reference is None:
        return first_fit([(*start, *where), (*start, "."), (_sentence(main.title, LEAD_MOST),)])
    if fact.reference_source == "earlier cycles":
        return _now_lead(start, main, fact)
    name = {"baseline": "Baseline", "limit": "Limit", "station file": "Limit", "": "Expected"}.get(
        fact.reference_source
    )
    if name is None:
        return first_fit([(*start, *where), (*start, ".")])
    tail = say(" {}: {}.", name, Num(value=fact.reference, unit=fact.unit, step=_step(fact), bare=True))
    when = _when(result, main)
    return first_fit([(*start, *where, *tail), (*start, *when, *tail), (*start, ".", *tail), (*start, ".")])


def _where(result: StationResult, main: Finding, fact: Evidence) -> Text:
    """The share of cycles that a fault touches, or the last ones alone where the figure holds for them, not for all."""
    cycles = result.data.cycles
    columns = {c.name for c in cycles.columns if c.kind == "float"}
    if fact.measure in columns and fact.lower is not None and fact.upper is not None and main.cycles:
        middle = median(cycles.floats(fact.measure)[np.array(main.cycles, np.int64)])
        few = fact.cycles or 0
        if not fact.lower <= middle <= fact.upper and 0 < few < len(main.cycles):
            return say(" in the last {} of {} cycles.", count(few), count(len(cycles)))
    most = "clearest " if others_differ(result, main) else ""
    return say(", {}on {}.", most, _share(result, main))


def _when(result: StationResult, main: Finding) -> Text:
    """In few words, for a lead without room for the share: from which cycle on, or on how many."""
    most = "clearest " if others_differ(result, main) else ""
    if main.onset_cycle:
        return (f", {most}since cycle {count(main.onset_cycle)}.",)
    some = 0.0 < main.share < NEARLY_ALL
    return (f", {most}on {count(len(main.cycles))} cycles.",) if some and main.cycles else (".",)


def _now_lead(start: Text, main: Finding, fact: Evidence) -> Text:
    """As in "Now vacuum falls 5.3 kPa/s (4.3 to 6.3) with the supply closed; before cycle 26: 1.3."."""
    head = str(start[0])
    now = (f"Now {head[:1].lower()}{head[1:]}", *start[1:])
    when = f"before cycle {count(main.onset_cycle)}" if main.onset_cycle else "earlier"
    assert fact.reference is not None
    before = say("; {}: {}.", when, Num(value=fact.reference, unit=fact.unit, step=_step(fact), bare=True))
    return first_fit([(*now, *before), (*now, ".")])


def _step(fact: Evidence) -> float | None:
    if fact.lower is not None and fact.upper is not None and fact.upper > fact.lower:
        return (fact.upper - fact.lower) / 2.0
    if not fact.unit and float(fact.value).is_integer():
        return 1.0
    return tenth(fact.value)


def _share(result: StationResult, main: Finding) -> str:
    total = len(result.data.cycles)
    return share_of(len(main.cycles) or round(main.share * total), total, "cycles") + since(main, total)


def _sentence(text: str, limit: int) -> str:
    """An outside text as one sentence with capital and full stop."""
    line = clean(text, limit - 1).rstrip(".")
    return plain(capital((line,))) + "." if line else ""
