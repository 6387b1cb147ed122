"""The fingerprints of causes: what each does to each measure, as ranges that a practitioner can read.

A range is in the measure's own unit: `decay` kPa/s; `rise`, `blow`, `command`, `noise` logarithms of a time or
amplitude; `open`, `ultimate`, `residual`, `over`, `idle`, `early`, `fast_fall`, `overshoot`, `dip` kPa; `response`,
`blow_start` and `run_on` s; `stretch` and `late_alike` shares of a delay, `starved` of a slowing; `unevenness` is the
logarithm of the relative scatter of the leak from cycle to cycle.
`SAME` means unchanged, as is every measure that a row does not name (but `balance` and `unevenness`, which only leaks
have). `chance` is how often a change shows. Signs follow physics; the sizes are common practice, no source.
"""

from collections.abc import Mapping
from dataclasses import replace

from tracekit.frozen import dataclass


@dataclass(frozen=True, slots=True)
class Change:
    """A change of a measure between `least` and `most`, which shows with probability `chance`; `either`: up or down.

    against  what a second cause does the other way: each shows with its own chance, both together anything between
    """

    least: float
    most: float
    chance: float = 1.0
    either: bool = False
    against: "Change | None" = None


SAME = Change(0.0, 0.0)


def up(least: float, most: float, chance: float = 1.0) -> Change:
    """A rise."""
    return Change(least, most, chance)


def down(least: float, most: float, chance: float = 1.0) -> Change:
    """A fall."""
    return Change(-least, -most, chance)


