"""Which level of each digital is logically on, found from how pressure answers it."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import PULSES, Wiring
from tracekit.model.trace import PRESENT_BIT, RELEASE_BIT, SUPPLY_BIT, Layout
from tracekit.signal.segments import edges_of, range_index, range_sum
from tracekit.signal.select import quantile

Floats = NDArray[np.float64]
Levels = NDArray[np.bool_]
Ints = NDArray[np.int64]


def _stretches(level: Levels) -> tuple[Ints, Ints]:
    """First samples of the stretches at level 1, and the first ones after them."""
    rise, fall = edges_of(level)
    first, last = np.zeros(int(level[0]), np.int64), np.full(int(level[-1]), len(level))
    return np.concatenate([first, rise]), np.concatenate([fall, last])


def _gain_per_level(vacuum: Floats, level: Levels) -> tuple[float, float]:
    """Vacuum gained in all over the stretches at level 0 and at level 1 [kPa]."""
    begin, end = _stretches(level)
    high = float((vacuum[np.minimum(end, len(vacuum) - 1)] - vacuum[begin]).sum())
    return float(vacuum[-1] - vacuum[0]) - high, high


def _before(vacuum: Floats, blown: Levels) -> Floats:
    """The vacuum, with the last value before each release in the place of what it is during the release."""
    begin, end = _stretches(blown)
    index, owner = range_index(begin, end)
    held = vacuum.copy()
    held[index] = vacuum[np.maximum(begin - 1, 0)][owner]
    return held


_FEWEST, _OUT_OF, _ON_BY = 3, 0.25, 0.3
"""Suctions that start out of so little vacuum, and by what share of all vacuum it rises after the signal has ended."""
_NEAR, _COVERED = 0.9, 0.85
"""Share of what is still to come by which an evacuation has ended, and share of all vacuum that is made within the
signal once that is moved to end with it: then it is a valve's, stamped early. A pulse is too short (no source)."""


def _goes_on(vacuum: Floats, on: Levels, swing: float) -> bool:
    """Whether evacuations go on after the signal that began them has ended: then it is a coil's pulse, not a valve.

    A valve whose signal was stamped early looks so too: all that differs is that, moved, it covers the evacuation.
    """
    begin, end = _stretches(on)
    follows = np.append(begin[1:], len(vacuum))
    whole = end < follows
    begin, end, follows = begin[whole], end[whole], follows[whole]
    start = vacuum[begin] < quantile(vacuum, 0.01) + _OUT_OF * swing
    if start.sum() < _FEWEST:
        return False
    begin, end, follows = begin[start], end[start], follows[start]
    bounds = np.stack([end, np.minimum(follows, len(vacuum) - 1)], axis=1).ravel()
    highest = np.maximum.reduceat(vacuum, bounds)[::2]
    if not float(np.median(highest - vacuum[end])) > _ON_BY * swing:
        return False
    index, owner = range_index(end, follows)
    near = vacuum[index] >= (vacuum[end] + _NEAR * (highest - vacuum[end]))[owner]
    starts = np.concatenate([[0], np.flatnonzero(np.diff(owner)) + 1])
    first = np.minimum.reduceat(np.where(near, index, len(vacuum)), starts)
    moved = begin + int(np.median(first - end))
    inside = moved < np.minimum(first, len(vacuum))
    gained = (highest - vacuum[np.minimum(moved, len(vacuum) - 1)])[inside]
    return len(gained) == 0 or float(np.median(gained)) < _COVERED * swing


_LEAST_SWING_KPA, _MEANS_APART, _LOOKED_AT = 1.0, 0.02, 20_000
"""What moves less is noise and drift of a sensor, which answer no valve; mean vacuums that differ by a smaller share of
all vacuum tell no part (common practice, no source)."""


