"""The map of causes along the way of the air: which ones the log speaks for, which against, which it leaves open."""

import re
from collections.abc import Mapping

from tracekit.model.finding import CauseChance
from tracekit.model.result import StationResult
from tracekit.report.coast_dips import coast_dips, dips_told
from tracekit.report.frame import render
from tracekit.report.phrases import NOTHING, cause_name
from tracekit.report.text import clean
from tracekit.report.view import main_finding
from tracekit.report.words import chance, count, plain

PROBABLE = 0.3
"""From this chance on a cause is called likely, from the next on it is left open whatever its reason."""
LIKELY, _RATHER = 0.05, 0.5
_PLACES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Part and motion", ("leak_part_dependent", "part_not_presented", "collision_or_peel", "motion_dips")),
    ("Cup, hose and filter", ("leak_steady", "seal_lost_partly", "flow_restricted")),
    (
        "Valves",
        (
            "check_valve_leak", "supply_valve_passing", "supply_valve_slow", "release_valve_leak", "release_weak",
            "valves_overlap",
        ),
    ),
    (
        "Air supply and vacuum source",
        ("exhaust_restricted", "supply_pressure_low", "supply_pressure_dips", "supply_pulsation"),
    ),
    (
        "Settings",
        (
            "set_point_too_high", "set_point_too_low", "hysteresis_too_small", "supply_on_below_reset",
            "supply_band_too_narrow", "supply_off_unreachable", "timeout_too_short",
        ),
    ),
    ("Sensor and cable", ("sensor_zero_shift", "sensor_noisy", "sensor_stuck", "sensor_slow", "sensor_clipped")),
)  # fmt: skip
_ELSEWHERE, _MOTION = "Elsewhere", "motion_dips"
_OPEN = ("not excluded", "needs a baseline", "not in this log")
_MARKS = {"likely": "■", "open": "◧", "against": "□"}


def causes_map(result: StationResult, unit: str) -> tuple[str, str]:
    """Title and finished HTML of the map; two empty texts where no unlikely cause has a reason."""
    known = [c for c in result.causes if c.code not in NOTHING and c.reason.strip()]
    unseen = {d.code: d.why for d in result.detectable if d.smallest is None}
    told = main_finding(result) is not None
    states = {c.code: _state(c, unseen, told) for c in known}
    dips = coast_dips(result) if states.get(_MOTION) == "against" else ()
    if dips:
        states[_MOTION], unseen[_MOTION] = "open", plain(dips_told(dips, result.baseline is not None))
    against = sum(s == "against" for s in states.values())
    if all(s == "likely" for s in states.values()):
        return "", ""
    entries = {c.code: _entry(c, states[c.code], unseen.get(c.code, "")) for c in known}
    places = [(name, [entries[c.code] for c in known if _place(c.code) == name]) for name in _names()]
    left = sum(s == "open" for s in states.values())
    values = {
        "places": [p for p in places if p[1]],
        "marks": [(_MARKS[s], w) for s, w in _READING if s in states.values()],
    }
    return _title(against, left, len(known)), render("ruled.html", values, unit)


_REFILLS = re.compile(r"^(the band is \S+ kPa) and a usual hold has ([2-9]|\d\d+) refills$")
"""Many refills that speak against a narrow band only by its width."""
_READING = (("likely", "likely"), ("open", "not excluded"), ("against", "the log speaks against it"))


def _title(against: int, left: int, total: int) -> str:
    if not against:
        return f"What the log leaves open: {count(left)} of {count(total)} causes"
    tail = f"; it leaves {count(left)} open" if left else ""
    return f"The log speaks against {count(against)} of {count(total)} causes{tail}"


def _names() -> tuple[str, ...]:
    return (*(name for name, _ in _PLACES), _ELSEWHERE)


def _place(code: str) -> str:
    return next((name for name, codes in _PLACES if code in codes), _ELSEWHERE)


def is_open(cause: CauseChance) -> bool:
    """True where the reason says that the log leaves a cause open."""
    return cause.reason.startswith(_OPEN)


def _state(cause: CauseChance, unseen: Mapping[str, str], told: bool) -> str:
    """A log that could not have shown a cause, or leaves it a chance, does not speak against it.

    Where no finding is `told`, what is less likely there than not is not called likely.
    """
    if cause.chance >= (PROBABLE if told else _RATHER):
        return "likely"
    left = cause.chance >= LIKELY or is_open(cause)
    return "open" if left or cause.code in unseen else "against"


def _entry(cause: CauseChance, state: str, unseen: str) -> dict[str, str]:
    words = {"likely": f"chance {chance(cause.chance)}", "open": "not excluded", "against": "against it"}[state]
    if state == "open" and cause.chance >= LIKELY:
        words = f"not excluded, chance {chance(cause.chance)}"
    silent = not is_open(cause) or cause.reason.endswith("nothing speaks for it")
    against = state == "open" and silent and cause.chance < LIKELY
    why = _sentence(unseen) if against and unseen else _why(cause)
    return {"mark": _MARKS[state], "state": state, "name": cause_name(cause.code), "words": words, "why": why}


def _why(cause: CauseChance) -> str:
    """The reason as a sentence, without what the mark says already."""
    line = clean(cause.reason, 260).rstrip(".")
    line = _REFILLS.sub(r"\1, wide enough; the \2 refills of a hold have another cause", line)
    line = "no measure of this log shows it" if line == "not in this log" else line
    for start in ("not excluded: ", "not excluded, but "):
        line = line.removeprefix(start)
    return _sentence(line)


def _sentence(text: str) -> str:
    line = clean(text, 260).rstrip(".")
    return f"{line[:1].upper()}{line[1:]}."
