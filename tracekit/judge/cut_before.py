"""A supply that was cut in every hold of the baseline and is cut in none of the log, whose own level nothing shows."""

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.facts import Fact, middle, rows
from tracekit.judge.given_up import WEAK_SUCTION
from tracekit.judge.signs import logistic
from tracekit.model.cycle import StationData
from tracekit.model.finding import Evidence

Bools = NDArray[np.bool_]
_LONG_S, _FEWEST = 0.3, 4
"""Least length of a hold, and holds, that tell something: those of the other rules on cuts."""
_SAVING_OFF = 0.1
"""How often somebody has turned air saving off altogether, instead of up (common practice, no source)."""


def _held(data: StationData) -> Bools:
    """Holds that last long enough to be cut in, shape (n_cycles,)."""
    with np.errstate(invalid="ignore"):
        length = data.cycles.floats("hold_end_s") - data.cycles.floats("hold_start_s")
        return np.asarray(data.cycles.where("outcome", "held") & (length > _LONG_S), np.bool_)


def _cut_before_kpa(data: StationData, baseline: StationData | None) -> float | None:
    """Where the baseline cuts the supply [kPa]; None where it does not in nearly all holds, or the log has a level."""
    own = data.settings["supply_off"]
    if baseline is None or data.wiring.supply_on_level is None:
        return None
    if own.value_kpa is not None or own.station_file_kpa is not None:
        return None
    before = _held(baseline)
    if not baseline.air_saving or before.sum() < _FEWEST or np.mean(baseline.cycles.codes("coasts")[before] > 0) < 0.8:
        return None
    return baseline.settings["supply_off"].value_kpa


def cut_before_facts(data: StationData, baseline: StationData | None) -> tuple[Fact | None, Fact | None]:
    """The symptom that the supply is never cut, and the setting out of reach behind it; None each where neither shows.

    Where vacuum goes on past the level of the baseline, the level itself was raised; where it stays under it, weak
    suction or a leak may be why, which the setting is discounted for.
    """
    level = _cut_before_kpa(data, baseline)
    held = _held(data)
    if level is None or held.sum() < _FEWEST:
        return None, None
    never = held & (data.cycles.codes("coasts") == 0)
    share = float(never.sum() / held.sum())
    if not never.any():
        return None, None
    peak = middle(data.cycles.floats("peak_vacuum_kpa")[never])
    on = f"the supply stays on through {int(never.sum())} of {int(held.sum())} holds"
    symptom = Evidence(measure="coasts", value=0.0, unit="", cycles=int(never.sum()), text=on)
    text = f"{on}; before, it was cut at {level:.1f} kPa"
    setting = Evidence(
        measure="peak_vacuum_kpa", value=peak, unit="kPa", reference=level, reference_source="baseline",
        cycles=int(never.sum()), text=text,
    )  # fmt: skip
    chance = logistic((share - 0.5) / 0.06)
    return (
        Fact(code="supply_never_cuts", probability=0.97 * chance, evidence=(symptom,), cycles=rows(never), reason=on),
        Fact(
            code="supply_off_unreachable", probability=(0.97 - _SAVING_OFF) * chance, evidence=(setting,),
            cycles=rows(never), explained_by=WEAK_SUCTION, reason=text,
        ),
    )  # fmt: skip
