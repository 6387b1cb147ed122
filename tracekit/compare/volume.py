"""The volume under vacuum from two decays, the second through a known extra orifice, with its uncertainty budget.

V = Q / (s₁ − f·s₀): Q the choked flow of the orifice, s₁ the rate with it, s₀ the own leak's rate without it, f what
carries s₀ to the vacuum of the second decay. Standard uncertainties are propagated by JCGM 100 with numerical
sensitivities. Where the discharge coefficient is only known to lie between two limits, the interval is that of the
product of a rectangular and a normal distribution (JCGM 101), computed without random numbers.
"""

import importlib.metadata
import math
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.compare.decays import Decay, carried, decay_of
from tracekit.compare.engine import now_utc
from tracekit.errors import NotEnoughData, UsageError, message
from tracekit.frozen import dataclass
from tracekit.model.comparison import BudgetPart, VolumeResult
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Estimate
from tracekit.model.trace import LogFacts
from tracekit.options.compare import VolumeOptions
from tracekit.physics.flow import (
    IDEAL_CRITICAL_RATIO,
    REFERENCE_K,
    hole_conductance_dm3_s_bar,
    hole_throughput_pa_m3_s,
)

_METHOD = "two decays; JCGM 100 with numerical sensitivities"
_TAU_S, _TAU_U_S = 0.15, 0.1
_RATIO_LOW = 0.2
_DEEP_RATIO, _MOST_RATIO = 0.4, 0.9
_NODES = 2001


@dataclass(frozen=True, slots=True, kw_only=True)
class Orifice:
    """The extra orifice: its sonic conductance C and critical ratio b, or its diameter and discharge coefficient.

    discharge  None where it is not known: rectangular between the options' limits
    """

    conductance_dm3_s_bar: float | None = None
    critical_ratio: float | None = None
    diameter_mm: float | None = None
    discharge: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Inputs:
    """The input quantities of the volume; `uncertainty` gives their standard uncertainties by the same names."""

    discharge: float
    conductance: float
    critical_ratio: float
    ambient: float
    kelvin: float
    with_orifice: float
    own: float
    carry: float
    gain: float = 1.0
    clock: float = 1.0


_SOURCES: Mapping[str, str] = {
    "discharge": "discharge coefficient",
    "conductance": "sonic conductance of the orifice",
    "diameter": "diameter of the hole",
    "critical_ratio": "critical pressure ratio",
    "ambient": "ambient pressure",
    "kelvin": "air temperature",
    "with_orifice": "rate with the orifice",
    "own": "rate of the own leak",
    "carry": "own leak carried to the other vacuum",
    "gain": "slope of the sensor",
    "clock": "clock of the recorder",
    "tau": "warming of the gas",
}


def volume_from_rates(flow_pa_m3_s: float, own_kpa_s: float, with_orifice_kpa_s: float) -> float:
    """Volume [mL] from the orifice's flow [Pa·m³/s] and the two rates [kPa/s] at one and the same pressure."""
    return flow_pa_m3_s / (with_orifice_kpa_s - own_kpa_s) * 1e3


def volume_of(
    reference: StationData, opened: StationData, logs: tuple[LogFacts, LogFacts], orifice: Orifice,
    options: VolumeOptions,
) -> VolumeResult:  # fmt: skip
    """The volume of a station from the decay of its own leak and the one through the extra orifice.

    Raises UsageError where the orifice is not described or the logs seem to be swapped, NotEnoughData without decays.
    """
    check_orifice(orifice)
    ratio = _ratio(orifice)
    own, open_decay = _decays(reference, opened, logs, orifice, options)
    inputs, spread = _inputs(own, open_decay, opened, orifice, options)
    value = _volume(inputs)
    parts = _sensitivities(inputs, spread)
    both = (reference, opened)
    bent = replace(orifice, critical_ratio=max(0.05, ratio - _ratio_u(orifice)))
    parts["critical_ratio"] = _by_refit(value, both, logs, inputs, (orifice, bent), options)
    parts["tau"] = _by_refit(value, both, logs, inputs, (orifice, orifice), options, tau=_TAU_S + _TAU_U_S)
    rectangular = orifice.diameter_mm is not None and orifice.discharge is None
    low, high = _interval(value, parts, rectangular, options)
    n = own.coasts + open_decay.coasts
    return VolumeResult(
        version=importlib.metadata.version("tracekit"),
        created=now_utc(),
        logs=logs,
        volume_ml=Estimate(value=value, lower=low, upper=high, unit="mL", n=n, method=_METHOD),
        budget=_budget(parts, orifice),
        warnings=tuple(_warnings(own, open_decay, options)),
        facts=_facts(own, open_decay, inputs),
    )


