"""What a comparison says, in words: headline, lead, reason, limits of the statement. For page and terminal alike."""

from dataclasses import replace
from datetime import UTC, datetime

from tracekit.model.comparison import Comparison, MeasureResult, RateResult, Recording, Verdict
from tracekit.model.cycle import SettingInForce
from tracekit.model.estimate import Bound, Estimate, Quantity, Withheld
from tracekit.report.measures import measure
from tracekit.report.text import clean
from tracekit.report.words import Num, Text, count, of_quantity, plain, say

_EXTRA = {"chatter_share": "share of cycles with chatter"}
_HEADLINES = {
    "demonstrated": "The improvement is demonstrated",
    "not_demonstrated": "The improvement is not demonstrated",
    "worse": "The station has become worse",
    "no_change": "No change beyond the margin",
}
_LONGEST, _SHOWN_KPA = 400, 0.1  # longest sentence of a reason; the last digit of a setting
_DECISIONS = {"accepted": "accepted", "rejected": "rejected", "undecided": "not decided"}


def measure_name(name: str) -> str:
    """Plain name of a measure or rate."""
    return _EXTRA.get(name) or measure(name).name


def verdict_word(verdict: Verdict) -> str:
    """A measure's verdict as the page says it."""
    return verdict


def headline(comparison: Comparison) -> str:
    """The answer, at most 50 characters."""
    if _shared(comparison):
        return "Nothing is shown: one log on both sides"
    if _swapped(comparison):
        return "Nothing is shown: AFTER is older than BEFORE"
    if comparison.verdict is None:
        decisions = {a.decision for a in comparison.acceptance}
        if "rejected" in decisions:
            return "The agreed limit is not kept"
        return "The agreed limit is kept" if decisions == {"accepted"} else "The agreed limit is not decided"
    refused = [a for a in comparison.acceptance if a.decision != "accepted"]
    if comparison.verdict == "demonstrated" and refused:
        rejected = any(a.decision == "rejected" for a in refused)
        return f"Better, but the limit is {'not kept' if rejected else 'not decided'}"
    return _undecided(comparison) or _HEADLINES[comparison.verdict]


def _undecided(comparison: Comparison) -> str:
    """What stands in the way where the primary itself is undecided, "" where it is not: no effect is another matter."""
    first = figure_of(comparison, comparison.primary)
    if comparison.verdict != "not_demonstrated" or first is None or first.verdict != "undecided":
        return ""
    if isinstance(first.difference, Withheld):
        return "Not decided: it cannot be compared"
    few = isinstance(first.cycles_needed, int)
    return "Not decided yet: more cycles are needed" if few else "Not decided: more cycles would not help"


def _swapped(comparison: Comparison) -> bool:
    """True where the sides stand the wrong way round in time."""
    return any(o.code == "swapped_order" for o in comparison.obstacles)


def _shared(comparison: Comparison) -> bool:
    """True where a log stands on both sides."""
    before, after = ({r.facts.log_id for r in side} for side in (comparison.before, comparison.after))
    return bool(before & after)


def lead(comparison: Comparison) -> Text:
    """The figure behind the answer."""
    result = figure_of(comparison, comparison.primary)
    if comparison.verdict is None:
        first = comparison.acceptance[0]
        return say("{}: {}.", first.text, quantity_num(first.quantity))
    if result is None:
        return (f"{_capital(measure_name(comparison.primary))} is not in these logs.",)
    name = _capital(measure_name(comparison.primary))
    if isinstance(result.difference, Withheld):
        return (f"{name} cannot be compared: {clean(result.difference.reason, _LONGEST).rstrip('.')}.",)
    change = quantity_num(result.difference)
    return say("{}: {} before, {} after, change {}.", name, _bare(result.before), _bare(result.after), change)


def reason(comparison: Comparison) -> str:
    """Why the verdict is what it is, one sentence."""
    if comparison.verdict is None:
        return "One recording, held against the limit alone."
    first = comparison.measures.get(comparison.primary)
    if first is not None and isinstance(first.difference, Withheld):
        return "Without it nothing is demonstrated."  # why it is withheld stands before
    if _swapped(comparison):
        return "Swap the two sides, or put the dates right, and compare again."
    said = [_reason(r) for r in comparison.reasons]
    if first is not None and first.verdict == "undecided" and isinstance(first.cycles_needed, int):
        said.append(f"{needed(first)}: tracekit plan says how to record them")
    return f"{_capital('; '.join(said))}." if said else ""


