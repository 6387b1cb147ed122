"""Signs in the cycles that no median shows: groups, late answers, scatter, losses, empty picks, dips."""

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.effects import Comparison, Effect, robust_spread
from tracekit.judge.evidence import Sign
from tracekit.judge.features import Features
from tracekit.judge.turns import pattern_nats
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Estimate
from tracekit.model.result import LeakResult
from tracekit.options.segment import SegmentOptions

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_RISEN_Z = 6.0
"""Standard errors by which a leak has risen before a quarter of the rise stands out of the scatter of single cycles."""

_SCATTERED = 0.05
"""Share of slow evacuations from where on they are no chance (common practice, no source)."""
_SLOWER = 0.06
"""Logarithm by which an evacuation takes longer that is slow: a regulator holds its pressure within some 5 % (common
practice)."""
_FAR, _FEWEST_FAR = 0.5, 2
"""Logarithm by which an evacuation that takes so much longer is far from usual, and how many here and there are no
chance: among healthy logs of two simulators none had as many."""
_MORE_Z = 2.1
"""Standard errors by which more evacuations are slow than in the reference, from where on it is no chance (1 in 56)."""
_WIDER_Z = 3.0
"""Standard errors by which the scatter of all evacuations has grown from where on it counts."""
_TWICE = 0.7
"""Logarithm of a scatter that has doubled: with less, that of the blow-off says nothing of evacuations."""
_THIRD = 6
"""Evacuations of a third of the log that tell what is usual in it."""
_FEW = 4
"""Cycles of a group of which a median tells."""
_NEVER_THERE = 11.0
"""Standard errors that stand for cycles which do not come near the top at all: as many as count at most."""
_PATTERN = 3.0
"""Nats from which on nests or part types tell a group (20 to 1, common practice)."""
_MANY = 4
"""Losses from which on no chance is left that they only seem to be there."""


def logistic(x: float) -> float:
    """1 / (1 + e^-x), safe for any x."""
    return float(1.0 / (1.0 + np.exp(-np.clip(x, -40.0, 40.0))))


def two_groups(values: Floats, least_gap: float) -> tuple[Bools, float]:
    """Cycles of the upper of two groups, and how many of its own spreads the gap between them is; 0 where there is one.

    The split is the one that explains most of the variance with four cycles on either side; a value that lies nearer
    to the middle of the other group then goes there. A group has at least three cycles.
    """
    upper = np.zeros(len(values), np.bool_)
    seen = np.flatnonzero(np.isfinite(values))
    if len(seen) < 10:
        return upper, 0.0
    order = seen[np.argsort(values[seen])]
    x = values[order]
    total = np.cumsum(x)
    k = np.arange(1, len(x))
    between = k * (len(x) - k) * (total[:-1] / k - (total[-1] - total[:-1]) / (len(x) - k)) ** 2
    between = np.where((k >= 4) & (len(x) - k >= 4), between, -1.0)
    cut = int(np.argmax(between)) + 1
    cut = int(np.searchsorted(x, (np.median(x[:cut]) + np.median(x[cut:])) / 2.0))
    if min(cut, len(x) - cut) < 3:
        return upper, 0.0
    low, high = x[:cut], x[cut:]
    spread = float(np.hypot(robust_spread(low), robust_spread(high)))
    gap = float(np.median(high) - np.median(low))
    empty = float(high.min() - low.max())
    if gap < least_gap:
        return upper, 0.0
    upper[order[cut:]] = True
    return upper, min(gap / max(spread, 0.1 * least_gap), 20.0) * (1.0 if empty > 0 else 0.5)


def alternations(flag: Bools) -> int:
    """How often a flag changes from one cycle to the next."""
    return int(np.count_nonzero(np.diff(flag.astype(np.int8))))