_BASIC: Mapping[str, Mapping[str, Change]] = {
    "leak_steady": {
        "decay": up(0.3, 300.0), "balance": up(0.37, 1.01), "rise": up(0.001, 0.2, 0.6),
        "ultimate": down(0.1, 12.0, 0.6), "blow": down(0.005, 0.15, 0.15),
        # parts and lips differ from pick to pick; a hose or a fitting leaks alike, as a seat does
        "unevenness": Change(-3.9, -1.4, 0.8, against=Change(-6.2, -3.6, 0.2)),
        "blow_start": down(0.001, 0.02, 0.3), "residual": down(0.1, 30.0, 0.3), "overshoot": down(0.05, 2.0, 0.4),
        "dip": up(0.3, 40.0, 0.03),  # a lip that opens in the hold
        "starved": Change(-0.3, 0.3),
    },
    "check_valve_leak": {
        "decay": up(0.3, 300.0), "balance": Change(-0.3, 0.27), "rise": SAME, "ultimate": SAME,
        "unevenness": Change(-6.2, -3.9),
        "open": SAME, "blow": SAME, "over": SAME, "idle": SAME, "residual": SAME, "response": SAME, "noise": SAME,
    },
    "release_valve_leak": {
        "decay": up(0.3, 150.0), "unevenness": Change(-6.2, -3.6), "balance": up(0.37, 1.01),
        "rise": up(0.001, 0.2, 0.6), "ultimate": down(0.1, 8.0, 0.6),
        # an open cup loses of its vacuum what the leak is of the generator's flow: some 0.1 kPa for 6 kPa/s
        "open": down(0.05, 1.0, 0.5), "over": SAME, "residual": down(0.05, 0.5, 0.3), "response": SAME,
        "idle": down(0.05, 1.0, 0.5), "noise": SAME,
        # what enters through it helps the blow-off and stops the rise after a cut, as air through any other leak does
        "blow": down(0.005, 0.15, 0.15), "blow_start": down(0.001, 0.02, 0.3), "overshoot": down(0.05, 2.0, 0.4),
        "starved": Change(-0.3, 0.8),
    },
    "flow_restricted": {
        "decay": SAME, "over": up(0.12, 60.0, 0.9), "residual": down(0.1, 60.0, 0.6), "open": up(0.1, 40.0, 0.8),
        "response": down(0.0005, 0.02, 0.5), "blow": Change(-2.0, 0.3, 0.7), "fast_fall": up(0.3, 20.0, 0.6),
        "blow_start": down(0.0005, 0.02, 0.6), "idle": SAME, "noise": SAME, "ultimate": SAME,
        "rise": Change(-0.3, 2.0, 0.5), "overshoot": Change(-3.0, 3.0, 0.5), "command": down(0.1, 1.0, 0.1),
    },
    "exhaust_restricted": {
        "decay": SAME, "rise": up(0.04, 2.0), "ultimate": down(0.5, 30.0, 0.9), "open": down(0.05, 10.0, 0.8),
        "blow": SAME, "over": SAME, "residual": SAME, "idle": SAME, "response": up(0.003, 0.25, 0.015), "noise": SAME,
        "rise_scatter": SAME, "overshoot": down(0.1, 6.0, 0.5),
        "fast_fall": down(0.1, 3.0, 0.3),  # a slow evacuation leaves the gas less cold
        "starved": Change(0.4, 1.7, 0.93),
    },
    "supply_pressure_low": {
        "decay": SAME, "rise": up(0.03, 2.0), "ultimate": down(0.5, 40.0, 0.9), "open": down(0.05, 10.0, 0.8),
        "blow": up(0.04, 0.8), "over": down(0.05, 40.0, 0.6), "residual": up(0.05, 20.0, 0.35),
        "blow_start": up(0.0005, 0.02, 0.5), "response": up(0.001, 0.03, 0.25), "overshoot": down(0.1, 6.0, 0.5),
        "fast_fall": down(0.1, 3.0, 0.3), "starved": Change(0.25, 1.6, 0.95),
    },
    "supply_valve_slow": {
        "decay": SAME, "response": up(0.003, 0.4, 0.65), "rise": SAME, "ultimate": SAME,
        "open": down(0.05, 8.0, 0.4),  # less time before the part closes the cup
        "blow": up(0.02, 0.8, 0.25), "blow_start": up(0.002, 0.3, 0.25), "over": SAME, "idle": SAME, "residual": SAME,
        # one that is late only now and then may come up while the cup has closed already
        "noise": SAME, "rise_scatter": up(0.1, 2.5, 0.15), "overshoot": up(0.3, 10.0, 0.6),
        "late_alike": Change(-0.3, 0.3), "stretch": Change(-0.15, 0.15), "run_on": up(0.008, 0.3, 0.5),
        "fast_fall": down(0.1, 6.0, 0.15),  # it closes late too, as the overshoot says
    },
    "supply_valve_passing": {
        # it draws against the blow-off, and the idle vacuum that it makes is real: what is taken above it shrinks
        "decay": down(0.05, 5.0, 0.6), "idle": up(0.4, 15.0), "idle_real": Change(0.5, 1.3),
        "early": up(1.0, 60.0, 0.4),  # where the cup meets its part before the command
        "rise": up(0.001, 0.3, 0.7), "ultimate": down(0.1, 15.0, 0.7), "open": down(0.1, 15.0, 0.8),
        "over": down(0.1, 10.0, 0.9), "residual": up(0.1, 15.0, 0.8), "blow": up(0.005, 0.6, 0.8),
        "response": down(0.0005, 0.02, 0.4), "noise": SAME, "overshoot": up(0.1, 5.0, 0.3),
        "dip": up(0.3, 5.0, 0.3), "run_on": up(0.005, 0.1, 0.3),
    },
    "release_weak": {
        "decay": SAME, "rise": Change(-0.3, 0.3, 0.3), "ultimate": SAME, "blow": up(0.06, 4.0, 0.65),
        "blow_scatter": up(0.1, 3.0, 0.5),
        "blow_start": up(0.003, 0.5, 0.9), "residual": up(0.3, 90.0, 0.5), "over": down(0.1, 100.0, 0.6),
        # long after the release the cup is open to air; vacuum left for so long would be real
        "idle": up(0.5, 80.0, 0.05), "idle_real": Change(0.5, 1.3), "noise": SAME, "command": down(0.2, 3.0, 0.25),
    },
    "sensor_zero_shift": {
        "decay": SAME, "idle": Change(0.4, 12.0, either=True), "idle_real": SAME, "ultimate": SAME, "blow": SAME,
        "rise": SAME, "open": SAME, "noise": SAME, "response": SAME, "residual": SAME, "over": SAME, "blow_start": SAME,
    },
    "sensor_noisy": {
        "noise": up(0.5, 3.0), "noise_off": up(0.5, 3.0), "open": SAME, "residual": SAME,
        "response": Change(-0.02, 0.02), "decay": SAME,
        "rise": SAME, "ultimate": SAME, "blow": SAME, "idle": SAME, "over": SAME, "rise_scatter": up(0.1, 3.0, 0.8),
        "blow_scatter": up(0.1, 3.0, 0.8),
        "overshoot": up(0.1, 4.0, 0.6), "dip": up(0.3, 15.0, 0.7), "run_on": up(0.005, 0.1, 0.5),
    },
    "sensor_slow": {
        # the reading goes on rising after the cut, so a fall just after it is missed, and an evacuation seen late
        # looks straighter than it is: its end is extrapolated too far
        # where an onset stands out early on its way, the answer to the supply is seen in time
        "response": up(0.005, 0.8, 0.6), "blow_start": up(0.01, 0.8), "rise": up(0.005, 1.0, 0.85),
        "blow": up(0.02, 2.5, 0.8), "noise": down(0.1, 2.0, 0.4), "open": down(0.05, 10.0, 0.6),
        "over": down(0.1, 60.0, 0.6), "residual": up(0.1, 60.0, 0.7), "overshoot": Change(-1.0, 15.0, 0.7),
        "fast_fall": down(0.1, 6.0, 0.5), "ultimate": up(0.5, 25.0, 0.4),
        "decay": up(0.1, 3.0, 0.3),  # a lag leaves the slope of a fall as it is, but where coasts are short beside it
        "run_on": up(0.015, 0.6, 0.9), "late_alike": Change(0.5, 8.0), "stretch": Change(0.6, 20.0),
        "balance": Change(-3.0, 8.0),
    },
    "none": {
        "decay": SAME, "balance": SAME, "rise": SAME, "ultimate": SAME, "open": SAME, "blow": SAME, "over": SAME,
        "idle": SAME, "residual": SAME, "response": SAME, "noise": SAME, "fast_fall": SAME, "blow_start": SAME,
        "rise_scatter": SAME, "overshoot": SAME, "command": SAME, "noise_off": SAME, "dip": SAME, "early": SAME,
        "run_on": SAME, "blow_scatter": SAME,
    },
}  # fmt: skip

