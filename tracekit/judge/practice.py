"""What practice alone tells of a log that nothing can be compared with: a blow-off, answers, a depth that is unusual.

Usual values and their spreads are common practice, no source. A time that grows with the station's volume is held
against another of the same station that does. What is better than usual is no news.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.effects import Effect
from tracekit.judge.features import Features, response_from_open_cup, run_on_s
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]
_SOON_S = 0.06
"""Air that is on its way when the release command ends arrives within this."""
_LONG_S = 0.15
"""A release command from here on is long: far longer than air takes to arrive (common practice, no source)."""
_MOST_LEFT = 0.2
"""Share of the vacuum that no sound blow-off leaves at the end of a long command (common practice, no source)."""
_MEETS_LATER_S = 0.03
"""Where no open cup shows, the answer may be that of the closed cup, so much later."""
_START_PER_BLOW = 0.8
"""The fall to the first level of a blow-off takes about so much of that from there to the second (physics: a choked
inflow fills a volume evenly, and the two stretches are about alike)."""


def _usual_blow_ln(features: Features, options: JudgeOptions) -> tuple[float, float]:
    """Logarithm of the usual time between the levels of a blow-off [s], from the same station's evacuation."""
    rise = features.values["rise"][features.held]
    rise = rise[np.isfinite(rise)]
    if len(rise) < 4:
        return float(np.log(options.usual_blow_s)), 1.0
    return float(np.median(rise)) + options.blow_per_rise, options.spread_blow_per_rise


def _unusual(
    data: StationData, features: Features, options: JudgeOptions
) -> Iterator[tuple[str, Floats, float, float]]:
    """Name, cycles' values, usual value and its spread of every measure; more than usual is news."""
    slack = data.sensor.sample_interval_s / 2
    values = features.values
    # vacuum at the end of a short command is no fault where it is gone soon after; both ends of the command and the
    # crossing lie up to a sample off
    release = data.cycles.floats("release_time_s")
    given = data.timing["release_end_s"] - data.timing["release_s"]
    much_left = values["residual"] > options.left_share * values["start"]
    stays = ~np.isfinite(release) | ((release > given + _SOON_S + 6.0 * slack) & much_left)
    # a long one has no air on its way that matters: what is left then went as the cup was torn off
    stays |= (given > _LONG_S) & (values["residual"] > _MOST_LEFT * values["start"])
    yield "residual", np.where(stays, values["residual"], 0.0), 0.0, 1.1
    yield "early", values["early"], 0.0, 0.5
    # more than the bore of any cup leaves: what restricts lies between the sensor and the cup
    yield "open", values["open"], options.usual_open_kpa, options.spread_usual_open_kpa
    late = 0.011 if response_from_open_cup(data) else float(np.hypot(0.011, _MEETS_LATER_S))
    yield "response", values["response"], 0.022, float(np.hypot(late, slack))
    blow, spread = _usual_blow_ln(features, options)
    yield "blow", np.where(features.at_least, np.nan, values["blow"]), blow, spread
    yield "run_on", run_on_s(values), options.usual_run_on_s, float(np.hypot(options.spread_run_on_s, slack))
    start = _START_PER_BLOW * float(np.exp(blow))
    yield "blow_start", values["blow_start"], 0.022 + start, float(np.hypot(np.hypot(0.015, slack), spread * start))


def physical_effects(data: StationData, features: Features, options: JudgeOptions) -> dict[str, Effect]:
    """What stands out of what is usual, and how deep the vacuum is that the generator reaches."""
    out = {}
    for name, values, usual, spread in _unusual(data, features, options):
        effect = _against(values[features.held], usual, spread)
        if effect is not None:
            out[name] = effect
    depth = _depth(data, features, options)
    return out if depth is None else {**out, "ultimate": depth}


def _depth(data: StationData, features: Features, options: JudgeOptions) -> Effect | None:
    """How far vacuum ends short of what generators reach, or beyond what any does: the reading lags then.

    A lagging reading makes an evacuation look straighter than it is, and its end is extrapolated too far.
    """
    reached = features.values["ultimate_any"][features.held]
    usual, spread = (share * data.ambient_kpa for share in (options.usual_reach, options.spread_reach))
    usual = min(usual, _laid_out_kpa(data, options))
    short = _against(-reached, -usual, spread)
    if short is None or short.shift > 0.0:
        return None if short is None else _ended(short, usual, -short.shift, spread)
    most, width = (share * data.ambient_kpa for share in (options.most_reach, options.spread_most_reach))
    beyond = max(-short.now - most, 0.0)
    return _ended(short, most, beyond, width) if beyond > 0.0 else _ended(short, usual, 0.0, spread)


def _laid_out_kpa(data: StationData, options: JudgeOptions) -> float:
    """How deep the station was meant to draw, as its switching levels tell, infinite where none is known [kPa].

    One that is set out for a shallow vacuum does not lack what deeper ones reach.
    """
    levels = (data.settings[name].value_kpa for name in ("set_point", "supply_off"))
    deepest = max((level for level in levels if level is not None), default=float("inf"))
    return deepest / options.laid_out_share if deepest < options.laid_out_most * data.ambient_kpa else float("inf")


def _ended(seen: Effect, reference: float, shift: float, error: float) -> Effect:
    """The end of the evacuations against a reference [kPa]; `seen` is the same with its sign turned."""
    return replace(seen, now=-seen.now, reference=reference, shift=shift, error=error)


def _against(values: Floats, usual: float, spread: float) -> Effect | None:
    """How far the median of at least four cycles lies over what is usual, None for fewer."""
    seen = values[np.isfinite(values)]
    if len(seen) < 4:
        return None
    now = float(np.median(seen))
    return Effect(
        now=now, reference=usual, shift=max(now - usual, 0.0), error=spread, n_now=len(seen), n_reference=0,
        tail_up=0.0, tail_down=0.0, scatter=1.0,
    )  # fmt: skip
