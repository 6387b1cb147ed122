"""Made-up decays with the cup on a plate: the pressure is integrated step by step, apart from the package's formulas."""

from dataclasses import dataclass

import numpy as np

from tests.compare.compared_stations import facts, sensor
from tracekit.model.cycle import Bins, StationData, Strip, Wiring
from tracekit.model.tables import CYCLES, EDGES, OUTCOMES, PERIOD_KINDS, PERIODS, make_table
from tracekit.model.trace import LogFacts

GAS_CONSTANT, REFERENCE_K = 287.05, 293.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """A station with its cup on a plate.

    own_kpa_s     rate of the own leak while choked, or into perfect vacuum for pores [kPa/s]
    conductance   of the extra orifice [dm³/(s·bar)], 0 where it is closed
    """

    volume_ml: float = 60.0
    own_kpa_s: float = 0.5
    porous: bool = False
    conductance: float = 0.0
    critical_ratio: float = 0.4
    ambient_kpa: float = 101.0
    temperature_c: float = 20.0
    start_vacuum_kpa: float = 85.0
    seconds: float = 12.0
    noise_kpa: float = 0.05
    zero_kpa: float = 0.0


def subsonic(ratio: float, b: float) -> float:
    """ISO 6358 ellipse, written out."""
    return 1.0 if ratio <= b else float(np.sqrt(max(0.0, 1.0 - ((ratio - b) / (1.0 - b)) ** 2)))


def absolute_pressure(plate: Plate, times_s: np.ndarray) -> np.ndarray:
    """Absolute pressure at rising times [kPa], by small steps of Euler's rule in 1 ms."""
    kelvin = plate.temperature_c + 273.15
    flow = plate.conductance * 1e-8 * 1e5 * plate.ambient_kpa * 1e3 * np.sqrt(kelvin / REFERENCE_K)
    by_orifice = flow / (plate.volume_ml * 1e-6) / 1e3
    pressure, at, out = plate.ambient_kpa - plate.start_vacuum_kpa, 0.0, []
    for time in times_s:
        while at < time:
            ratio = pressure / plate.ambient_kpa
            own = (1.0 - ratio**2) if plate.porous else subsonic(ratio, 0.35)
            pressure += 1e-3 * (plate.own_kpa_s * own + by_orifice * subsonic(ratio, plate.critical_ratio))
            at += 1e-3
        out.append(pressure)
    return np.array(out)


def station(plate: Plate, decays: int = 6, seed: int = 1) -> StationData:
    """Six decays, each averaged into 48 bins, with idle readings that tell the zero."""
    rng = np.random.default_rng(seed)
    inside = np.linspace(0.05, plate.seconds, 48)
    curve = absolute_pressure(plate, inside)
    period = plate.seconds + 5.0
    readings = np.concatenate([curve - plate.ambient_kpa - plate.zero_kpa + rng.normal(0, plate.noise_kpa / 5, 48)
                               for _ in range(decays)])  # fmt: skip
    which = np.repeat(np.arange(decays), 48).astype(np.int32)
    starts = 3.0 + period * np.arange(decays)
    cycles = make_table(
        CYCLES,
        {"outcome": np.zeros(decays, np.int32), "idle_vacuum_kpa": np.full(decays, plate.zero_kpa)},
        {"outcome": OUTCOMES},
    )
    kinds = np.full(decays, PERIOD_KINDS.index("coast"), np.int32)
    periods = make_table(
        PERIODS, {"kind": kinds, "start_s": starts, "end_s": starts + plate.seconds}, {"kind": PERIOD_KINDS}
    )
    bins = Bins(cycle=which, period=which, time_s=starts[which] + np.tile(inside, decays), pressure_kpa=readings,
                samples=np.full(len(which), 25, np.int32))  # fmt: skip
    nothing = np.zeros(0)
    return StationData(
        station="Loader 2", cycles=cycles, periods=periods, edges=make_table(EDGES, {"time_s": nothing}, {}),
        bins=bins, strip=Strip(time_s=nothing, lowest_kpa=nothing, highest_kpa=nothing), excerpts=(),
        sensor=sensor(), wiring=Wiring(supply_on_level=1, release_on_level=1, present_on_level=1, evidence={}),
        settings={}, cycle_settings={}, air_saving=False, ambient_kpa=plate.ambient_kpa, ambient_u_kpa=0.15,
        ambient_source="station file", temperature_c=plate.temperature_c, temperature_u_c=1.0,
    )  # fmt: skip


LOGS: tuple[LogFacts, LogFacts] = (facts("closed", 6, 0.0), facts("opened", 6, 1.0))
