"""What pressure all coasts gain at one place beyond the model, and what that does to a rate.

Acceleration, a valve that closes late, or gas that warms otherwise than modelled move all coasts of a station alike. To
first order such a thing is a step in pressure at some time since part present, since the supply's cut or before the end
of the hold. Its height follows from the residuals of all coasts, with their levels, rates and common amplitude fitted
beside it; it has put its height times the likeness of its shape to the leak's into the rates. What valve and volumes
still settle at the beginning of a coast is a decaying shape that short coasts cannot tell from a leak.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tracekit.measure.leak_bins import Bools, Floats, History, Ints
from tracekit.measure.leak_pieces import Pieces, piece_sum
from tracekit.measure.leak_sums import Regressors, Scales
from tracekit.options.leak import LeakOptions

RAMP_S = 0.15
"""Time over which a step passes: half of a usual lift of the lips."""
EVERY_S = 0.04
"""Distance of the places that are tried."""
SETTLING_S = (0.03, 0.08)
"""Times in which valve and volumes settle: hoses of usual length even out in 10 to 100 ms."""
LEAST_LEFT = 0.1
"""Share of a shape that levels, rates and amplitude must leave over: one that they nearly make up tells of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """A shape among the residuals.

    per_kpa     what one kPa of it does to the median rate [1/s]
    height_kpa, error_kpa   its height and the standard uncertainty of that, infinite where the residuals cannot tell
    """

    per_kpa: float
    height_kpa: float
    error_kpa: float

    @property
    def z2(self) -> float:
        """Square of the height over its standard uncertainty."""
        return (self.height_kpa / max(self.error_kpa, 1e-12)) ** 2

    def hidden(self, usual_kpa: float) -> float:
        """Error of the median rate [kPa/s] by what of a usual height (> 0) the residuals cannot show."""
        return abs(self.per_kpa) / float(np.hypot(1.0 / usual_kpa, 1.0 / max(self.error_kpa, 1e-12)))


def unmodelled_rate(
    history: History, pieces: Pieces, columns: Regressors, weight: Floats, chosen: Bools, scales: Scales,
    cut_s: float, options: LeakOptions,
) -> float:  # fmt: skip
    """Error of the median rate by what all coasts show beyond the model, as a standard uncertainty [kPa/s].

    columns  under the best model, of one form;  weight  of each used bin;  chosen  cycles that are fitted, (n_cycles,);
    cut_s  time since the supply's cut from which coasts are used [s].
    """
    if not chosen.any():
        return 0.0
    effect = _effects(history, pieces, columns, weight, chosen, scales)
    steps = [effect(np.clip((t - at) / RAMP_S, 0.0, 1.0)) for t, at in _places(history, pieces, chosen)]
    since = np.maximum(history.since_cut_s[pieces.index] - cut_s, 0.0)
    settling = [effect(np.exp(-since / lasting)) for lasting in SETTLING_S]
    return float(
        np.hypot(seen([*steps, *settling], options.temper), max(s.hidden(options.settle_kpa) for s in settling))
    )


def seen(effects: list[Effect], temper: float) -> float:
    """Root mean square of the errors by several shapes, each as probable as it explains the residuals [kPa/s].

    Log-likelihoods are divided by `temper`. Errors are shrunk by their own uncertainty, which comes from the scatter
    between cycles and so holds slow noise, and by the number of shapes that were looked at: positive-part shrinkage of
    James and Stein, from z² = 2 ln n on.
    """
    z2 = np.array([e.z2 for e in effects])
    error = np.array([e.per_kpa * e.height_kpa for e in effects])
    kept = np.square(error) * np.maximum(1.0 - 2.0 * np.log(max(len(effects), 2)) / np.maximum(z2, 1e-9), 0.0)
    return float(np.sqrt(np.average(kept, weights=np.exp(0.5 * (z2 - z2.max()) / temper))))


