"""Years of a station made up with known growth, repairs, seasons and part mixes, as a history would hold them.

Nothing here is shared with the estimators: scatter is drawn, not modelled after them.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracekit.history.collect import Followed, StationHistory
from tracekit.model.station import Limit

DAY_US = 86_400_000_000
JAN_US = 1_735_689_600_000_000
LEAK = "decay_rate_kpa_s"
PARTS_RATIO = 1.8


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeUp:
    """A station's history and its truth.

    growth      of the logarithm of the leak per day, from `onset` on
    repairs     indices of the first log after each repair
    level       true leak of every log without scatter, at the mix of parts over all logs [kPa/s]
    """

    history: StationHistory
    growth: float
    onset: int
    repairs: tuple[int, ...]
    level: NDArray[np.float64]


def scatter(rng: np.random.Generator, logs: int, sigma: float, lag1: float, share: float) -> NDArray[np.float64]:
    """Scatter of which `share` wanders with a memory of `lag1` from log to log, with 2 % odd logs, shape (logs,)."""
    wander = np.empty(logs)
    wander[0] = rng.normal()
    for i in range(1, logs):
        wander[i] = lag1 * wander[i - 1] + np.sqrt(1.0 - lag1**2) * rng.normal()
    out = sigma * (np.sqrt(share) * wander + np.sqrt(1.0 - share) * rng.normal(size=logs))
    odd = rng.random(logs) < 0.02
    out[odd] += 4.0 * sigma * rng.normal(size=int(odd.sum()))
    return out


def log_days(rng: np.random.Generator, logs: int, daily: bool) -> NDArray[np.float64]:
    """Days of the logs: one a day at about the same hour, or with a tenth of them and all Sundays missing."""
    if daily:
        return np.arange(logs) + 0.02 * rng.random(logs)
    days = np.arange(2 * logs)
    kept = days[(days % 7 != 6) & (rng.random(2 * logs) > 0.1)][:logs]
    return kept + 0.1 * rng.random(len(kept))


def made_up_leak(
    rng: np.random.Generator, *, logs: int = 180, growth: float = 0.0, onset: int = 0, linear: bool = False,
    repairs: tuple[int, ...] = (), sigma: float | None = None, daily: bool = False, weather: bool = True, parts: bool = True,
) -> MadeUp:  # fmt: skip
    """A year of leaks: growth, repairs that bring it back, wandering scatter, part mix, and weather.

    Weather is recorded in half of the series; in the others a yearly swing of up to 3 % is there and not recorded.

    Where `linear`, growth is by equal amounts: `growth` times the first level a day.
    """
    days = log_days(rng, logs, daily)
    since = np.maximum(days - days[onset], 0.0)
    start = 1.0 + 2.0 * rng.random()
    begun = np.zeros(logs)
    for first in repairs:
        begun[first:] = max(days[first] - days[onset], 0.0)
    grown = np.maximum(since - begun, 0.0)
    level = start * (1.0 + growth * grown) if linear else start * np.exp(growth * grown)
    noise = scatter(rng, logs, sigma or rng.uniform(0.04, 0.1), rng.uniform(0.0, 0.6), rng.uniform(0.3, 1.0))
    facts: dict[str, Followed] = {}
    observed = np.log(level) + noise
    if weather and rng.random() < 0.5:
        ambient = 100.0 + scatter(rng, logs, 0.8, 0.7, 1.0)
        temperature = 20.0 + 6.0 * np.sin(2.0 * np.pi * (days / 365.0 + rng.random())) + scatter(rng, logs, 1.5, 0.5, 1.0)
        observed += 0.01 * (ambient - 100.0) + rng.uniform(-0.006, 0.006) * (temperature - 20.0)
        facts = {"ambient": followed(ambient), "temperature": followed(temperature)}
    else:
        observed += rng.uniform(0.0, 0.03) * np.sin(2.0 * np.pi * (days / 365.0 + rng.random()))
    leak = followed(np.exp(observed))
    if parts and rng.random() < 0.5:
        leak, ribbed = mixed_parts(rng, observed)
        level = level * PARTS_RATIO**ribbed
    history = StationHistory(
        station="Glaze 1", start_us=JAN_US + (days * DAY_US).astype(np.int64),
        followed={LEAK: leak, **facts}, latest={}, findings=(),
    )  # fmt: skip
    return MadeUp(history=history, growth=growth, onset=onset, repairs=repairs, level=level)


def followed(value: NDArray[np.float64], n: int = 60) -> Followed:
    """A measure whose every log has an exact value."""
    return Followed(
        value=value, lower=value * 0.98, upper=value * 1.02, n=np.full(len(value), float(n)),
        bound=np.zeros(len(value), np.int8),
    )  # fmt: skip


def mixed_parts(rng: np.random.Generator, observed: NDArray[np.float64]) -> tuple[Followed, float]:
    """Two part types, one leaking 1.8 times as much, whose shares drift over the logs and jump from day to day.

    Gives the measure and the ribbed type's share of all cycles.
    """
    logs = len(observed)
    share = np.clip(0.2 + 0.6 * np.linspace(0.0, 1.0, logs) + 0.2 * rng.normal(size=logs), 0.0, 1.0)
    ribbed = rng.binomial(60, share)
    counts = np.stack([60 - ribbed, ribbed], axis=1).astype(float)
    log_value = observed[:, None] + np.array([0.0, np.log(PARTS_RATIO)]) + 0.02 * rng.normal(size=(logs, 2))
    value = np.where(counts > 0, np.exp(log_value), np.nan)
    mean = np.nansum(np.where(counts > 0, counts * value, 0.0), axis=1) / 60.0
    whole = followed(mean)
    mixed = Followed(
        value=mean, lower=whole.lower, upper=whole.upper, n=whole.n, bound=whole.bound,
        group_names=("part=plain", "part=ribbed"), group_value=value, group_n=counts,
    )  # fmt: skip
    return mixed, float(ribbed.sum() / counts.sum())


def limits_of(value: float) -> Mapping[str, Limit]:
    """A limit of the leak."""
    return {LEAK: Limit(max=value)}
