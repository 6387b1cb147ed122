"""Whether a unit, sense or scale that a station file gives can be that of the readings."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.model.station import Channel
from tracekit.read.columns import Column
from tracekit.read.head import Head, finite, spread
from tracekit.read.pressure import NEAR_ZERO_KPA, Ambient, PressurePlan, looks, stays, without_sentinels
from tracekit.units import pressure_unit

_HIGHEST_AMBIENT_KPA, _SENSOR_KPA = 107.0, 8.0
_IMPOSSIBLE_SHARE, _NEAR_SHARE = 0.05, 0.002
"""Highest ambient and a sensor's error on top [kPa]; more readings beyond refuse what is declared, fewer near ambient
make it doubtful (common practice, no source)."""
_UNITS = ("kPa", "mbar", "bar", "Pa", "Torr", "psi", "inHg")
_MOST_TOLD = 3


def with_doubts(
    plan: PressurePlan, column: Column, head: Head, given: Channel | None, ambient: Ambient
) -> PressurePlan:
    """The plan with what the first rows say against the unit, sense or scale of the station file.

    Raises LogReadError where many readings would be a vacuum that is deeper than ambient pressure.
    """
    if given is None or not (given.unit or given.sense or given.scale) or column.kind != "number":
        return plan
    raw = finite(without_sentinels(column.values))
    kpa = plan.kpa(raw)
    if len(kpa) == 0 or stays(kpa):
        return plan
    most_kpa = (plan.ambient_kpa or ambient.kpa or _HIGHEST_AMBIENT_KPA) + _SENSOR_KPA
    low, high = spread(kpa)
    fits = [] if given.scale else _fitting(raw)
    others = ", ".join(f'unit = "{u}", sense = "{s}"' for u, s in fits if (u, s) != (plan.unit, plan.sense))
    shown = f'"{column.name}" is a gauge pressure from {low:.4g} to {high:.4g} kPa'
    said = f"with {_said(plan, given)} of the station file {shown}"
    todo = f"These would fit: {others}." if others else "Look at unit, sense and scale under [channels]."
    if float((kpa < -most_kpa).mean()) > _IMPOSSIBLE_SHARE:
        expected = f"no vacuum deeper than ambient, {most_kpa - _SENSOR_KPA:.4g} kPa at most"
        raise LogReadError(message(head.name, said, expected, todo))
    near = float((np.abs(kpa) < NEAR_ZERO_KPA).mean())
    if near < _NEAR_SHARE:
        doubt = f"{said}, and never near ambient; that is right only if the cup was never vented. {todo}"
        return replace(plan, doubts=(*plan.doubts, doubt))
    if others and (plan.unit, plan.sense) not in fits and looks(kpa, low, high, near) != "gauge":
        doubt = f"{said}, which shows no vacuum of a cup that sucks. {todo}"
        return replace(plan, doubts=(*plan.doubts, doubt))
    return plan


def _said(plan: PressurePlan, given: Channel) -> str:
    if given.scale:
        return "the scale"
    return f'unit = "{plan.unit}", sense = "{plan.sense}"'


def _fitting(raw: NDArray[np.float64]) -> list[tuple[str, str]]:
    """Units and senses in which readings go between ambient and a vacuum, the usual units first."""
    found = []
    for symbol in _UNITS:
        kpa = raw * pressure_unit(symbol).kpa
        low, high = spread(kpa)
        sense = looks(kpa, low, high, float((np.abs(kpa) < NEAR_ZERO_KPA).mean()))
        if sense:
            found.append((symbol, sense))
    return found[:_MOST_TOLD]
