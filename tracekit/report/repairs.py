"""Steps after a test: after which outcome a repair comes, what repairs the causes that a test may find instead."""

from dataclasses import replace

from tracekit.model.finding import Finding, NextStep
from tracekit.model.result import StationResult
from tracekit.report.phrases import cause_name, phrase
from tracekit.report.rivals import runner_up
from tracekit.report.steps_told import Step
from tracekit.report.text import clean

_NEXT, _MOST_OTHERS, _MAY_BE = "look into the next likely cause", 3, 0.075
_NO_RIVAL = "record again: the new page tells what is left"
_LOCK = "Lock out, dump the air, vent the vacuum and prove zero energy first. Receivers store energy."
_WORKED = ("The test above finds no fault any more", "Every part holds at low speed")
REPAIRS: dict[str, tuple[str, int]] = {
    "leak_steady": (
        "Change the cup (5 min)",
        15,
    ),
    "leak_part_dependent": (
        "Try a softer or bellows cup, or move the pick position",
        60,
    ),
    "check_valve_leak": (
        "Clean the check valve or fit a new one",
        30,
    ),
    "release_valve_leak": (
        "Clean the release valve, renew its seat or fit a new valve",
        30,
    ),
    "flow_restricted": (
        "Change the filter element (5 to 10 min)",
        10,
    ),
    "exhaust_restricted": (
        "Fit a new silencer (5 to 10 min)",
        40,
    ),
    "supply_pressure_low": (
        "Set the regulator, change the feed's filter element or fit a wider feed hose",
        60,
    ),
    "supply_pressure_dips": (
        "Give the station its own feed, or fit a receiver of 1 to 5 L with a check valve",
        120,
    ),
    "supply_pulsation": (
        "Set or change the regulator, or fit a small receiver ahead of the generator",
        60,
    ),
    "supply_valve_slow": (
        "Clean or change the valve",
        30,
    ),
    "supply_valve_passing": (
        "Clean the supply valve or fit a new one",
        30,
    ),
    "release_weak": (
        "Open the throttle, lengthen the blow-off, or clean or change the release valve",
        30,
    ),
    "collision_or_peel": (
        "Change the path, add a stripping aid between stacked parts, or move the cup",
        120,
    ),
    "motion_dips": (
        "Smooth the movement, fit a stiffer cup, or relieve the hose of its pull",
        60,
    ),
    "part_not_presented": (
        "Set the feeder, its guides or the taught position",
        60,
    ),
    "set_point_too_high": (
        "Lower the set point, no further than the load allows",
        10,
    ),
    "set_point_too_low": (
        "Set the set point at least 5 kPa above the open-cup vacuum",
        10,
    ),
    "hysteresis_too_small": (
        "Raise the set point, or lower the reset point where the load allows it",
        10,
    ),
    "supply_on_below_reset": (
        "Raise the vacuum at which the supply resumes above the reset point plus the guard",
        10,
    ),
    "supply_band_too_narrow": (
        "Raise the supply cut-off first",
        10,
    ),
    "supply_off_unreachable": (
        "Repair any leak or weak suction first",
        10,
    ),
    "timeout_too_short": (
        "Set the time-out to at least 1.5 times the evacuation time that 95 % of the picks stay below",
        10,
    ),
    "valves_overlap": (
        "Have the programmer add 20 to 50 ms between one valve off and the other on",
        60,
    ),
    "sensor_zero_shift": (
        "Set the zero with the port open to air",
        3,
    ),
    "sensor_noisy": (
        "Connect the shield of the cable, route the cable away from drives, or change the sensor",
        40,
    ),
    "sensor_stuck": (
        "Clean the sensor port or change the sensor",
        20,
    ),
    "sensor_slow": (
        "Clear the port and the tube, or fit new ones",
        20,
    ),
    "sensor_clipped": (
        "Set the range or the scale, or fit a sensor for -100 to +100 kPa",
        30,
    ),
}
"""The repair of each cause in one sentence, as the handbook has it, and the minutes it may take."""
TESTS: dict[str, NextStep] = {
    "exhaust_restricted": NextStep(
        do="Take the exhaust silencer off, pick a flat plate six times and read the inlet pressure. To log it: Files "
        "plate.csv (silencer on) and plate_no_silencer.csv. Run: tracekit compare plate.csv plate_no_silencer.csv "
        "--primary pump_time_constant_s. It prints the time constant of both.",
        expect_if="Evacuation is 10 % quicker (pump time constant) or the ultimate vacuum 2 kPa higher: the silencer. "
        "No change at 450 kPa or more at the inlet: the nozzle.",
        expect_else="No change and less than 400 kPa at the inlet: the air supply, not the generator.",
        minutes=8,
        caution=f"{_LOCK} Hearing and eye protection: the open exhaust is loud and throws dirt. Let it cool or thaw "
        "first. Then back to the safe stop.",
    ),
}
"""The test of a cause that another is not told from, where no finding of its own brings it, as the handbook has it."""


def conditional(steps: list[Step], result: StationResult, source: Finding) -> list[Step]:
    """The steps of a finding with its repair made to depend on what the tests before it find.

    It names the repairs of other causes of some weight too, so that no outcome is a dead end.
    """
    at = next((k for k, step in enumerate(steps) if k and _is_repair(step)), None)
    named = [_next_named(step, result, source) for step in steps]
    if at is None:
        return named
    finds = "If the test finds" if at == 1 else "If the tests find"
    own = replace(named[at], act=f"{finds} {phrase(source.code).noun}: {_lowered(named[at].act)}")
    own = replace(own, more=(*own.more, *_other_repairs(result, source)))
    return [*named[:at], own, *named[at + 1 :]]


def locked_once(steps: tuple[Step, ...]) -> tuple[Step, ...]:
    """Each lock-out after the first in a line that points to it, so that what differs stands out."""
    first = next((k for k, step in enumerate(steps) if step.caution.startswith(_LOCK)), len(steps))
    short = f"Lock out, vent and prove zero energy as in step {first + 1}."
    return tuple(
        replace(s, caution=s.caution.replace(_LOCK, short, 1)) if k > first else s for k, s in enumerate(steps)
    )


def _is_repair(step: Step) -> bool:
    return any(seen in _WORKED for seen, _ in step.results)


def _next_named(step: Step, result: StationResult, source: Finding) -> Step:
    """The step with the next likely cause called by its name."""
    rival = runner_up(result, source)
    told = f"{phrase(rival).rival} next" if rival is not None else _NO_RIVAL

    def said(pair: tuple[str, str]) -> tuple[str, str]:
        return (pair[0], told if pair[1] == _NEXT else pair[1])

    return replace(step, results=tuple(map(said, step.results)), more=tuple(map(said, step.more)))


def _other_repairs(result: StationResult, source: Finding) -> tuple[tuple[str, str], ...]:
    """What repairs the causes that the tests may find instead, the likeliest first."""
    others = [c for c in result.causes if c.chance >= _MAY_BE and c.code != source.code and c.code in REPAIRS]
    others = sorted(others, key=lambda c: -c.chance)[:_MOST_OTHERS]
    return tuple((f"{cause_name(c.code)} instead", _in_short(c.code)) for c in others)


def _in_short(code: str) -> str:
    act, minutes = REPAIRS[code]
    return _lowered(act) if act.endswith("min)") else f"{_lowered(act)} ({minutes} min)"


def _lowered(act: str) -> str:
    return act if act[1:2].isupper() else clean(act[:1].lower() + act[1:], 400)
