"""What a station file says, every value optional. Read by `tracekit.read.station_file`."""

from collections.abc import Mapping
from dataclasses import field

from tracekit.frozen import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class StationFacts:
    """[station]: what does not change from cycle to cycle."""

    name: str | None = None
    volume_ml: float | None = None
    volume_rel_u: float = 0.10
    ambient_kpa: float | None = None
    altitude_m: float | None = None
    temperature_c: float | None = None
    timezone: str | None = None
    source: str = "ejector"
    sensor_at: str = "generator"
    cups_per_circuit: int = 1
    supply_group: str | None = None
    ref_vacuum_kpa: float = 60.0
    recording: str = "continuous"
    surroundings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """[settings]: switch and air-saving thresholds in kPa of vacuum."""

    set_point_kpa: float | None = None
    reset_point_kpa: float | None = None
    supply_off_kpa: float | None = None
    supply_on_kpa: float | None = None
    guard_kpa: float = 1.0
    adjustable: tuple[str, ...] = ("set_point", "reset_point", "supply_off", "supply_on")


@dataclass(frozen=True, slots=True, kw_only=True)
class Display:
    """[display]: how the device takes its settings."""

    unit: str = "kPa"
    step: float = 0.1
    negative: bool = False
    entry: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One entry of [channels]. A `release` that is not a column has `column` None and `internal` or `absent` set."""

    column: str | None = None
    unit: str | None = None
    sense: str | None = None
    scale: tuple[tuple[float, float], ...] = ()
    on_level: int | None = None
    signal: str = "valve"
    off_column: str | None = None
    interval_s: float | None = None
    date_order: str | None = None
    digitals_late_s: float | None = None
    internal: bool = False
    absent: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """[load]: what the grip must carry."""

    mass_kg: float | None = None
    acceleration_m_s2: float = 0.0
    cups: int = 1
    cup_diameter_mm: float | None = None
    friction: float = 0.5
    orientation: str = "horizontal"
    safety_factor: float = 2.0
    needed_vacuum_kpa: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One entry of [limits]."""

    max: float | None = None
    min: float | None = None
    severity: str = "major"


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """[price]: what compressed air costs."""

    nozzle_flow_l_min_anr: float | None = None
    energy_kwh_per_m3_anr: float | None = None
    price_per_kwh: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """A whole station file."""

    station: StationFacts = StationFacts()
    settings: Settings = Settings()
    display: Display = Display()
    channels: Mapping[str, Channel] = field(default_factory=dict)
    context: tuple[str, ...] = ()
    load: Load | None = None
    limits: Mapping[str, Limit] = field(default_factory=dict)
    price: Price | None = None
    source: str = ""


def ambient_of(station: Station) -> tuple[float, float, str]:
    """Ambient pressure, its standard uncertainty [kPa] and where it comes from.

    Absent from the file it is ISO 2533 at the given altitude, else 101.325 kPa ± 10 kPa (95 %).
    """
    facts = station.station
    if facts.ambient_kpa is not None:
        return facts.ambient_kpa, 0.15, "station file"
    if facts.altitude_m is not None:
        return 101.325 * (1.0 - 2.25577e-5 * facts.altitude_m) ** 5.25588, 1.0, "altitude"
    return 101.325, 5.1, "standard atmosphere"
