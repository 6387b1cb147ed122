"""What pressure all coasts gain at one place beyond the model, and what that does to a rate.

Acceleration, a valve that closes late, or gas that warms otherwise than modelled move all coasts of a station alike. To
first order such a thing is a step in pressure at some time since part present, since the supply's cut or before the end
of the hold. Its height follows from the residuals of all coasts, with their levels, rates and common amplitude fitted
beside it; it has put its height times the likeness of its shape to the leak's into the rates. What valve and volumes
still settle at the beginning of a coast is a decaying shape that short coasts cannot tell from a leak.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np

from tracekit.frozen import dataclass
from tracekit.measure.leak_bins import Bools, Floats, History
from tracekit.measure.leak_pieces import Pieces, cycle_sum, piece_sum
from tracekit.measure.leak_sums import Regressors, Scales
from tracekit.options.leak import LeakOptions

RAMP_S = 0.15
"""Time over which a step passes: half of a usual lift of the lips."""
EVERY_S = 0.04
"""Distance of the places that are tried."""
MOST_PLACES = 250
"""Places from an event on: over coasts of more than 10 s they lie further apart, so that the cost does not grow."""
BUMPS = 3
"""Of so many places one is tried for a bump of twice that length: bellows that stretch and spring back leak nothing."""
ROUNDS = 4
"""A hold has so many moves at most: lift, travel, turn, set down."""
CERTAIN = 25.0
"""Square of a height over its uncertainty from which a shape is there beyond doubt, however many were tried."""
SETTLING_S = (0.03, 0.08)
"""Times in which valve and volumes settle: hoses of usual length even out in 10 to 100 ms."""
LEAST_LEFT = 0.1
"""Share of a shape that levels, rates and amplitude must leave over: one that they nearly make up tells of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """Shapes among the residuals, shape (n_shapes,) each.

    per_kpa     what one kPa of it does to the median rate [1/s]
    height_kpa, error_kpa   its height and the standard uncertainty of that, infinite where the residuals cannot tell
    """

    per_kpa: Floats
    height_kpa: Floats
    error_kpa: Floats

    @property
    def z2(self) -> Floats:
        """Square of the height over its standard uncertainty."""
        return np.square(self.height_kpa / np.maximum(self.error_kpa, 1e-12))

    def hidden(self, usual_kpa: float) -> Floats:
        """Error of the median rate [kPa/s] by what of a usual height (> 0) the residuals cannot show."""
        return np.abs(self.per_kpa) / np.hypot(1.0 / usual_kpa, 1.0 / np.maximum(self.error_kpa, 1e-12))


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
    bench = _bench(history, pieces, columns, weight, chosen, scales)
    since = np.maximum(history.since_cut_s[pieces.index] - cut_s, 0.0)
    settling = [np.exp(-since / lasting) for lasting in SETTLING_S]
    shapes = np.stack([*_moves(history, pieces, chosen), *settling])
    effects = bench.effects(shapes)
    hidden = float(effects.hidden(options.settle_kpa)[-len(settling) :].max())
    return float(np.hypot(_in_turn(bench, shapes, effects, options.temper), hidden))


def _moves(history: History, pieces: Pieces, chosen: Bools) -> list[Floats]:
    """Steps, and at some of their places bumps, of a height of one, shape (m,) each."""
    places = _places(history, pieces, chosen)
    steps = [np.clip((t - at) / RAMP_S, 0.0, 1.0) for t, at in places]
    return steps + [np.clip(1.0 - np.abs((t - at) / RAMP_S - 1.0), 0.0, 1.0) for t, at in places[::BUMPS]]


def _in_turn(bench: "_Bench", shapes: Floats, effects: Effects, temper: float) -> float:
    """Error by one shape after another: what is certain is taken out of the residuals, which are looked at again."""
    square = seen(effects, temper) ** 2
    for _ in range(ROUNDS - 1):
        best = int(np.argmax(effects.z2))
        if effects.z2[best] < CERTAIN:
            break
        bench = bench.without(shapes[best], float(effects.height_kpa[best]))
        effects = bench.effects(shapes)
        square += seen(effects, temper) ** 2
    return float(np.sqrt(square))