def needed(result: MeasureResult | RateResult) -> str:
    """What would decide an undecided measure, "" where it is decided."""
    if isinstance(result.cycles_needed, int):
        return f"{count(result.cycles_needed)} cycles a side would decide"
    return clean(result.cycles_needed.reason, _LONGEST) if isinstance(result.cycles_needed, Withheld) else ""


def figure_of(comparison: Comparison, name: str) -> MeasureResult | RateResult | None:
    """A measure by its name, or a rate, in per cent."""
    rate = comparison.rates.get(name)
    return comparison.measures.get(name) or (None if rate is None else in_per_cent(rate))


def in_per_cent(rate: RateResult) -> RateResult:
    """A share of cycles as a person reads it."""
    sides = (rate.before, rate.after, rate.difference)
    before, after, difference = (
        replace(e, value=100.0 * e.value, lower=100.0 * e.lower, upper=100.0 * e.upper, unit="%") for e in sides
    )
    return replace(rate, before=before, after=after, difference=difference, margin=100.0 * rate.margin)


def moment(stamp: str) -> str:
    """A stamp in ISO form as a date and a time to the minute: 30 Nov 2026 06:34 UTC; what is no stamp as it is."""
    try:
        found = datetime.fromisoformat(stamp).astimezone(UTC)
    except ValueError:
        return stamp
    return f"{found.day} {found:%b %Y %H:%M} UTC"


def quantity_num(quantity: Quantity) -> Num | str:
    """A quantity as a number of a sentence, or the word for one that is not known."""
    if isinstance(quantity, Estimate) and quantity.lower == quantity.upper:
        return Num(value=quantity.value, unit=quantity.unit)
    return of_quantity(quantity) or "not known"


def decision_word(decision: str) -> str:
    """A decision against a limit as the page says it."""
    return _DECISIONS[decision]


def limits(comparison: Comparison) -> list[str]:
    """What the statement does not cover, and what it rests on."""
    found = ["It speaks of this station with these parts, settings and loads, in the time recorded."]
    first = figure_of(comparison, comparison.primary)
    if isinstance(first, MeasureResult) and first.effective[0] == first.effective[0]:
        n = [s.n for s in (first.before, first.after) if isinstance(s, Estimate | Bound)]
        if len(n) == 2:
            pairs = zip(n, first.effective, strict=True)
            worth = " and ".join(f"{count(k)} cycles count as {count(round(e))}" for k, e in pairs)
            found.append(f"Neighbouring cycles are alike: {worth} independent ones.")
    if comparison.verdict is not None:
        found.append("Errors that all cycles of a log share, and scatter between days, are in the intervals.")
    found.append("No safety function: verify grip after any change.")
    return found


def when(recording: Recording) -> str:
    """Start of a recording in ISO form, to the minute, or that there is none."""
    start = recording.facts.start_time_us
    if start is None:
        return "no date"
    return datetime.fromtimestamp(start // 1_000_000, UTC).isoformat(timespec="minutes").replace("+00:00", "Z")


def settings_line(recording: Recording, *names: str) -> str:
    """Settings in force by name, in kPa of vacuum; those that fast crossings tell roughly with "about"."""
    found = [_setting(recording.settings.get(name)) for name in names]
    return "not known" if set(found) == {"not known"} else ", ".join(found)


def _setting(setting: SettingInForce | None) -> str:
    if setting is None or setting.value_kpa is None:
        return "not known"
    rough = setting.spread_kpa > _SHOWN_KPA
    return plain(
        say(
            "about {}" if rough else "{}",
            Num(value=setting.value_kpa, unit="kPa", step=setting.spread_kpa if rough else _SHOWN_KPA),
        )
    )


def text_of(text: Text, unit: str = "kPa") -> str:
    """A text as characters."""
    return plain(text, unit)


def _reason(text: str) -> str:
    """A reason with the measure's plain name in place of its column."""
    name, _, rest = text.partition(" ")
    return f"{measure_name(name)} {rest}"


def _bare(quantity: Quantity) -> Num | str:
    """The value alone, with digits by its interval."""
    if isinstance(quantity, Estimate):
        half = abs(quantity.upper - quantity.lower) / 2.0
        return Num(value=quantity.value, unit=quantity.unit, step=half or None)
    return quantity_num(quantity)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
