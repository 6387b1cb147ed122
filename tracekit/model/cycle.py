"""What the analysis of one station hands on: tables, averaged traces and facts about sensor and wiring."""

from collections.abc import Mapping
from dataclasses import field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.tables import Table


@dataclass(frozen=True, slots=True, kw_only=True)
class Bins:
    """Pressure of every cycle, averaged over short bins (10 ms and longer) that never straddle a change of command.

    All arrays have shape (n_bins,), sorted by time.
    cycle         row of the cycles table
    period        row of the periods table, which tells the kind (coast, recharge …)
    time_s        mean time of the samples in the bin [s]
    pressure_kpa  mean gauge pressure, spikes replaced, zero *not* subtracted [kPa]
    samples       number of samples averaged
    """

    cycle: NDArray[np.int32]
    period: NDArray[np.int32]
    time_s: NDArray[np.float64]
    pressure_kpa: NDArray[np.float64]
    samples: NDArray[np.integer[Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """The whole recording thinned to the lowest and highest pressure per bucket, shape (n_buckets,)."""

    time_s: NDArray[np.float64]
    lowest_kpa: NDArray[np.float64]
    highest_kpa: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Excerpt:
    """Every sample of one cycle that a picture needs. `present` is 1 while the output is logically on."""

    cycle: int
    why: str
    time_s: NDArray[np.float64]
    pressure_kpa: NDArray[np.float64]
    present: NDArray[np.int8]


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorFacts:
    """What the samples tell about the sensor and the recorder.

    noise_kpa is the robust standard deviation of single samples; `range_low_kpa` and `range_high_kpa` the lowest and
    highest readings of the log; `clipped_share` the share of samples that lie exactly at one of them in runs.
    """

    sample_interval_s: float
    noise_kpa: float
    quantisation_kpa: float
    spike_share: float
    range_low_kpa: float
    range_high_kpa: float
    clipped_low_share: float
    clipped_high_share: float
    stuck_cycles: int


PULSES = "is logged as pulses of a valve with two coils"
"""Evidence of a supply of which no level means on."""
BOTH_COILS = 'Name both in the station file: supply = { column = "...", signal = "pulse", off_column = "..." }.'


@dataclass(frozen=True, slots=True, kw_only=True)
class Wiring:
    """Which level of each digital is logically on, or None where the channel is absent or never moves."""

    supply_on_level: int | None
    release_on_level: int | None
    present_on_level: int | None
    evidence: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingInForce:
    """A threshold as the edges or the station file tell it. `source` is edges, station file or absent."""

    value_kpa: float | None
    source: str
    station_file_kpa: float | None = None
    spread_kpa: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StationData:
    """One station of one log, measured. Every later stage works on this record alone.

    settings          in-force values by name: set_point, reset_point, supply_off, supply_on (medians over the log)
    cycle_settings    the same per cycle, arrays of shape (n_cycles,), NaN where unknown [kPa]
    air_saving        the supply is cut inside holds
    rise_s, fall_s    times from the supply command (of the last try) and from the release command to the first reading
                      at each of `levels_kpa`, shape (n_cycles, n_levels), NaN where never [s]
    timing            more times per cycle [s]: try_s (supply command of the last try), release_s, release_end_s,
                      quit_s (end of suction), overlap_s (supply and release on together), first_cut_s,
                      and over_kpa (highest reading above ambient in the release, not cut off at 0) and idle_noise_kpa
                      (scatter of single samples with all valves off), idle_rise_kpa (how far vacuum had risen over
                      idle by the supply command) and tends_to_kpa (where suction went, or else the fit of the rise
                      ends, however far past the recorded vacuum: to compare cycles by) [kPa]
    usual_open_kpa    rise from idle to the open-cup vacuum, NaN where most cycles do not show it [kPa]
    from_request      the log holds a request: the supply was found in the saw-tooth of the pressure
    reading_range_kpa highest minus lowest reading of each cycle, shape (n_cycles,) [kPa]
    late_s            the most by which the digitals may have been written late, 0 where nothing shows it [s]
    """

    station: str
    cycles: Table
    periods: Table
    edges: Table
    bins: Bins
    strip: Strip
    excerpts: tuple[Excerpt, ...]
    sensor: SensorFacts
    wiring: Wiring
    settings: Mapping[str, SettingInForce]
    cycle_settings: Mapping[str, NDArray[np.float64]]
    air_saving: bool
    ambient_kpa: float
    ambient_u_kpa: float
    ambient_source: str
    temperature_c: float
    temperature_u_c: float
    notes: tuple[str, ...] = ()
    from_request: bool = False
    late_s: float = 0.0
    levels_kpa: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    rise_s: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 0)))
    fall_s: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 0)))
    reading_range_kpa: NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    usual_peak_kpa: float = float("nan")
    usual_open_kpa: float = float("nan")
    timing: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)