def seen(effects: Effects, temper: float) -> float:
    """Root mean square of the errors by several shapes, each as probable as it explains the residuals [kPa/s].

    Log-likelihoods are divided by `temper`. Errors are shrunk by their own uncertainty, which comes from the scatter
    between cycles and so holds slow noise, and by the number of shapes that were looked at: positive-part shrinkage of
    James and Stein, from z² = 2 ln n on.
    """
    z2, error = effects.z2, effects.per_kpa * effects.height_kpa
    kept = np.square(error) * np.maximum(1.0 - 2.0 * np.log(max(len(z2), 2)) / np.maximum(z2, 1e-9), 0.0)
    return float(np.sqrt(np.average(kept, weights=np.exp(0.5 * (z2 - z2.max()) / temper))))


def _places(history: History, pieces: Pieces, chosen: Bools) -> list[tuple[Floats, float]]:
    """Times of the used bins since an event, with the times at which a step may begin."""
    index, used, out = pieces.index, chosen[pieces.cycle[pieces.owner]], []
    for time in (history.since_present_s[index], -history.until_end_s[index], history.since_cut_s[index]):
        if np.isfinite(time[used]).all():
            first, last = np.quantile(time[used], [0.02, 0.98]) - 0.5 * RAMP_S
            apart = max(EVERY_S, (last - first) / MOST_PLACES)
            out += [(time, float(at)) for at in np.arange(first, last + 1e-9, apart)]
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bench:
    """What a shape is multiplied with, bin by bin, and what the sums of these products are held against.

    Levels of pieces, rates of cycles and the common amplitude are orthogonal columns once each is freed of those
    before it, so that sums of products with a shape say all of what they take of it and of what is left.

    columns    weighted level, leak, memory and residual of every used bin, the last two of chosen cycles, (4, m)
    plain      level, leak and memory without weights, (3, m)
    weight     of every used bin of the chosen cycles;  pressure_kpa  of every used bin, shape (m,)
    level      weighted square of the level per piece, shape (k,)
    leak, memory, both   weighted square of leak and memory, and of memory times residual, per cycle, (n_cycles,)
    precision  of the amplitude, prior included
    """

    pieces: Pieces
    columns: Floats
    plain: Floats
    weight: Floats
    pressure_kpa: Floats
    level: Floats
    leak: Floats
    memory: Floats
    both: Floats
    memory_share: Floats
    precision: float
    chosen: Bools

    def of_cycles(self, by_piece: Floats) -> Floats:
        """Sums over cycles of sums over pieces along the last axis, shape (..., n_cycles)."""
        return cycle_sum(self.pieces, by_piece)

    def effects(self, shapes_kpa: Floats) -> Effects:
        """The effects of shapes over the used bins, shape (n_shapes, m)."""
        by_piece, whole = self._sums(shapes_kpa)
        used = self.chosen[self.pieces.cycle]
        leak, memory, left = self.of_cycles(by_piece[1:])
        flat = self.of_cycles(whole - by_piece[0] ** 2 / self.level * used)
        share = leak / self.leak
        taken = np.sum(memory, axis=-1, keepdims=True) / self.precision
        per_kpa = np.median((share - taken * self.memory_share)[:, self.chosen], axis=-1)
        own = flat - share * leak * self.chosen - 2.0 * taken * memory + taken**2 * self.memory
        total = np.sum(own, axis=-1)
        by_cycle = left - taken * self.both
        told = total > LEAST_LEFT * np.sum(flat, axis=-1)
        total = np.where(told, total, 1.0)
        height = np.sum(by_cycle, axis=-1) / total
        scatter = by_cycle - height[:, None] * own
        error = np.sqrt(np.sum(scatter * scatter, axis=-1)) / total
        return Effects(
            per_kpa=per_kpa, height_kpa=np.where(told, height, 0.0), error_kpa=np.where(told, error, float("inf"))
        )

    def _sums(self, shapes_kpa: Floats) -> tuple[Floats, Floats]:
        """Sums of shapes with the four columns over each piece, (4, n_shapes, k), and of their weighted squares."""
        count = len(self.pieces.start)
        by_piece, whole = np.empty((count, len(shapes_kpa), 4)), np.empty((count, len(shapes_kpa)))
        ends = np.append(self.pieces.start, self.columns.shape[1]).tolist()
        for piece, (first, last) in enumerate(pairwise(ends)):
            some = shapes_kpa[:, first:last]
            np.matmul(some, self.columns[:, first:last].T, out=by_piece[piece])
            np.matmul(some * some, self.weight[first:last], out=whole[piece])
        return by_piece.T, whole.T

    def without(self, shape_kpa: Floats, height_kpa: float) -> "_Bench":
        """The same with some height of a shape taken out of the residuals."""
        owner, rows = self.pieces.owner, self.pieces.cycle[self.pieces.owner]
        by_piece = piece_sum(self.pieces, self.columns[:3] * shape_kpa)
        leak, memory = self.of_cycles(by_piece[1:])
        flat = shape_kpa / self.pressure_kpa - self.plain[0] * (by_piece[0] / self.level)[owner]
        taken = float(np.sum(memory)) / self.precision
        column = flat - self.plain[1] * (leak / self.leak)[rows] - taken * self.plain[2]
        columns = self.columns.copy()
        columns[3] -= height_kpa * self.weight * self.pressure_kpa * column
        both = self.both - height_kpa * (memory - taken * self.memory) * self.chosen
        return replace(self, columns=columns, both=both)