def group_sign(data: StationData, features: Features) -> tuple[Sign, Bools]:
    """Two interleaved groups of leak rates, or of cycles that never cut the supply among those that do."""
    held = features.held
    rate = np.where(held, features.values["decay"], np.nan)
    level = float(np.nanmedian(rate)) if np.isfinite(rate).any() else 0.0
    # in the logarithm, since a leaking group scatters with its size; half a kPa/s keeps small rates from counting
    upper, gap = two_groups(np.log(np.maximum(rate, 0.0) + 0.5), 0.35)
    plain, plain_gap = two_groups(rate, max(0.6, 0.35 * level))
    if plain_gap > gap:
        upper, gap = plain, plain_gap
    if upper.any() and float(np.nanmedian(rate[upper]) - np.nanmedian(rate[~upper])) < max(0.6, 0.35 * level):
        upper, gap = np.zeros(len(rate), np.bool_), 0.0
    changes = alternations(upper[np.isfinite(rate)])
    chance = logistic(2.2 * (gap - 5.0)) if changes >= 4 else 0.002
    if chance > 0.5 and not _intervals_apart(data, upper & held, ~upper & held):
        # a few rates that are known badly stand apart now and then; what all rates share in doubt makes no pattern
        chance = chance if pattern_nats(data, upper, held) > _PATTERN else 0.5
    if data.air_saving and held.sum() >= 10:
        # a pick given up had no hold in which to cut the supply
        never = held & data.cycles.where("outcome", "held") & (data.cycles.codes("coasts") == 0)
        share = float(never.sum() / held.sum())
        if 0.08 < share < 0.92 and alternations(never[held]) >= 4 and never.sum() >= 3:
            low = features.values["peak"]
            drop = float(np.nanmedian(low[held & ~never]) - np.nanmedian(low[never]))
            if drop > 1.0 and not _slow_but_tight(features, held & ~never):
                chance, upper = max(chance, 0.9), upper | never
    if not data.air_saving:
        upper, chance = _groups_without_coasts(features, upper)
    if chance > 0.5:
        chance = logistic(float(np.log(chance / (1.0 - min(chance, 0.9999)))) + pattern_nats(data, upper, held))
    text = f"{int(upper.sum())} cycles leak more than the rest"
    return Sign(name="rate_groups", present=min(max(chance, 0.001), 0.9993), text=text), upper


def _intervals_apart(data: StationData, upper: Bools, lower: Bools) -> bool:
    """Whether the usual interval of the one group's rates lies over that of the other's."""
    high = data.cycles.floats("decay_rate_lower_kpa_s")[upper]
    low = data.cycles.floats("decay_rate_upper_kpa_s")[lower]
    if not np.isfinite(high).any() or not np.isfinite(low).any():
        return True
    return bool(np.nanmedian(high) > np.nanmedian(low))


def _slow_but_tight(features: Features, coasting: Bools) -> bool:
    """Cycles that evacuate slowly and yet leak no more than the rest: the supply dips, and the cup is tight."""
    rise = np.where(coasting, features.values["rise"], np.nan)
    rate = np.where(coasting, features.values["decay"], np.nan)
    if np.isfinite(rise).sum() < 8 or np.isfinite(rate).sum() < 8:
        return False
    slow = coasting & (rise > np.nanquantile(rise, 0.4) + 0.15) & np.isfinite(rate)
    leaky = rate[slow] > 1.5 * float(np.nanmedian(rate)) + 0.3
    return bool(slow.sum() >= 3 and leaky.mean() < 0.3)


def _groups_without_coasts(features: Features, upper: Bools) -> tuple[Bools, float]:
    """Without coasts a leaking group shows in the deepest vacuum alone: nowhere do its holds reach that of the others.

    A hold whose end alone is low was met there by something that comes and goes.
    """
    reached = np.where(np.isfinite(features.values["ultimate"]), features.values["peak"], np.nan)
    depth = np.where(features.held, -reached, np.nan)
    group, gap = two_groups(depth, max(0.4, 5.0 * features.floor["ultimate"]))
    changes = alternations(group[np.isfinite(depth)])
    if changes < 4:
        return upper, 0.002
    # a leaking group also evacuates more slowly near the top: a second witness
    held = features.held
    top, level = (np.where(held, features.values[name], np.nan) for name in ("top", "open"))
    slower = _apart(top, group)
    if np.isfinite(top[group]).mean() < 0.5 < np.isfinite(top[held & ~group]).mean():
        slower = _NEVER_THERE
    # a supply that dips also weakens the open cup of those cycles, and the blow-off, which no leak does
    weaker = _apart(level, group)
    if np.isfinite(level[group]).sum() < _FEW or np.isfinite(level[~group]).sum() < _FEW:
        weaker = _apart(np.where(held, -features.values["blow"], np.nan), group)
    odds = 1.6 * (gap - 6.0) + 0.5 * float(np.clip(slower - 3.0, -3.0, 8.0)) - 1.5 * float(np.clip(weaker - 3.0, 0, 8))
    return group, logistic(odds)


