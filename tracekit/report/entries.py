"""Settings to enter, in the device's own terms, or why they are left."""

import re

from tracekit.model.finding import Finding
from tracekit.model.result import StationResult, SuggestedSetting
from tracekit.report.doubt import untold_leak
from tracekit.report.measures import setting, setting_names
from tracekit.report.second import SURE, second_fault
from tracekit.report.text import MINUS, clean
from tracekit.report.view import main_finding
from tracekit.report.words import Num, plain

_ELSEWHERE = ("collision_or_peel", "motion_dips", "timeout_too_short", "release_weak")
"""Causes whose repair changes a path, accelerations or a timer, which are settings too."""
_TOO_HIGH = {"set_point_too_high": "set_point", "supply_off_unreachable": "supply_off"}


def setting_entries(result: StationResult) -> list[dict[str, str]]:
    """Settings to enter after a diagnosis: none before a leak that cannot be judged is tested."""
    return [] if untold_leak(result) else suggested_entries(result)


def suggested_entries(result: StationResult) -> list[dict[str, str]]:
    """The settings of a suggestion, in the device's own terms."""
    rows = result.suggestion.settings if result.suggestion.withheld is None else ()
    to_type = max((_decimals(s.shown, s.unit) for s in rows), default=0)
    return [
        {
            "name": setting(s.name), "entry": setting_names(clean(s.entry, 30)) if s.entry else "",
            "now": _now(s, to_type),
            "new": _typographic(f"{s.shown:.{to_type}f}"), "typed": f"{s.shown:.{to_type}f}",
            "unit": clean(s.unit, 10),
        }
        for s in rows
    ]  # fmt: skip


def _now(s: SuggestedSetting, least: int) -> str:
    """What is set now, with the decimals that its own figure needs and no fewer than those to be typed."""
    if s.shown_now is None:
        return "not known"
    return _typographic(f"{s.shown_now:.{max(least, _decimals(s.shown_now, s.unit))}f}")


def _decimals(value: float, unit: str) -> int:
    """Decimals that a number of the device needs; at least one in kPa."""
    return max(1 if unit == "kPa" else 0, len(f"{value:.3f}".rstrip("0").partition(".")[2]))


def _typographic(figure: str) -> str:
    return figure.replace("-", MINUS)


def leave_words(result: StationResult) -> str:
    """What to do with the settings where none is to be entered; one that is at fault is not to be left for good."""
    main = main_finding(result)
    if main is not None and main.code in _ELSEWHERE:
        return "Vacuum settings: leave them."
    return "Settings: no values yet." if main is not None and main.kind == "setting" else "Settings: leave them."


def _zero_shift(main: Finding) -> str:
    """What a shifted zero does to every reading, in which direction and by how much; empty for another finding."""
    shown = [e for e in main.evidence if e.measure == "idle_vacuum_kpa"] if main.code == "sensor_zero_shift" else []
    if not shown or not shown[0].value:
        return ""
    fact = shown[0]
    half = 0.1 if fact.lower is None or fact.upper is None else (fact.upper - fact.lower) / 2.0
    size = plain((Num(value=abs(fact.value), unit="kPa", step=half),))
    more = fact.value > 0.0
    there = f"True vacuum is about {size} {'lower' if more else 'higher'} than shown"
    return f"Set the zero first. {there}{': the grip is weaker' if more else ''}."


def _lower(result: StationResult, main: Finding) -> str:
    """Which setting has to come down, from where, and what decides how far."""
    name = _TOO_HIGH.get(main.code, "set_point")
    found = result.data.settings.get(name)
    level = found.value_kpa if found is not None else None
    now = f" (now {plain((Num(value=level, unit='kPa', step=0.1),))})" if level is not None else ""
    return f"Lower the {setting(name).lower()}{now}, as far as the load allows: give it under [load], run again."


def why_leave(result: StationResult) -> str:
    """Why no setting is to be entered, a sentence."""
    main = main_finding(result)
    if untold_leak(result):
        return "The plate test comes first."
    if main is not None and main.code == "timeout_too_short":
        return "The time-out is set in the controller, as the steps say."
    if main is not None and (shift := _zero_shift(main)):
        return shift
    reason = clean(result.suggestion.withheld or "", 90).rstrip(".")
    reason = reason.partition(";")[0] if len(reason) > 50 else reason
    reason = re.sub(r"(?i)^leave them[:;,]?\s*", "", reason)
    if main is not None and main.kind == "setting" and "[load]" in reason:
        return _lower(result, main)
    second = second_fault(result, main) if main is not None else None
    if second is not None and second.confidence >= SURE and reason.casefold().startswith("repair"):
        return "Repair both faults first."
    if main is not None and main.code == "release_weak":
        return "Repair the blow-off first. How long it lasts is set in the controller."
    if reason:
        return f"{reason[:1].upper()}{reason[1:]}."
    return "No setting calls for a change."
