"""The ambient of an absolute pressure by the rows in which nothing is blown off, or nothing has been sucked yet."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trace import Assumption
from tracekit.read.columns import Column
from tracekit.read.pressure import AMBIENT_KPA, PressurePlan, resting_level, without_sentinels

_FEWEST, _EITHER, _RESTS = 200, 0.02, 0.05
"""Fewest rows, least share of them with the signal on, or off, and of those at rest in one level (no source)."""
_BEFORE, _BEGINS, _MOST = 6, 3, 2000
"""Rows before an edge that are looked at, fewest evacuations that tell a level, most edges that are looked at."""
_START_SHARE, _HIGHER_KPA = 0.15, 0.3
"""Of the range of the readings, in which all beginnings lie; what is no scatter of them [kPa] (no source)."""


def with_ambient(plan: PressurePlan, column: Column, release: NDArray[np.int8]) -> PressurePlan:
    """The plan of an absolute pressure with the ambient at which it rests outside blow-off.

    release  levels of the first rows, shape (n,); which level blows off shows in the pressure: it is the higher one
    """
    kpa = plan.kpa(without_sentinels(column.values)) - plan.offset_kpa
    shares = [float((release == v).mean()) for v in (0, 1)]
    if min(shares) < _EITHER or len(release) < _FEWEST:
        return plan
    blown = int(np.argmax([np.nanmedian(kpa[release == v]) for v in (0, 1)]))
    level = resting_level(kpa[release != blown], usual=False, share=_RESTS)
    if level is None or not AMBIENT_KPA[0] <= level <= AMBIENT_KPA[1]:
        return plan
    return _resting_at(plan, level, "the highest level at which it rests while nothing is blown off")


def with_ambient_before_suction(plan: PressurePlan, column: Column, supply: NDArray[np.int8]) -> PressurePlan:
    """The plan of an absolute pressure with the ambient from which evacuations begin, where that is not its top level.

    supply  levels of the first rows, shape (n,). No release is logged: what rests higher may be its blow-off. Which of
            its edges begin an evacuation shows in the pressure before them: it is at its highest there
    """
    kpa = plan.kpa(without_sentinels(column.values))[: len(supply)] - plan.offset_kpa
    edges = np.flatnonzero(np.diff(supply)) + 1
    edges = edges[edges >= _BEFORE]
    if len(edges) < _BEGINS or not np.isfinite(kpa).any():
        return plan
    before = np.array([np.median(kpa[e - _BEFORE : e - 1]) for e in edges[:_MOST]])
    before = before[np.isfinite(before)]
    starts = before[before > np.max(before, initial=-np.inf) - _START_SHARE * float(np.nanmax(kpa) - np.nanmin(kpa))]
    level = float(np.median(starts)) if len(starts) >= _BEGINS else float("nan")
    higher = plan.ambient_kpa is not None and plan.ambient_kpa > level + _HIGHER_KPA
    if not (higher and AMBIENT_KPA[0] <= level <= AMBIENT_KPA[1] and float(np.std(starts)) < _HIGHER_KPA):
        return plan
    return _resting_at(plan, level, "the level at which evacuations begin; what rests higher is taken for blow-off")


def _resting_at(plan: PressurePlan, level: float, evidence: str) -> PressurePlan:
    """The plan with an ambient of its own [kPa]."""
    fact = Assumption(what="ambient", value=f"{level:.2f} kPa", evidence=evidence, confidence=0.9)
    facts = tuple(fact if a.what == "ambient" else a for a in plan.assumptions)
    doubts = tuple(d for d in plan.doubts if not d.startswith("ambient is"))
    return replace(plan, offset_kpa=-level, ambient_kpa=level, assumptions=facts, doubts=doubts)