def _apart(values: Floats, group: Bools) -> float:
    """How many standard errors the median of a group lies below that of the others; 0 where either is too small."""
    seen = np.isfinite(values)
    inside, outside = values[seen & group], values[seen & ~group]
    if min(len(inside), len(outside)) < _FEW:
        return 0.0
    error = np.hypot(*(max(robust_spread(x), 1e-3) / np.sqrt(len(x)) for x in (inside, outside)))
    return float((np.median(outside) - np.median(inside)) / error)


def _longer(features: Features) -> Floats:
    """How much longer than most each held cycle's evacuation takes, a logarithm; NaN where few show it, (n_cycles,)."""
    rise = np.where(features.held, features.values["rise"], np.nan)
    if np.isfinite(rise).sum() < 10:
        return np.full(len(rise), np.nan)
    rise = rise - _drift(rise)
    return np.asarray(rise - np.nanquantile(rise, 0.4), np.float64)


def _slow(features: Features) -> Bools:
    """Held cycles that evacuate far more slowly than most."""
    longer = _longer(features)
    lower = longer[longer <= 0.0]
    if not len(lower):
        return np.zeros(len(longer), np.bool_)
    spread = max(-float(np.quantile(lower, 0.05)) / 1.6, features.floor["rise"])
    return np.asarray(longer > max(5.0 * spread, _SLOWER), np.bool_)


def far_slow_sign(features: Features, groups: Bools, reference: Features | None = None) -> Sign:
    """Evacuations here and there, none next to another, that take far longer, and not in a group that leaks."""
    count = _far(features, groups)
    usual = 0 if reference is None else _far(reference, np.zeros(len(reference.held), np.bool_))
    present = 0.98 if count >= max(_FEWEST_FAR, 3 * usual) else 0.02
    return Sign(name="far_slow", present=present, text=f"{count} evacuations take half as long again, or more")


def _far(features: Features, groups: Bools) -> int:
    """How many evacuations take far longer that have none such beside them."""
    far = np.asarray(_longer(features) > _FAR, np.bool_)
    return int((far & ~np.append(far[1:], False) & ~np.append(False, far[:-1]) & ~groups).sum())


def _drift(rise: Floats) -> Floats:
    """A straight line from what the first third of the cycles usually takes to what the last third does.

    What grows or falls steadily over a log is no scatter; cycles that are slow here and there leave the usual as it is.
    """
    third = len(rise) // 3
    first, last = rise[:third], rise[len(rise) - third :]
    if min(np.isfinite(first).sum(), np.isfinite(last).sum()) < _THIRD:
        return np.zeros(len(rise))
    begins, ends = (float(np.nanquantile(part, 0.4)) for part in (first, last))
    return np.asarray(begins + (ends - begins) * (np.arange(len(rise)) - third / 2) / (len(rise) - third), np.float64)


def scatter_sign(
    features: Features,
    groups: Bools,
    missed_slowly: Bools,
    scatter: Effect | None = None,
    reference: Features | None = None,
    blown: Effect | None = None,
) -> tuple[Sign, Bools]:
    """Evacuations that scatter towards slow while the leak does not: cycles far slower than usual, here and there.

    A pick that got longer than usual and was given up well above an open cup is a slow one too. Where all scatter and
    none stands out, `scatter`, against the reference, tells it, surer where that of the blow-off, `blown`, has grown
    too: both live on the same supply. As many as a healthy station shows, `reference`, whose
    parts are met now sooner and now later, are none.
    """
    seen = features.held & np.isfinite(features.values["rise"])
    if seen.sum() < 10:
        return Sign(name="scattered_evacuation", present=0.004), np.zeros(len(seen), np.bool_)
    slow = missed_slowly | _slow(features)
    seen = seen | missed_slowly
    share = float(slow.sum() / seen.sum())
    usual = 0.0 if reference is None else float(_slow(reference).sum() / max(reference.held.sum(), 1))
    mixed = alternations(slow[seen]) >= 4
    least = max(_SCATTERED, 1.5 * usual + _SCATTERED / 2.0)
    chance = logistic((share - least) / 0.01) if mixed and slow.sum() >= 3 else 0.004
    if reference is not None and usual > 0.0:
        chance = min(chance, _more_than(share, int(seen.sum()), usual, int(reference.held.sum())))
    if far_slow_sign(features, groups, reference).present > 0.5:
        chance = max(chance, 0.97)
    if groups.any() and (slow & groups).sum() > 0.6 * slow.sum():
        chance = min(chance, 0.1)  # the slow ones are the leaking ones
    elif scatter is not None:
        both = blown is not None and scatter.shift > _TWICE and blown.shift > 0.0
        z = float(np.hypot(scatter.z, blown.z)) if both and blown is not None else scatter.z
        chance = max(chance, 0.98 * logistic(2.0 * (z - _WIDER_Z)))
    return Sign(
        name="scattered_evacuation", present=min(max(chance, 0.004), 0.9995), text=f"{int(slow.sum())} slow evacuations"
    ), slow