_NEUTRAL: Mapping[str, Change] = _BASIC["none"]
_UNCHANGED: Mapping[str, Change] = {name: SAME for name in _NEUTRAL if name != "balance"}
"""What a row does not name is unchanged."""

FINGERPRINTS: Mapping[str, Mapping[str, Change]] = {
    **{code: {**_UNCHANGED, **row} for code, row in _BASIC.items()},
    "leak_part_dependent": {
        **_NEUTRAL, "decay": up(0.1, 150.0, 0.5), "rise": up(0.001, 0.2, 0.3), "ultimate": down(0.1, 12.0, 0.4),
        "balance": up(0.37, 1.01), "rise_scatter": up(0.1, 2.5, 0.5), "overshoot": down(0.05, 2.0, 0.3),
        "blow_scatter": up(0.1, 2.0, 0.3),
        "dip": up(0.3, 40.0, 0.05), "starved": Change(-0.3, 0.3),
    },
    "supply_pressure_dips": {
        # dips that touch fewer than half of the cycles move no median
        **_NEUTRAL, "rise": up(0.005, 0.5, 0.4), "ultimate": down(0.1, 20.0, 0.3), "open": down(0.05, 5.0, 0.3),
        "blow": up(0.01, 0.4, 0.3), "over": down(0.05, 20.0, 0.2), "rise_scatter": up(0.7, 4.0, 0.7),
        "blow_scatter": up(0.4, 4.0, 0.1),
        "residual": up(0.1, 10.0, 0.2), "blow_start": up(0.0005, 0.02, 0.2),
        "overshoot": Change(-3.0, 2.0, 0.05), "dip": up(0.3, 40.0, 0.03),
    },
    "collision_or_peel": _NEUTRAL,
    "part_not_presented": _NEUTRAL,
    # a coast may begin in the middle of a move, which also makes the deepest reading of a hold
    "motion_dips": {
        **_NEUTRAL, "dip": up(0.3, 40.0, 0.5), "fast_fall": Change(-3.0, 15.0, 0.4),
        # moves that fill most of a short hold leave little of it to rest
        "noise": up(0.2, 3.0, 0.1), "ultimate": down(0.1, 15.0, 0.1),
        "overshoot": Change(-2.0, 4.0, 0.15), "run_on": up(0.005, 0.1, 0.15),
    },
    "supply_pulsation": {
        **_NEUTRAL, "noise": up(0.2, 3.0, 0.5), "rise_scatter": up(0.1, 5.0, 0.5), "dip": up(0.3, 15.0, 0.15),
        "blow_scatter": up(0.1, 4.0, 0.05),
        # few cycles meet one half of it or the other by chance; suction bends, so that its mean is less
        "rise": Change(-0.3, 0.3, 0.03), "ultimate": Change(-8.0, 4.0, 0.15), "open": Change(-3.0, 3.0, 0.03),
        "blow": Change(-0.2, 0.2, 0.03), "over": Change(-3.0, 3.0, 0.05), "residual": Change(-3.0, 3.0, 0.03),
        "overshoot": Change(-3.0, 3.0, 0.05), "run_on": up(0.005, 0.1, 0.05),
    },
}  # fmt: skip