def _bench(
    history: History, pieces: Pieces, columns: Regressors, weight: Floats, chosen: Bools, scales: Scales
) -> _Bench:
    """The columns with levels, rates and amplitude taken out of the residuals; shapes are in kPa, columns in ln P."""
    rows = pieces.cycle[pieces.owner]
    used, pressure = weight * chosen[rows], history.pressure_kpa[pieces.index]

    def of_cycles(values: Floats) -> Floats:
        return cycle_sum(pieces, piece_sum(pieces, values))

    leak = _flat(pieces, columns.level, weight, columns.leak[0])
    power = np.maximum(of_cycles(weight * leak * leak), 1e-30)

    def parted(column: Floats) -> tuple[Floats, Floats]:
        flat = _flat(pieces, columns.level, weight, column)
        share = of_cycles(weight * leak * flat) / power
        return share, flat - leak * share[rows]

    (memory_share, memory), (_, found) = parted(columns.memory), parted(columns.seen)
    squares = of_cycles(used * memory * memory)
    precision = float(np.sum(squares)) + scales.prior_weight
    amplitude = (float(np.sum(used * memory * found)) + scales.prior_weight * (1.0 + scales.memory_mean)) / precision
    left = found - amplitude * memory
    return _Bench(
        pieces=pieces, weight=used / pressure**2, pressure_kpa=pressure, plain=np.stack([columns.level, leak, memory]),
        columns=np.stack([weight * columns.level, weight * leak, used * memory, used * left]) / pressure,
        level=piece_sum(pieces, weight * columns.level**2), leak=power, memory=squares,
        both=of_cycles(used * memory * left), memory_share=memory_share, precision=precision, chosen=chosen,
    )  # fmt: skip


def _flat(pieces: Pieces, level: Floats, weight: Floats, column: Floats) -> Floats:
    """A column without the levels of the pieces, shape (m,)."""
    w = weight * level
    return np.asarray(column - level * (piece_sum(pieces, w * column) / piece_sum(pieces, w * level))[pieces.owner])
