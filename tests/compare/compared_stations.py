"""Made-up recordings of a station of the tile works: tables of cycles with known medians, scatter and correlation."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tracekit.model.comparison import Recording
from tracekit.model.cycle import SensorFacts, SettingInForce
from tracekit.model.estimate import Estimate
from tracekit.model.tables import CYCLES, OUTCOMES, Column, make_table
from tracekit.model.trace import LogFacts

Floats = NDArray[np.float64]

START_US = 1_741_000_000_000_000
LEVELS: dict[str, tuple[float, float]] = {
    "decay_rate_kpa_s": (5.0, 0.4),
    "evacuation_time_s": (0.32, 0.02),
    "pump_time_constant_s": (0.15, 0.006),
    "ultimate_vacuum_kpa": (84.0, 0.5),
    "hold_vacuum_kpa": (66.0, 0.6),
    "release_time_s": (0.09, 0.006),
    "response_delay_s": (0.02, 0.002),
    "noise_kpa": (0.1, 0.01),
    "idle_vacuum_kpa": (0.1, 0.02),
    "open_cup_vacuum_kpa": (8.0, 0.3),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """How the cycles of a recording scatter.

    medians   by column, else `LEVELS`
    fade      correlation between neighbouring cycles of the part that is correlated
    share     share of the scatter that is correlated
    wander    slow drift over some hundred cycles, in standard deviations of the scatter
    day       shift of the whole recording, as a share of each median
    parts     part types by name with the rise of the decay rate [kPa/s] and their share of batches
    """

    medians: Mapping[str, float] = field(default_factory=dict)
    scatter: float = 1.0
    fade: float = 0.5
    share: float = 0.5
    wander: float = 0.0
    day: float = 0.0
    parts: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    drops: float = 0.0
    misses: float = 0.0


def correlated(rng: np.random.Generator, n: int, fade: float, share: float, wander: float) -> Floats:
    """Scatter of unit variance (and a slow drift on top): white noise, a part that fades, a wander."""
    out = np.sqrt(share) * _autoregressive(rng, n, fade) + np.sqrt(1.0 - share) * rng.normal(size=n)
    return np.asarray(out + wander * _autoregressive(rng, n, 0.99), np.float64)


def recording(
    seed: int, n: int = 200, scene: Scene | None = None, *, start_h: float = 0.0, name: str = "log",
    settings: Mapping[str, float] | None = None, ambient: tuple[float, float, str] = (101.0, 0.15, "absolute channel"),
    leak: Estimate | None = None, first_code: str | None = "leak_steady",
) -> Recording:  # fmt: skip
    """A recording of n cycles, 4 s each."""
    scene = scene or Scene()
    rng = np.random.default_rng(seed)
    data: dict[str, NDArray[np.generic]] = {}
    labels, rise = _batches(rng, n, scene)
    for column, (usual, spread) in LEVELS.items():
        level = scene.medians.get(column, usual)
        noise = spread * scene.scatter * correlated(rng, n, scene.fade, scene.share, scene.wander)
        data[column] = level * (1.0 + scene.day) + noise
    data["decay_rate_kpa_s"] = np.asarray(data["decay_rate_kpa_s"] + rise)
    fate = rng.random(n)
    outcome = np.where(fate < scene.drops, 1, np.where(fate < scene.drops + scene.misses, 2, 0))
    data["outcome"] = outcome.astype(np.int32)
    data["chatter_edges"] = np.zeros(n, np.int32)
    data["supply_switches"] = np.full(n, 2, np.int32)
    data["start_s"] = 4.0 * np.arange(n)
    categories = {"outcome": OUTCOMES, "log_id": (name,), "station": ("Loader 2",)}
    columns = CYCLES
    if scene.parts:
        columns = (*CYCLES, Column("context_tile", "category", "", "tile"))
        data["context_tile"] = labels
        categories["context_tile"] = tuple(scene.parts)
    table = make_table(columns, data, categories)
    used = settings or {"set_point": 60.0, "reset_point": 55.0, "supply_off": 70.0, "supply_on": 64.0}
    return Recording(
        facts=facts(name, n, start_h), station="Loader 2", cycles=table, sensor=sensor(),
        settings={k: SettingInForce(value_kpa=v, source="edges") for k, v in used.items()}, air_saving=True,
        ambient_kpa=ambient[0], ambient_u_kpa=ambient[1], ambient_source=ambient[2], leak=leak,
        first_code=first_code,
    )  # fmt: skip


def facts(name: str, n: int, start_h: float) -> LogFacts:
    """Facts of a log that starts `start_h` hours after the first."""
    return LogFacts(
        log_id=name, source=f"{name}.csv", rows_read=800 * n, rows_used=800 * n, rejections=(),
        start_time_us=START_US + int(start_h * 3.6e9), duration_s=4.0 * n, interval_median_s=0.005,
        interval_p95_s=0.005, interval_max_s=0.006, quantisation_kpa=0.05, gaps=(), clock_steps=(), warnings=(),
    )  # fmt: skip


def sensor(interval_s: float = 0.005) -> SensorFacts:
    """A usual sensor."""
    return SensorFacts(
        sample_interval_s=interval_s, noise_kpa=0.1, quantisation_kpa=0.05, spike_share=0.0, range_low_kpa=-90.0,
        range_high_kpa=1.0, clipped_low_share=0.0, clipped_high_share=0.0, stuck_cycles=0,
    )  # fmt: skip


def _autoregressive(rng: np.random.Generator, n: int, fade: float) -> Floats:
    """Unit variance, correlation `fade` between neighbours, in its steady state from the first value on."""
    steps = rng.normal(size=n) * np.sqrt(1.0 - fade**2)
    out = np.empty(n)
    out[0] = steps[0] / np.sqrt(1.0 - fade**2)
    for k in range(1, n):
        out[k] = fade * out[k - 1] + steps[k]
    return out


def _batches(rng: np.random.Generator, n: int, scene: Scene) -> tuple[NDArray[np.int32], Floats]:
    """Part types in batches of some five cycles, and the rise of the decay rate that goes with each cycle."""
    labels, rise = np.zeros(n, np.int32), np.zeros(n)
    if not scene.parts:
        return labels, rise
    chances = np.array([share for _, share in scene.parts.values()])
    rises = np.array([up for up, _ in scene.parts.values()])
    done = 0
    while done < n:
        length = int(rng.geometric(0.2))
        labels[done : done + length] = rng.choice(len(chances), p=chances / chances.sum())
        done += length
    return labels, rises[labels]
