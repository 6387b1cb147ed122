"""The ambient of an absolute pressure by the rows in which nothing is blown off."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.model.trace import Assumption
from tracekit.read.columns import Column
from tracekit.read.pressure import AMBIENT_KPA, PressurePlan, resting_level, without_sentinels

_FEWEST, _EITHER, _RESTS = 200, 0.02, 0.05
"""Fewest rows, least share of them with the signal on, or off, and of those at rest in one level (no source)."""


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
    evidence = "the highest level at which it rests while nothing is blown off"
    fact = Assumption(what="ambient", value=f"{level:.2f} kPa", evidence=evidence, confidence=0.9)
    facts = tuple(fact if a.what == "ambient" else a for a in plan.assumptions)
    doubts = tuple(d for d in plan.doubts if not d.startswith("ambient is"))
    return replace(plan, offset_kpa=-level, ambient_kpa=level, assumptions=facts, doubts=doubts)