AT_CUP: Mapping[str, Mapping[str, Change]] = {
    "flow_restricted": {
        **_UNCHANGED, "rise": up(0.02, 2.0, 0.8), "open": down(0.1, 10.0, 0.7), "over": down(0.05, 20.0, 0.6),
        "residual": up(0.05, 30.0, 0.5), "response": up(0.0005, 0.05, 0.4), "blow": up(0.01, 1.5, 0.6),
        "blow_start": up(0.0005, 0.2, 0.7),
        # beyond the restriction vacuum is deeper when the supply is cut: it goes on rising where falls are looked for,
        # and an evacuation that flattens for it seems to end elsewhere
        "fast_fall": down(0.1, 5.0, 0.6), "overshoot": up(0.1, 5.0, 0.5), "ultimate": Change(-3.0, 6.0, 0.5),
        "run_on": up(0.005, 0.03, 0.3),  # little volume lies beyond it to even out
    },
}  # fmt: skip
"""Rows that differ where the sensor sits at the cup side of the filter: behind a restriction, all comes late."""


def fingerprint_of(code: str, sensor_at_cup: bool) -> Mapping[str, Change]:
    """The row of a cause (or "none") for where the sensor sits; empty for an unknown one."""
    at_cup = AT_CUP.get(code) if sensor_at_cup else None
    return at_cup or FINGERPRINTS.get(code, {})


LEAKS = ("leak_steady", "leak_part_dependent", "release_valve_leak")
"""What lets air in between the generator and the part."""
UNRATED: Mapping[str, Change] = {"rise": up(0.001, 0.8, 0.6), "ultimate": down(0.1, 30.0, 0.6)}
"""What they do where coasts are gone that told how large they were: what they slow is not taken off then."""

_OF_SLOW_CYCLES = ("decay", "rise", "ultimate", "open")
"""What a dip or a part moves in the cycles that show it; a blow-off may be met by other dips than an evacuation."""


def seldom_row(code: str) -> Mapping[str, Change]:
    """The row of a cause that touches too few cycles to move a median, or a robust spread, of what it moves in them."""
    row = FINGERPRINTS[code]
    scatter = row.get("rise_scatter", SAME)
    return {
        **row, **dict.fromkeys(_OF_SLOW_CYCLES, SAME),
        "rise_scatter": replace(scatter, chance=min(scatter.chance, 0.2)) if _shows(scatter) else SAME,
    }  # fmt: skip


def _shows(change: Change) -> bool:
    return change.least != 0.0 or change.most != 0.0


