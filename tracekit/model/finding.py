"""Codes, findings and everything a verdict is made of."""

from typing import Literal

from tracekit.frozen import dataclass

FindingKind = Literal["cause", "symptom", "setting", "sensor", "recording"]
Severity = Literal["info", "minor", "major", "critical"]

CODES: dict[str, FindingKind] = {
    **dict.fromkeys(
        (
            "leak_steady", "leak_part_dependent", "check_valve_leak", "release_valve_leak", "flow_restricted",
            "exhaust_restricted", "supply_pressure_low", "supply_pressure_dips", "supply_pulsation",
            "supply_valve_slow", "supply_valve_passing", "release_weak", "collision_or_peel", "motion_dips",
            "part_not_presented",
        ),
        "cause",
    ),
    **dict.fromkeys(
        (
            "part_dropped", "part_missed", "seal_lost_partly", "switch_chatter", "supply_short_cycling",
            "supply_never_cuts", "release_slow",
        ),
        "symptom",
    ),
    **dict.fromkeys(
        (
            "set_point_too_high", "set_point_too_low", "hysteresis_too_small", "supply_on_below_reset",
            "supply_band_too_narrow", "supply_off_unreachable", "timeout_too_short", "valves_overlap",
        ),
        "setting",
    ),
    **dict.fromkeys(
        ("sensor_zero_shift", "sensor_noisy", "sensor_stuck", "sensor_slow", "sensor_clipped"), "sensor"
    ),
    **dict.fromkeys(
        (
            "log_undersampled", "log_gaps", "clock_step", "channel_missing", "channel_inverted", "supply_is_request",
        ),
        "recording",
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One measured fact behind a finding. `reference` is the baseline, limit or physical value it is held against."""

    measure: str
    value: float
    unit: str
    reference: float | None = None
    reference_source: str = ""
    lower: float | None = None
    upper: float | None = None
    cycles: int | None = None
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStep:
    """One thing to do: what, minutes, what each outcome means, the caution that goes with it."""

    do: str
    expect_if: str
    expect_else: str
    minutes: int
    caution: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One entry of the ranked findings. `cycles` lists the rows of the cycles table that it touches."""

    code: str
    kind: FindingKind
    severity: Severity
    confidence: float
    share: float
    title: str
    onset_cycle: int | None = None
    evidence: tuple[Evidence, ...] = ()
    alternatives: tuple[str, ...] = ()
    explains: tuple[str, ...] = ()
    next_steps: tuple[NextStep, ...] = ()
    cycles: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseChance:
    """The chance that a cause is the first to repair, with one line for or against it, its own test and its repair.

    Test and repair are None where there is nothing to repair, as for "none of these".
    """

    code: str
    chance: float
    reason: str
    test: NextStep | None = None
    repair: NextStep | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Detectable:
    """The smallest change of `measure` that this log would have shown for a code, or why none (`smallest` None)."""

    code: str
    measure: str
    smallest: float | None
    unit: str
    why: str