def _swing(vacuum: Floats) -> float:
    """How far some vacuums reach, by every so many-th [kPa]."""
    some = vacuum[:: max(len(vacuum) // _LOOKED_AT, 1)]
    return quantile(some, 0.99) - quantile(some, 0.01)


def _supply_level(vacuum: Floats, level: Levels, release: Levels | None) -> tuple[int | None, str]:
    """The level at which vacuum is made.

    Vacuum is gained while the supply is on and lost while it is off, summed over the whole head: an evacuation always
    lies in the one, a release in the other. A release that begins before the supply is off is left out of both: what
    it takes is lost at its end. While release is on the supply is off, which decides where pressure does not.
    """
    if level.all() or not level.any():
        return None, "never changes"
    if release is not None:
        vacuum = _before(vacuum, release)
    gained_low, gained_high = _gain_per_level(vacuum, level)
    swing = quantile(vacuum, 0.99) - quantile(vacuum, 0.01)
    apart = abs(gained_high - gained_low)
    if swing > _LEAST_SWING_KPA and (apart > 1.5 * swing or (swing > 5.0 and apart > swing)):
        on = int(gained_high > gained_low)
        if _goes_on(vacuum, level == bool(on), swing):
            return None, PULSES
        times = max(len(_stretches(level)[0]), 1)
        text = (
            f"each time it is 1 vacuum changes by {gained_high / times:+.0f} kPa, and by {gained_low / times:+.0f} kPa "
            "until the next"
        )
        return on, text
    if release is not None and release.any():
        off = int(level[release].mean() > 0.5)
        return 1 - off, f"it is {off} while release is on"
    return None, "pressure does not answer it"


def _release_level(vacuum: Floats, level: Levels) -> tuple[int | None, str]:
    """The level at which air is blown in: the one at which vacuum is lost fastest, which noise does not tell."""
    if level.all() or not level.any():
        return None, "never changes"
    share = float(level.mean())
    held = int(np.count_nonzero(level[:-1]))
    counts = (len(level) - 1 - held, held)
    lost = [gain / (count or 1) for gain, count in zip(_gain_per_level(vacuum, level), counts, strict=True)]
    on = int(lost[1] < lost[0])
    rare_is_off = (share < 0.2) != bool(on) and abs(share - 0.5) > 0.3
    if abs(lost[1] - lost[0]) < 1e-9 or rare_is_off or _swing(vacuum) <= _LEAST_SWING_KPA:
        on = int(share < 0.5)
        return on, f"it is {on} for the shorter part of the time"
    return on, f"vacuum falls fastest while it is {on}"


def _present_level(vacuum: Floats, level: Levels) -> tuple[int | None, str]:
    """The level at which a part is held: the one with the higher mean vacuum, None where that is noise."""
    if level.all() or not level.any():
        return None, "never changes"
    held = np.count_nonzero(level)
    high = float(range_sum(vacuum, *_stretches(level)).sum())
    mean = ((float(vacuum.sum()) - high) / (len(level) - held), high / held)
    on = int(mean[1] > mean[0])
    swing = _swing(vacuum)
    if swing <= _LEAST_SWING_KPA or abs(mean[1] - mean[0]) <= _MEANS_APART * swing:
        return None, "pressure does not answer it"
    return on, f"mean vacuum is {mean[1]:.1f} kPa while it is 1 and {mean[0]:.1f} kPa while it is 0"


def _bridged(pressure: Floats) -> Floats:
    """The pressure with the median in place of missing readings."""
    return np.nan_to_num(pressure, nan=float(np.nanmedian(pressure)) if np.isfinite(pressure).any() else 0.0)


def find_wiring(pressure: Floats, digital: NDArray[np.uint8], layout: Layout) -> Wiring:
    """Polarity of the three digitals from the head of a log; levels that the station file gives win."""
    vacuum = -(pressure if np.isfinite(pressure).all() else _bridged(pressure))
    levels = {
        name: np.asarray(digital & bit != 0, np.bool_) if has else None
        for name, bit, has in (
            ("supply", SUPPLY_BIT, layout.has_supply),
            ("release", RELEASE_BIT, layout.has_release),
            ("part_present", PRESENT_BIT, layout.has_present),
        )
    }
    found: dict[str, int | None] = {"supply": None, "release": None, "part_present": None}
    evidence: dict[str, str] = {}
    for name in ("release", "supply", "part_present"):
        level = levels[name]
        if level is None:
            evidence[name] = "not in the log"
            continue
        if name == "release":
            found[name], evidence[name] = _release_level(vacuum, level)
        elif name == "part_present":
            found[name], evidence[name] = _present_level(vacuum, level)
        else:
            release = levels["release"]
            on = found["release"]
            blown = None if release is None or on is None else np.asarray(release == bool(on), np.bool_)
            found[name], evidence[name] = _supply_level(vacuum, level, blown)
        if name in layout.on_level:
            found[name], evidence[name] = layout.on_level[name], "station file"
    return _as_wiring(found, evidence)


def _as_wiring(found: Mapping[str, int | None], evidence: Mapping[str, str]) -> Wiring:
    return Wiring(
        supply_on_level=found["supply"],
        release_on_level=found["release"],
        present_on_level=found["part_present"],
        evidence=dict(evidence),
    )
