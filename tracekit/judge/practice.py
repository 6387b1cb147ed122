"""What practice alone tells of a log that nothing can be compared with: a blow-off, answers, a depth that is unusual.

Usual values and their spreads are common practice, no source. A time that grows with the station's volume is held
against another of the same station that does. What is better than usual is no news.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.effects import Effect
from tracekit.judge.features import Features, response_from_open_cup
from tracekit.model.cycle import StationData
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]
_SOON_S = 0.06
"""Air that is on its way when the release command ends arrives within this."""
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
    yield "residual", np.where(stays, values["residual"], 0.0), 0.0, 1.1
    yield "early", values["early"], 0.0, 0.5
    late = 0.011 if response_from_open_cup(data) else float(np.hypot(0.011, _MEETS_LATER_S))
    yield "response", values["response"], 0.022, float(np.hypot(late, slack))
    blow, spread = _usual_blow_ln(features, options)
    yield "blow", np.where(features.at_least, np.nan, values["blow"]), blow, spread
    start = _START_PER_BLOW * float(np.exp(blow))
    yield "blow_start", values["blow_start"], 0.022 + start, float(np.hypot(np.hypot(0.015, slack), spread * start))


def physical_effects(data: StationData, features: Features, options: JudgeOptions) -> dict[str, Effect]:
    """What stands out of what is usual, and how deep the vacuum is that the generator reaches."""
    out = {}
    for name, values, usual, spread in _unusual(data, features, options):
        effect = _against(values[features.held], usual, spread)
        if effect is not None:
            out[name] = effect
    reached = features.values["ultimate_any"][features.held]
    usual, spread = (share * data.ambient_kpa for share in (options.usual_reach, options.spread_reach))
    deep = _against(-reached, -usual, spread)
    if deep is not None:
        out["ultimate"] = Effect(
            now=-deep.now, reference=usual, shift=-deep.shift, error=spread, n_now=deep.n_now, n_reference=0,
            tail_up=0.0, tail_down=0.0, scatter=1.0,
        )  # fmt: skip
    return out


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