def check_orifice(orifice: Orifice) -> None:
    """Raises UsageError where the orifice is described neither one way nor the other, or by figures that cannot be."""
    by_size, by_flow = orifice.diameter_mm is not None, orifice.conductance_dm3_s_bar is not None
    if by_size == by_flow:
        what = "both a diameter and a conductance" if by_size else "no orifice"
        todo = "Give --orifice-mm D, or --orifice-c-dm3-s-bar C with --orifice-b B."
        raise UsageError(message("volume", what, "one description of the orifice", todo))
    size = orifice.diameter_mm if by_size else orifice.conductance_dm3_s_bar
    if size is not None and not size > 0.0:
        raise UsageError(message("volume", f"an orifice of {size:g}", "a size above zero", "Correct it."))
    if orifice.discharge is not None and not 0.0 < orifice.discharge <= 1.0:
        found = f"a discharge coefficient of {orifice.discharge:g}"
        raise UsageError(message("--discharge", found, "a value above 0 and up to 1", "Correct it."))
    if orifice.critical_ratio is not None and not 0.0 < orifice.critical_ratio < 0.6:
        found = f"a critical pressure ratio of {orifice.critical_ratio:g}"
        raise UsageError(message("--orifice-b", found, "0.2 to 0.53", "Take b from the data sheet."))


def _decays(
    reference: StationData, opened: StationData, logs: tuple[LogFacts, LogFacts], orifice: Orifice,
    options: VolumeOptions, tau: float = _TAU_S, most_ratio: float | None = None,
) -> tuple[Decay, Decay]:  # fmt: skip
    """Both decays. Where b is not stated, only the deep part is used, in which it hardly matters."""
    most = most_ratio or (_DEEP_RATIO if orifice.critical_ratio is None else _MOST_RATIO)
    found = [decay_of(data, _ratio(orifice), tau, options, most) for data in (reference, opened)]
    for decay, log in zip(found, logs, strict=True):
        if decay is None:
            text = f"no coast longer than {options.settle_s:g} s"
            todo = "Close the cup on a plate, evacuate, close the supply and wait 10 s or more; repeat 6 times."
            raise NotEnoughData(message(log.source, text, "decays made on purpose", todo))
    own, open_decay = found
    if own is None or open_decay is None:
        raise NotEnoughData(message("volume", "no decays", "two logs of decays", "Record them."))
    if open_decay.rate_kpa_s <= own.rate_kpa_s:
        text = f"{open_decay.rate_kpa_s:.3g} kPa/s against {own.rate_kpa_s:.3g} kPa/s in {logs[0].source}"
        raise UsageError(message(logs[1].source, text, "a faster decay with the orifice", "Are the logs swapped?"))
    return own, open_decay


