"""Taking out of a series what is recorded and is no wear: the mix of parts, ambient pressure, temperature."""


import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.history.collect import Followed, StationHistory
from tracekit.history.measures import to_scale
from tracekit.history.slope import middle_of
from tracekit.model.trend import TrendMeasure

_ROUNDS = 12
_HUBER = 1.345
_WEATHER = (("ambient", 0.3), ("temperature", 1.0))
"""Name of the fact and the standard deviation that it must show before its effect can be told [kPa, K]."""
_WEATHER_LOGS = 30
_YEAR_DAYS = 365.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjusted:
    """A series on its scale with the recorded influences taken out.

    level       shape (n_logs,), NaN where the log has no value
    effects     influence (n_logs,), its effect per unit and the standard error of that
    season      amplitude of a yearly swing that is allowed for, 0 where temperature was recorded and taken out
    taken_out   what was taken out, in words
    """

    level: NDArray[np.float64]
    effects: tuple[tuple[NDArray[np.float64], float, float], ...]
    taken_out: tuple[str, ...]
    season: float = 0.0

    def slope_variance(self, days: NDArray[np.float64], rows: NDArray[np.int64]) -> float:
        """Variance that the uncertainty of the effects adds to a slope over the logs `rows`, at `days` (n_rows,)."""
        centred = days - days.mean()
        square = float((centred**2).sum())
        swing = np.exp(2j * np.pi / _YEAR_DAYS * days)
        total = (self.season * abs(complex(centred @ swing)) / square) ** 2 / 2.0 if square > 0 else 0.0
        for influence, _, se in self.effects:
            here = influence[rows] - influence[rows].mean()
            total += (float((centred * here).sum()) / square * se) ** 2 if square > 0 else 0.0
        return total


def adjust(history: StationHistory, measure: TrendMeasure, followed: Followed, season: float = 0.0) -> Adjusted:
    """The measure's series on its scale at the usual mix of parts and the usual weather.

    `season` is the amplitude of an unrecorded yearly swing to be allowed for, as a share of the level; of measures that
    change by amounts it is the smallest standard deviation that is believed.
    """
    level = to_scale(measure, followed.value, followed.n)
    taken: list[str] = []
    if measure.scale in ("share", "count"):
        return Adjusted(level=level, effects=(), taken_out=())
    mixed = _even_mix(measure, followed)
    if mixed is not None:
        level = np.where(np.isfinite(mixed), mixed, np.nan)
        taken.append(_context(followed.group_names))
    effects = []
    for name, least in _WEATHER:
        influence = _influence(history, name, least)
        if influence is None or int(np.isfinite(level).sum()) < _WEATHER_LOGS:
            continue
        effect, se = weather_effect(level, influence)
        level = level - effect * (influence - np.mean(influence))
        effects.append((influence, effect, se))
        taken.append({"ambient": "ambient pressure"}.get(name, name))
    swing = season if measure.scale == "log" else measure.floor if season > 0 else 0.0
    left = 0.0 if "temperature" in taken else swing
    return Adjusted(level=level, effects=tuple(effects), taken_out=tuple(taken), season=left)


def _context(groups: tuple[str, ...]) -> str:
    """What tells the groups apart: the context columns, as `part, shift` of groups like `part=ribbed; shift=2`."""
    columns = (piece.split("=")[0] for group in groups for piece in group.split("; ") if "=" in piece)
    return ", ".join(dict.fromkeys(columns)) or "part type"


def _influence(history: StationHistory, name: str, least: float) -> NDArray[np.float64] | None:
    """A recorded influence at every log; None where it is absent, gappy, or always the same."""
    fact = history.followed.get(name)
    if fact is None or not np.isfinite(fact.value).all() or float(np.std(fact.value)) < least:
        return None
    return fact.value


def _even_mix(measure: TrendMeasure, followed: Followed) -> NDArray[np.float64] | None:
    """The level of each log as if all logs had had the same mix of parts; None where no parts are told apart.

    Model: level of a group in a log = level of the log + offset of the group; both are found in turn by weighted
    means, weights the numbers of cycles, large residuals held down.
    """
    value, cycles = followed.group_value, followed.group_n
    if value.shape[1] < 2:
        return None
    level = to_scale(measure, value, np.maximum(cycles, 1.0))
    known = np.isfinite(level) & (cycles > 0)
    if (known.sum(1) == 0)[np.isfinite(followed.value)].any():
        return None
    weight = np.where(known, cycles, 0.0)
    filled = np.where(known, level, 0.0)
    offset = np.zeros(value.shape[1])
    share = weight.sum(0) / weight.sum()
    log_level = np.zeros(len(value))
    for _ in range(_ROUNDS):
        log_level = (weight * (filled - offset)).sum(1) / np.maximum(weight.sum(1), 1e-12)
        residual = np.where(known, filled - log_level[:, None] - offset, 0.0)
        scale = 1.4826 * middle_of(np.abs(residual[known])) + 1e-12
        held = weight * np.minimum(1.0, _HUBER * scale / np.maximum(np.abs(residual), 1e-12))
        offset += (held * residual).sum(0) / np.maximum(held.sum(0), 1e-12)
        offset -= (share * offset).sum()
    return np.where(known.any(1), log_level, np.nan)


def weather_effect(level: NDArray[np.float64], influence: NDArray[np.float64]) -> tuple[float, float]:
    """Effect of an influence per unit and its standard error, from changes between neighbouring logs.

    Changes do not mix up the influence with growth or with steps, which a fit of the levels would do. The error
    allows for neighbouring changes that share a log (Newey and West, Econometrica 55, 1987, 703–708, one lag).
    """
    use = np.isfinite(level) & np.isfinite(influence)
    rise, moved = np.diff(level[use]), np.diff(influence[use])
    moved = moved - moved.mean()
    weight = np.ones(len(rise))
    effect, square, residual, held = 0.0, float((moved**2).sum()), rise, weight
    if square == 0.0:
        return 0.0, 0.0
    for _ in range(_ROUNDS):
        centre = float((weight * rise).sum() / weight.sum())
        square = float((weight * moved**2).sum())
        effect = float((weight * moved * (rise - centre)).sum()) / square
        residual = rise - centre - effect * moved
        scale = 1.4826 * middle_of(np.abs(residual)) + 1e-12
        weight = np.minimum(1.0, _HUBER * scale / np.maximum(np.abs(residual), 1e-12))
        held = np.where(weight < 1.0, 0.0, 1.0)
    return effect, _sandwich(weight * residual, moved, held, square)


def _sandwich(
    psi: NDArray[np.float64], moved: NDArray[np.float64], inside: NDArray[np.float64], square: float
) -> float:
    """Standard error of the effect: residuals as they are, raised for leverage, neighbours correlated."""
    scores = moved * psi / (1.0 - np.minimum(moved**2 / square, 0.5))
    meat = float(scores @ scores) + max(0.0, 2.0 * float(scores[1:] @ scores[:-1]))
    bread = float((inside * moved**2).sum())
    return float(np.sqrt(meat) / max(bread, 0.25 * square))