def _places(history: History, pieces: Pieces, chosen: Bools) -> list[tuple[Floats, float]]:
    """Times of the used bins since an event, with the times at which a step may begin."""
    index, used, out = pieces.index, chosen[pieces.cycle[pieces.owner]], []
    for time in (history.since_present_s[index], -history.until_end_s[index], history.since_cut_s[index]):
        if np.isfinite(time[used]).all():
            first, last = np.quantile(time[used], [0.02, 0.98]) - 0.5 * RAMP_S
            out += [(time, float(at)) for at in np.arange(first, last + 1e-9, EVERY_S)]
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bench:
    """Takes the levels of pieces and the rates of cycles out of a column, shape (m,) each.

    leak, power   the leak's column without levels, and its weighted square per cycle, (n_cycles,)
    """

    pieces: Pieces
    level: Floats
    weight: Floats
    rows: Ints
    count: int
    leak: Floats
    power: Floats

    def of_cycles(self, values: Floats) -> Floats:
        """Sums over cycles, shape (n_cycles,)."""
        return np.asarray(np.bincount(self.rows, weights=values, minlength=self.count), np.float64)

    def parted(self, column: Floats) -> tuple[Floats, Floats, Floats]:
        """A column without levels; how much of the leak each cycle's looks like, (n_cycles,); what that leaves."""
        flat = _flat(self.pieces, self.level, self.weight, column)
        share = self.of_cycles(self.weight * self.leak * flat) / self.power
        return flat, share, flat - self.leak * share[self.rows]


def _flat(pieces: Pieces, level: Floats, weight: Floats, column: Floats) -> Floats:
    """A column without the levels of the pieces, shape (m,)."""
    w = weight * level
    return np.asarray(column - level * (piece_sum(pieces, w * column) / piece_sum(pieces, w * level))[pieces.owner])


def _bench(pieces: Pieces, columns: Regressors, weight: Floats, count: int) -> _Bench:
    """What the shapes over the used bins share, for `count` cycles."""
    rows, leak = pieces.cycle[pieces.owner], _flat(pieces, columns.level, weight, columns.leak[0])
    power = np.bincount(rows, weights=weight * leak * leak, minlength=count)
    return _Bench(
        pieces=pieces, level=columns.level, weight=weight, rows=rows, count=count, leak=leak,
        power=np.maximum(power, 1e-30),
    )  # fmt: skip


def _effects(
    history: History, pieces: Pieces, columns: Regressors, weight: Floats, chosen: Bools, scales: Scales
) -> Callable[[Floats], Effect]:
    """The effect of any shape over the used bins, against residuals of the chosen cycles that are made once."""
    bench = _bench(pieces, columns, weight, len(chosen))
    used, pressure = weight * chosen[bench.rows], history.pressure_kpa[pieces.index]
    (_, memory_share, memory), (_, _, found) = bench.parted(columns.memory), bench.parted(columns.seen)
    precision = float(np.sum(used * memory * memory)) + scales.prior_weight
    amplitude = (float(np.sum(used * memory * found)) + scales.prior_weight * (1.0 + scales.memory_mean)) / precision
    left = found - amplitude * memory

    def effect(shape: Floats) -> Effect:
        flat, share, column = bench.parted(shape / pressure)
        taken = float(np.sum(used * memory * column)) / precision
        column = column - taken * memory
        own = float(np.sum(used * column * column))
        per_kpa = float(np.median((share - taken * memory_share)[chosen]))
        if own <= LEAST_LEFT * float(np.sum(used * flat * flat)):
            return Effect(per_kpa=per_kpa, height_kpa=0.0, error_kpa=float("inf"))
        by_cycle = bench.of_cycles(used * column * left)
        height = float(np.sum(by_cycle)) / own
        scatter = by_cycle - height * bench.of_cycles(used * column * column)
        return Effect(per_kpa=per_kpa, height_kpa=height, error_kpa=float(np.sqrt(np.sum(scatter * scatter))) / own)

    return effect