def _inputs(
    own: Decay, opened: Decay, data: StationData, orifice: Orifice, options: VolumeOptions
) -> tuple[_Inputs, dict[str, float]]:
    """Input quantities and their standard uncertainties."""
    if orifice.diameter_mm is not None:
        conductance = float(hole_conductance_dm3_s_bar(orifice.diameter_mm))
        conductance_u = 2.0 * options.diameter_u_mm / orifice.diameter_mm * conductance
        width = options.discharge_high - options.discharge_low
        middle = (options.discharge_high + options.discharge_low) / 2.0
        discharge = middle if orifice.discharge is None else orifice.discharge
        discharge_u = width / math.sqrt(12.0) if orifice.discharge is None else options.discharge_u
    else:
        conductance = orifice.conductance_dm3_s_bar or 0.0
        conductance_u, discharge, discharge_u = options.orifice_u_share * conductance, 1.0, 0.0
    ratio = _ratio(orifice)
    carry, carry_u = carried(own, opened, data.ambient_kpa, ratio)
    inputs = _Inputs(
        discharge=discharge, conductance=conductance, critical_ratio=ratio, ambient=data.ambient_kpa,
        kelvin=data.temperature_c + 273.15, with_orifice=opened.rate_kpa_s, own=own.rate_kpa_s, carry=carry,
    )  # fmt: skip
    spread = {
        "discharge": discharge_u, "conductance": conductance_u, "ambient": data.ambient_u_kpa,
        "kelvin": data.temperature_u_c, "with_orifice": opened.rate_u_kpa_s, "own": own.rate_u_kpa_s,
        "carry": carry_u, "gain": options.gain_u, "clock": options.time_u,
    }  # fmt: skip
    return inputs, spread


def _volume(inputs: _Inputs) -> float:
    """The model of the measurement [mL]."""
    conductance = inputs.discharge * inputs.conductance
    choked = float(hole_throughput_pa_m3_s(conductance, inputs.critical_ratio, inputs.ambient, 0.0))
    flow = choked * math.sqrt(inputs.kelvin / REFERENCE_K)
    scale = inputs.clock / inputs.gain
    return volume_from_rates(flow, inputs.carry * inputs.own / scale, inputs.with_orifice / scale)


def _sensitivities(inputs: _Inputs, spread: Mapping[str, float]) -> dict[str, float]:
    """Standard uncertainty of the volume by each input [mL], from central differences."""
    parts = {}
    for name, u in spread.items():
        middle = getattr(inputs, name)
        ends = [_volume(replace(inputs, **{name: middle + sign * u / 10.0})) for sign in (1.0, -1.0)]
        parts[name] = float(abs(ends[0] - ends[1]) / 2.0 * 10.0)
    return parts


def _by_refit(
    value: float, both: tuple[StationData, StationData], logs: tuple[LogFacts, LogFacts], inputs: _Inputs,
    orifices: tuple[Orifice, Orifice], options: VolumeOptions, tau: float = _TAU_S,
) -> float:  # fmt: skip
    """What the volume moves by when the decays are fitted with another critical ratio or another gas warming [mL].

    orifices  as it is, which decides how much of the decays is used, and as it is fitted now
    """
    most = _DEEP_RATIO if orifices[0].critical_ratio is None else _MOST_RATIO
    own, open_decay = _decays(*both, logs, orifices[1], options, tau, most)
    ratio = _ratio(orifices[1])
    moved = replace(inputs, with_orifice=open_decay.rate_kpa_s, own=own.rate_kpa_s, critical_ratio=ratio)
    return abs(_volume(moved) - value)


def _ratio(orifice: Orifice) -> float:
    """The critical ratio b as stated, else the middle of what real holes and ideal nozzles have."""
    if orifice.critical_ratio is not None:
        return orifice.critical_ratio
    return float((_RATIO_LOW + IDEAL_CRITICAL_RATIO) / 2.0)


def _ratio_u(orifice: Orifice) -> float:
    """Its standard uncertainty: 0.05 where it is stated, else that of a rectangular distribution."""
    stated = orifice.critical_ratio is not None
    return 0.05 if stated else float((IDEAL_CRITICAL_RATIO - _RATIO_LOW) / math.sqrt(12.0))


def _interval(
    value: float, parts: Mapping[str, float], rectangular: bool, options: VolumeOptions
) -> tuple[float, float]:
    """95 % coverage interval [mL], with the rectangular part kept rectangular."""
    normal = math.sqrt(sum(u * u for name, u in parts.items() if not (rectangular and name == "discharge")))
    if not rectangular:
        return max(0.0, value - 1.959964 * normal), value + 1.959964 * normal
    middle = (options.discharge_high + options.discharge_low) / 2.0
    nodes = np.linspace(options.discharge_low, options.discharge_high, _NODES) / middle
    below = _mixture(nodes, value, normal)
    return _quantile(below, 0.025, value), _quantile(below, 0.975, value)