SIGN_BACKGROUND: Mapping[str, float] = {
    "rate_groups": 0.001, "late_response": 0.0004, "scattered_evacuation": 0.003, "sudden_losses": 0.002,
    "gradual_losses": 0.002, "empty_picks": 0.003, "deep_dips": 0.005, "pulsation": 0.0006, "leaky": 0.01,
    "tight_on_plate": 0.5, "leaks_on_plate": 0.05, "tight_scatter": 0.7, "far_slow": 0.03,
    "spared_cycles": 0.5, "weak_open": 0.04, "travel_dips": 0.0004, "own_dips": 0.005,
}  # fmt: skip
"""How often a sign shows without the causes below (common practice, no source)."""

SIGNS: Mapping[str, Mapping[str, float]] = {
    "rate_groups": {
        "leak_part_dependent": 0.9, "check_valve_leak": 0.25, "leak_steady": 0.03, "supply_pressure_dips": 0.02,
    },
    "late_response": {
        "supply_valve_slow": 0.8, "sensor_slow": 0.6, "sensor_noisy": 0.3, "supply_pulsation": 0.05,
        "exhaust_restricted": 0.01, "supply_pressure_low": 0.03,
    },
    "scattered_evacuation": {
        "supply_pressure_dips": 0.85, "leak_part_dependent": 0.4, "supply_valve_slow": 0.1, "leak_steady": 0.02,
        "supply_pressure_low": 0.06, "exhaust_restricted": 0.06, "sensor_noisy": 0.2,
        "supply_pulsation": 0.3,  # an evacuation no longer than its period meets one half or the other of it
    },
    # of slow evacuations: what is slow for a leak leaks in the same hold
    "tight_scatter": {"leak_part_dependent": 0.1, "leak_steady": 0.1, "supply_pressure_dips": 0.97},
    # of slow evacuations: here and there one that takes half as long again, and more, which no usual wander makes
    "far_slow": {
        "supply_pressure_dips": 0.4, "leak_part_dependent": 0.4, "leak_steady": 0.1, "sensor_noisy": 0.1,
    },
    # of slow evacuations: a leak leaves the open cup as it is; a late valve leaves less time before the contact
    "weak_open": {"supply_pressure_dips": 0.8, "supply_pulsation": 0.4, "supply_valve_slow": 0.4},
    # where the usual leak has risen: the share of sound parts is rarely nothing, a check valve may hold now and then
    "spared_cycles": {
        "leak_part_dependent": 0.85, "check_valve_leak": 0.25, "leak_steady": 0.05, "release_valve_leak": 0.05,
    },
    "sudden_losses": {"collision_or_peel": 0.97, "motion_dips": 0.1, "leak_steady": 0.003, "leak_part_dependent": 0.01},
    "gradual_losses": {"leak_steady": 0.3, "leak_part_dependent": 0.3, "check_valve_leak": 0.2, "motion_dips": 0.1},
    "empty_picks": {"part_not_presented": 0.97, "leak_part_dependent": 0.02},
    "deep_dips": {"motion_dips": 0.9, "collision_or_peel": 0.1, "sensor_noisy": 0.2, "supply_pressure_dips": 0.03},
    # of holds with the supply on, instead: most machines move at the same times of each, no air line keeps to them
    "travel_dips": {"motion_dips": 0.85},
    "own_dips": {
        "supply_pressure_dips": 0.4, "motion_dips": 0.2, "collision_or_peel": 0.1, "sensor_noisy": 0.2,
        "supply_pulsation": 0.1,
    },
    "pulsation": {"supply_pulsation": 0.9},
    "tight_on_plate": {
        "leak_part_dependent": 0.9, "leak_steady": 0.3, "check_valve_leak": 0.02, "release_valve_leak": 0.02,
    },
    "leaks_on_plate": {
        "leak_part_dependent": 0.05, "leak_steady": 0.7, "check_valve_leak": 0.98, "release_valve_leak": 0.98,
    },
    "leaky": {
        "leak_steady": 0.9, "check_valve_leak": 0.9, "release_valve_leak": 0.9, "leak_part_dependent": 0.5,
    },
}  # fmt: skip
"""How often each cause brings each sign (common practice, no source)."""

PARTING = ("tight_scatter", "spared_cycles", "weak_open", "far_slow")
"""Signs that are asked for only where another is there: slow evacuations, a leak that has risen."""
