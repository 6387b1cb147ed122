"""Figures of a blow-off that is too weak: how long it is on, how long it takes, what is left and how far it reaches."""

import numpy as np

from tracekit.model.cycle import StationData
from tracekit.model.finding import Finding
from tracekit.model.result import StationResult
from tracekit.report.view import median
from tracekit.report.words import Num, Text, plain, say

_OPEN_CUP_TEST = "Fire the release on an open cup"
_LEAST_KPA = 0.1


def given_s(data: StationData) -> float:
    """Median time for which the release command is on [s]; NaN where it is not in the log."""
    if not {"release_s", "release_end_s"} <= set(data.timing):
        return float("nan")
    return median(data.timing["release_end_s"] - data.timing["release_s"])


def time_of(result: StationResult, time_s: float) -> Num:
    """A time of the release, as finely as the sampling allows."""
    return Num(value=time_s, unit="s", step=max(result.data.sensor.sample_interval_s / 5.0, 0.001))


def too_short(result: StationResult, main: Finding) -> Text:
    """As in "It is on for 0.085 s and needs 0.368 s.", where a weak blow-off ends too soon; else empty."""
    given, needed = given_s(result.data), median(result.data.cycles.floats("release_time_s"))
    if main.code != "release_weak" or not np.isfinite(given) or not needed > given:
        return ()
    return say("It is on for {}, needs {}.", time_of(result, given), time_of(result, needed))


def reached(result: StationResult, main: Finding, act: str) -> str:
    """What the blow-off of this log and of the baseline reaches, for the test that compares it; empty for another."""
    if not act.startswith(_OPEN_CUP_TEST):
        return ""
    left = next((e for e in main.evidence if e.measure == "residual_vacuum_kpa" and e.value > _LEAST_KPA), None)
    told = [_highest(result.data, "In this log it reaches")]
    if told[0].endswith("no over-pressure") and left is not None:
        kept = Num(value=left.value, unit="kPa", lower=left.lower, upper=left.upper, unsaid=True, step=0.1)
        told[0] += f"; {plain((kept,))} of vacuum is left"
    if result.baseline is not None:
        told.append(_highest(result.baseline, "in the baseline"))
    return f"{'; '.join(t for t in told if t)}." if told[0] else ""


def _highest(data: StationData, start: str) -> str:
    peak = median(data.cycles.floats("release_peak_kpa"))
    if not np.isfinite(peak):
        return ""
    return f"{start} {_kpa(peak)}" if peak > _LEAST_KPA else f"{start} no over-pressure"


def _kpa(value: float) -> str:
    return plain((Num(value=value, unit="kPa", step=0.1),))