def _mixture(nodes: NDArray[np.float64], value: float, normal: float) -> Callable[[float], float]:
    """Share of the volume's distribution below a value: normal about each equally likely discharge coefficient."""
    centres, widths = nodes * value, np.maximum(nodes * normal, 1e-9)

    def below(at: float) -> float:
        return float(np.mean([0.5 * math.erfc(-z / math.sqrt(2.0)) for z in ((at - centres) / widths).tolist()]))

    return below


def _quantile(below: Callable[[float], float], share: float, value: float) -> float:
    low, high = 0.0, 4.0 * value
    for _ in range(45):
        middle = (low + high) / 2.0
        low, high = (low, middle) if below(middle) >= share else (middle, high)
    return (low + high) / 2.0


def _budget(parts: Mapping[str, float], orifice: Orifice) -> tuple[BudgetPart, ...]:
    """The contributions, the largest first."""
    total = sum(u * u for u in parts.values()) or 1.0
    by_size = orifice.diameter_mm is not None
    rectangular = by_size and orifice.discharge is None
    sources = {**_SOURCES, "conductance": _SOURCES["diameter"]} if by_size else _SOURCES
    lines = [
        BudgetPart(
            source=sources[name], u=u, share=u * u / total,
            kind="rectangular" if rectangular and name == "discharge" else "normal",
        )
        for name, u in parts.items()
    ]  # fmt: skip
    return tuple(sorted((line for line in lines if line.u > 0.0), key=lambda line: -line.u))


def _warnings(own: Decay, opened: Decay, options: VolumeOptions) -> list[str]:
    found = []
    overlap = min(own.vacuum_high_kpa, opened.vacuum_high_kpa) - max(own.vacuum_low_kpa, opened.vacuum_low_kpa)
    if overlap <= 0.0:
        spans = " and ".join(f"{d.vacuum_low_kpa:.1f} to {d.vacuum_high_kpa:.1f} kPa" for d in (own, opened))
        found.append(f"The two decays do not overlap in vacuum: {spans}. The own leak is carried over by its form.")
    if opened.rate_kpa_s < options.least_ratio * own.rate_kpa_s:
        ratio = opened.rate_kpa_s / own.rate_kpa_s
        found.append(f"The orifice makes the decay only {ratio:.1f} times faster; take a larger one.")
    if opened.vacuum_high_kpa - opened.vacuum_low_kpa < options.least_span_kpa:
        span = opened.vacuum_high_kpa - opened.vacuum_low_kpa
        found.append(f"With the orifice vacuum fell by {span:.1f} kPa only; wait longer.")
    if min(own.coasts, opened.coasts) < 3:
        found.append(f"Only {own.coasts} and {opened.coasts} decays; six of each show how they scatter.")
    return found


def _facts(own: Decay, opened: Decay, inputs: _Inputs) -> dict[str, tuple[float, str]]:
    return {
        "own_rate_kpa_s": (own.rate_kpa_s, "kPa/s"),
        "rate_with_orifice_kpa_s": (opened.rate_kpa_s, "kPa/s"),
        "own_leak_carried_by": (inputs.carry, ""),
        "own_vacuum_low_kpa": (own.vacuum_low_kpa, "kPa"),
        "own_vacuum_high_kpa": (own.vacuum_high_kpa, "kPa"),
        "vacuum_low_with_orifice_kpa": (opened.vacuum_low_kpa, "kPa"),
        "vacuum_high_with_orifice_kpa": (opened.vacuum_high_kpa, "kPa"),
        "orifice_conductance_dm3_s_bar": (inputs.discharge * inputs.conductance, "dm³/(s·bar)"),
        "critical_pressure_ratio": (inputs.critical_ratio, ""),
        "ambient_kpa": (inputs.ambient, "kPa"),
        "temperature_c": (inputs.kelvin - 273.15, "°C"),
    }
