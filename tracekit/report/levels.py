"""The levels of vacuum between which evacuation and blow-off are timed, named where such a time is told."""

import math

from tracekit.model.result import StationResult
from tracekit.report.words import Num, Text, say
from tracekit.signal.bands import choose_bands

EVACUATION, BLOW_OFF = "evacuation between two levels", "blow-off between two levels"
_NAMES = {EVACUATION: "evacuation from {} to {}", BLOW_OFF: "blow-off from {} to {}"}
_TIMED = ("between two levels", "blow-off time")


def sentence(measure: str, result: StationResult, number: Num) -> Text | None:
    """As in "Evacuation from 20 to 45 kPa takes 0.35 s"; None where the measure is no time between known levels."""
    ends = _ends(measure, result) if measure in _NAMES else None
    return None if ends is None else say(f"{_NAMES[measure].capitalize()} takes {{}}", *ends, number)


def timed(measure: str, result: StationResult) -> Text:
    """As in "evacuation from 20 to 45 kPa", for one of the two."""
    ends = _ends(measure, result)
    return (measure,) if ends is None else say(_NAMES[measure], *ends)


def note(result: StationResult, reasons: tuple[str, ...]) -> Text:
    """Which levels the reasons of causes speak of; nothing where none speaks of a time between levels."""
    rise, fall = _ends(EVACUATION, result), _ends(BLOW_OFF, result)
    if rise is None or fall is None or not any(word in reason for reason in reasons for word in _TIMED):
        return ()
    pattern = (
        "Timed between levels that usual cycles pass: evacuation from {} to {}, blow-off from {} to {}, above the "
        "idle reading."
    )
    return say(pattern, *rise, *fall)


def _ends(measure: str, result: StationResult) -> tuple[Num, Num] | None:
    """The two levels as they were judged by, for a log and its baseline [kPa above the idle reading]."""
    own = choose_bands((result.data,) if result.baseline is None else (result.data, result.baseline))
    low, high = (own.rise_low, own.rise_high) if measure == EVACUATION else (own.fall_high, own.fall_low)
    if not (math.isfinite(low) and math.isfinite(high)):
        return None
    return Num(value=low, unit="kPa", step=1.0, bare=True), Num(value=high, unit="kPa", step=1.0)
