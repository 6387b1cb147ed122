"""Typical levels and scatter of the measures, for a plan without a pilot log: common practice, no source.

`scatter` is the standard deviation between cycles over the level, `worth` how many independent cycles one cycle is.
"""

from tracekit.frozen import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Typical:
    """One measure at a usual station."""

    level: float
    scatter: float
    worth: float = 0.4


TYPICAL: dict[str, Typical] = {
    "decay_rate_kpa_s": Typical(level=5.0, scatter=0.10),
    "leak_rate_pa_m3_s": Typical(level=0.3, scatter=0.10),
    "evacuation_time_s": Typical(level=0.3, scatter=0.06),
    "seal_time_s": Typical(level=0.25, scatter=0.06),
    "pump_time_constant_s": Typical(level=0.15, scatter=0.05),
    "ultimate_vacuum_kpa": Typical(level=80.0, scatter=0.006),
    "hold_vacuum_kpa": Typical(level=66.0, scatter=0.015),
    "hold_min_vacuum_kpa": Typical(level=60.0, scatter=0.03),
    "response_delay_s": Typical(level=0.02, scatter=0.15),
    "supply_switches": Typical(level=4.0, scatter=0.25),
    "supply_on_time_s": Typical(level=0.5, scatter=0.10),
    "release_time_s": Typical(level=0.09, scatter=0.08),
    "residual_vacuum_kpa": Typical(level=2.0, scatter=0.3),
    "chatter_edges": Typical(level=4.0, scatter=0.5),
    "noise_kpa": Typical(level=0.1, scatter=0.1),
    "open_cup_vacuum_kpa": Typical(level=8.0, scatter=0.05),
    "idle_vacuum_kpa": Typical(level=0.5, scatter=0.3),
}
TYPICAL_SHARES: dict[str, float] = {"drop_share": 0.02, "miss_share": 0.02, "chatter_share": 0.1}
