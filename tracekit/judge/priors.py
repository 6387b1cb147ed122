"""How likely each code is the first thing to repair, before the log is read.

Common practice, no source: trust the figures to a factor of two either way, below 0.05 to a factor of three.
They hold where somebody complained of dropped or missed parts. In routine logs nobody did.
"""

import re
from collections.abc import Iterable, Mapping
from types import MappingProxyType

from tracekit.errors import UsageError, message, nearest
from tracekit.model.finding import CODES, FindingKind

NOTHING_TO_REPAIR_ROUTINE = 0.9
"""Share of stations in a routine log that need no repair (common practice, no source)."""
TWO_CAUSES = 1.0 / 6.0
"""Chance that a second cause stands beside the first (common practice, no source)."""

_CAUSES: Mapping[str, float] = MappingProxyType({
    "leak_steady": 0.27, "leak_part_dependent": 0.12, "part_not_presented": 0.10, "flow_restricted": 0.08,
    "supply_pressure_low": 0.06, "exhaust_restricted": 0.05, "check_valve_leak": 0.04, "supply_pressure_dips": 0.04,
    "collision_or_peel": 0.04, "release_weak": 0.03, "release_valve_leak": 0.02, "supply_valve_slow": 0.02,
    "motion_dips": 0.02, "supply_pulsation": 0.01,
    # No figure is handed down for this one; assumed rarer than any other cause.
    "supply_valve_passing": 0.005,
})  # fmt: skip
_GROUPS: Mapping[FindingKind, float] = MappingProxyType({"setting": 0.08, "sensor": 0.02})
_WEAR = (
    "leak_steady", "check_valve_leak", "release_valve_leak", "flow_restricted", "exhaust_restricted",
    "supply_valve_slow", "supply_valve_passing",
)  # fmt: skip
_SUPPLY = ("supply_pressure_low", "supply_pressure_dips", "supply_pulsation")
_FITTINGS_SHARE = 0.25
"""Share of steady leaks that sit in fittings (common practice, no source)."""


def _of_kind(kind: FindingKind, factor: float) -> dict[str, float]:
    return {code: factor for code, its_kind in CODES.items() if its_kind == kind}


_SHIFTS: Mapping[str, Mapping[str, float]] = MappingProxyType({
    "dusty": {"flow_restricted": 3.0, "exhaust_restricted": 2.0, "check_valve_leak": 2.0},
    "oily": {"motion_dips": 2.0, "collision_or_peel": 2.0, "leak_steady": 1.5, "exhaust_restricted": 1.5},
    "cardboard": {"leak_part_dependent": 3.0, "flow_restricted": 2.0, "leak_steady": 1.3},
    "warm_parts": {"leak_steady": 2.0},
    "cold_damp": {"exhaust_restricted": 2.0, "supply_valve_slow": 2.0, "supply_valve_passing": 2.0},
    "new": {
        **dict.fromkeys(_WEAR, 0.3), **dict.fromkeys(_SUPPLY, 2.0), **_of_kind("setting", 4.0),
        **_of_kind("recording", 3.0),
    },
    "after_maintenance": {
        "leak_steady": 1.0 + _FITTINGS_SHARE, **_of_kind("setting", 2.0), **_of_kind("sensor", 2.0),
    },
    "recipe_change": {
        "leak_part_dependent": 3.0, "part_not_presented": 2.0, "motion_dips": 2.0, **_of_kind("setting", 3.0),
    },
})  # fmt: skip

_ALSO_CALLED: Mapping[str, str] = MappingProxyType({
    "dust": "dusty", "oil": "oily", "warm": "warm_parts", "hot_parts": "warm_parts", "cold": "cold_damp",
    "damp": "cold_damp", "wet": "cold_damp", "maintenance": "after_maintenance", "new_station": "new",
    "new_recipe": "recipe_change",
})  # fmt: skip
SURROUNDINGS: tuple[str, ...] = tuple(_SHIFTS)
"""The words that shift the priors; spaces, hyphens, commas and capitals do not matter."""


def prior(code: str, surroundings: Iterable[str] = (), *, complaint: bool = True) -> float:
    """Chance that `code` is the first actionable cause (common practice, no source).

    Over all codes these sum to one where somebody complained, else to 0.1. Settings share 0.08 and sensors 0.02
    evenly. A symptom and a fault of the recording are no repair of the station: 0.

    Raises
    ------
    UsageError
        For an unknown code or word for the surroundings.
    """
    _check_code(code)
    words = tuple(surroundings)
    weights = {name: _base(name) * shift(name, words) for name in CODES}
    chance = weights[code] / sum(weights.values())
    return chance if complaint else chance * (1.0 - NOTHING_TO_REPAIR_ROUTINE)


def shift(code: str, surroundings: Iterable[str]) -> float:
    """Factor by which the surroundings make `code` more likely, before all codes are made to sum to one."""
    _check_code(code)
    factor = 1.0
    for word in dict.fromkeys(_known_word(word) for word in surroundings):
        factor *= _SHIFTS[word].get(code, 1.0)
    return factor


def trust_factor(code: str) -> float:
    """The prior may be wrong by this factor either way: 2, below 0.05 it is 3."""
    return 3.0 if prior(code) < 0.05 else 2.0


def _base(code: str) -> float:
    kind = CODES[code]
    if kind in _GROUPS:
        return _GROUPS[kind] / sum(other == kind for other in CODES.values())
    return _CAUSES.get(code, 0.0)


def _check_code(code: str) -> None:
    if code not in CODES:
        raise UsageError(message("prior", f'the code "{code}"', "a known code", nearest(code, CODES)))


def _known_word(word: str) -> str:
    known = re.sub(r"[^a-z]+", "_", word.lower()).strip("_")
    known = _ALSO_CALLED.get(known, known)
    if known not in _SHIFTS:
        raise UsageError(message("surroundings", f'"{word}"', "a known word", nearest(known, SURROUNDINGS)))
    return known