def _more_than(share: float, count: int, usual: float, usual_count: int) -> float:
    """How surely a share of some cycles is larger than another's, by the scatter of two counts."""
    pooled = (share * count + usual * usual_count) / (count + usual_count)
    error = np.sqrt(pooled * (1.0 - pooled) * (1.0 / count + 1.0 / usual_count))
    return logistic(8.0 * ((share - usual) / max(float(error), 1e-9) - _MORE_Z))


def spared_sign(features: Features, comparison: Comparison) -> Sign | None:
    """Do some cycles leak as little as the reference, although the usual leak has risen? None where it has not.

    A leak of the parts spares the sound ones; one of the station touches every cycle, each by about as much.
    """
    decay = comparison.effects.get("decay")
    rate = features.values["decay"][comparison.now & features.held]
    rate = rate[np.isfinite(rate)]
    if decay is None or decay.z < _RISEN_Z or len(rate) < 8:
        return None
    spared = int(np.sum(rate < decay.reference + 0.25 * decay.shift))
    present = logistic((spared / len(rate) - 0.08) / 0.02)
    text = f"{spared} of {len(rate)} cycles leak as little as the reference"
    return Sign(name="spared_cycles", present=float(np.clip(present, 0.02, 0.98)), text=text)


def empties_at_once(data: StationData, features: Features) -> bool:
    """Whether one in ten rates or more empties a hold to the reset point within the time of a sudden loss."""
    rate = features.values["decay"]
    reset = data.settings["reset_point"].value_kpa
    if reset is None or np.isfinite(rate).sum() < 4:
        return False
    depth = max(data.usual_peak_kpa - reset, 1.0)
    return bool(np.nanquantile(rate, 0.9) * SegmentOptions().sudden_s > depth)


def loss_signs(
    data: StationData, features: Features, empty: Bools, odd_pick_share: float = 0.0
) -> tuple[tuple[Sign, Bools], ...]:
    """Sudden and gradual losses and picks that found nothing, by count.

    Where leaks empty a hold as fast as a collision does, a sudden loss tells nothing; one whose kind is open
    may be either. A single empty pick among very many, fewer than `odd_pick_share`, tells little.
    """
    cycles = data.cycles
    quick = empties_at_once(data, features)
    dropped = cycles.where("outcome", "dropped")
    sudden = dropped & cycles.where("drop_kind", "sudden")
    gradual = dropped & cycles.where("drop_kind", "gradual")
    between = bool((dropped & ~sudden & ~gradual).any())
    out = []
    for name, flag, single in (
        ("sudden_losses", sudden, 0.97), ("gradual_losses", gradual, 0.95),
        ("empty_picks", empty, 0.93 if len(empty) * odd_pick_share <= 1.0 else 0.8),
    ):  # fmt: skip
        n = int(flag.sum())
        present = 0.001 if n == 0 else single if n == 1 else 0.998 if n < _MANY else 0.9995
        present = min(present, 0.5) if quick and name == "sudden_losses" else present
        if between and name.endswith("losses"):
            present = max(present, 0.5)
        out.append((Sign(name=name, present=present, text=f"{n} cycles"), flag))
    return tuple(out)


def plate_signs(leak: LeakResult, blanked: LeakResult | None) -> tuple[Sign, ...]:
    """Does the station leak as much with its cup on a flat plate? Only where both rates are known and the log leaks."""
    if blanked is None:
        return ()
    now, plate = leak.decay_rate, blanked.decay_rate
    if not isinstance(now, Estimate) or not isinstance(plate, Estimate) or now.value < 0.5:
        return ()
    share = max(plate.value, 0.0) / now.value
    # the plate changes the volume by up to a fifth (physics), so halves and doubles are told apart, not tenths
    leaks = logistic((share - 0.5) / 0.08)
    text = f"with the cup on a plate vacuum falls {plate.value:.2g} kPa/s, with parts {now.value:.2g} kPa/s"
    return (
        Sign(name="leaks_on_plate", present=leaks, text=text),
        Sign(name="tight_on_plate", present=1.0 - leaks, text=text),
    )
