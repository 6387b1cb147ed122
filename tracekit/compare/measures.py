"""The measures that can be compared: which way is better, what governs them, what they are adjusted for."""

from typing import Literal

from tracekit.frozen import dataclass
from tracekit.model.comparison import Direction, Recording
from tracekit.options.compare import CompareOptions

Resolution = Literal["time", "pressure", "rate", "count", "flow"]
Rows = Literal["held", "gripped", "whole"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A column of cycles as the comparison treats it.

    better      the direction that is better
    resolution  what limits its digits: a sample's time, the sensor's step, one count, or a rate
    rows        held: held cycles; gripped: held and dropped; whole: all but incomplete ones
    governed_by settings that move it by themselves
    zero        the sensor's zero is taken off where the zeros of both sides differ
    depth       it scales with ambient pressure as the deepest possible vacuum does
    leak        it scales with ambient pressure as a leak does
    watched     always compared, and none of these may be worse if an improvement is to be demonstrated
    distance    compared is the distance from zero
    from_vacuum it grows with the vacuum that there is to fill at the release
    through     air has to pass between sensor and cup for it: behind a clogged filter the sensor sees its own hose
    """

    column: str
    unit: str
    better: Direction
    resolution: Resolution
    rows: Rows = "held"
    governed_by: tuple[str, ...] = ()
    zero: bool = False
    depth: bool = False
    leak: bool = False
    watched: bool = True
    distance: bool = False
    from_vacuum: bool = False
    through: bool = False


_BAND = ("supply_off", "supply_on")

MEASURES: tuple[Measure, ...] = (
    Measure(column="decay_rate_kpa_s", unit="kPa/s", better="lower", resolution="rate", leak=True),
    Measure(column="leak_rate_pa_m3_s", unit="Pa·m³/s", better="lower", resolution="flow", leak=True),
    Measure(column="evacuation_time_s", unit="s", better="lower", resolution="time", rows="gripped",
            governed_by=("set_point",), through=True),
    Measure(column="seal_time_s", unit="s", better="lower", resolution="time", rows="gripped",
            governed_by=("set_point",), watched=False, through=True),
    Measure(column="pump_time_constant_s", unit="s", better="lower", resolution="time", rows="gripped", through=True),
    Measure(column="ultimate_vacuum_kpa", unit="kPa", better="higher", resolution="pressure", zero=True, depth=True),
    Measure(column="hold_vacuum_kpa", unit="kPa", better="higher", resolution="pressure", governed_by=_BAND,
            zero=True),
    Measure(column="hold_min_vacuum_kpa", unit="kPa", better="higher", resolution="pressure", governed_by=_BAND,
            zero=True),
    Measure(column="response_delay_s", unit="s", better="lower", resolution="time", rows="whole", through=True),
    Measure(column="supply_switches", unit="", better="lower", resolution="count", governed_by=_BAND),
    Measure(column="supply_on_time_s", unit="s", better="lower", resolution="time",
            governed_by=("set_point", *_BAND)),
    Measure(column="release_time_s", unit="s", better="lower", resolution="time", from_vacuum=True, through=True),
    Measure(column="residual_vacuum_kpa", unit="kPa", better="lower", resolution="pressure", zero=True, through=True),
    Measure(column="chatter_edges", unit="", better="lower", resolution="count",
            governed_by=("set_point", "reset_point")),
    Measure(column="noise_kpa", unit="kPa", better="lower", resolution="pressure", rows="whole"),
    Measure(column="open_cup_vacuum_kpa", unit="kPa", better="lower", resolution="pressure", rows="whole",
            zero=True, watched=False),
    Measure(column="idle_vacuum_kpa", unit="kPa", better="lower", resolution="pressure", rows="whole",
            watched=False, distance=True),
)  # fmt: skip

RATES: dict[str, str] = {
    "drop_share": "cycles in which the part was lost",
    "miss_share": "cycles in which nothing was gripped",
    "chatter_share": "cycles with more output edges than belong there",
}
CLAIM_RATES = ("drop_share", "miss_share")

BEHIND: dict[str, str] = {
    **dict.fromkeys(
        ("leak_steady", "leak_part_dependent", "check_valve_leak", "release_valve_leak", "seal_lost_partly"),
        "decay_rate_kpa_s",
    ),
    **dict.fromkeys(("exhaust_restricted", "supply_pressure_low"), "pump_time_constant_s"),
    **dict.fromkeys(
        ("supply_pressure_dips", "set_point_too_high", "set_point_too_low", "timeout_too_short"), "evacuation_time_s"
    ),
    **dict.fromkeys(("release_weak", "release_slow", "valves_overlap"), "release_time_s"),
    **dict.fromkeys(("supply_short_cycling", "supply_band_too_narrow"), "supply_switches"),
    **dict.fromkeys(("supply_never_cuts", "supply_off_unreachable"), "supply_on_time_s"),
    **dict.fromkeys(("switch_chatter", "hysteresis_too_small", "supply_on_below_reset"), "chatter_share"),
    **dict.fromkeys(("sensor_noisy", "supply_pulsation"), "noise_kpa"),
    "collision_or_peel": "drop_share",
    "part_dropped": "drop_share",
    "part_not_presented": "miss_share",
    "part_missed": "miss_share",
    "flow_restricted": "open_cup_vacuum_kpa",
    "supply_valve_slow": "response_delay_s",
    "sensor_slow": "response_delay_s",
    "motion_dips": "hold_min_vacuum_kpa",
    "sensor_zero_shift": "idle_vacuum_kpa",
    "supply_valve_passing": "idle_vacuum_kpa",
}
DEFAULT_PRIMARY = "decay_rate_kpa_s"


def measure_named(column: str) -> Measure | None:
    """The measure of a column of cycles, None where it is not compared."""
    return next((m for m in MEASURES if m.column == column), None)


def resolution_of(measure: Measure, before: Recording, after: Recording, options: CompareOptions) -> float:
    """The smallest difference that the coarser of two recordings can show, in the measure's unit."""
    if measure.resolution == "count":
        return 1.0
    if measure.resolution == "rate":
        return options.margin_rate_kpa_s
    if measure.resolution == "time":
        return max(before.sensor.sample_interval_s, after.sensor.sample_interval_s)
    if measure.resolution == "pressure":
        return max(before.sensor.quantisation_kpa, after.sensor.quantisation_kpa)
    volumes = [r.volume_ml for r in (before, after) if r.volume_ml is not None]
    return options.margin_rate_kpa_s * min(volumes, default=0.0) * 1e-3
