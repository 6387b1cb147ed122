"""Thresholds of the comparison, of the plan and of the volume from two decays."""


from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class CompareOptions:
    """How two recordings are compared. `one_sided` and `equivalence` are the error rates that the claim rests on."""

    level: float = option(0.95, "1", "coverage of the intervals")
    one_sided: float = option(0.025, "1", "error rate of better and worse, one-sided")
    equivalence: float = option(
        0.025, "1", "level of the two one-sided tests: the 95 % interval lies within the margin; at the margin's edge "
        "some 3 to 5 in 100 are then wrong by simulation, with drift, part mix and few independent cycles"
    )  # fmt: skip
    margin_share: float = option(0.10, "1", "margin as a share of the median before, where no plan gives one")
    margin_rate_kpa_s: float = option(0.1, "kPa/s", "smallest margin of a decay rate: below it rates say nothing")
    margin_share_points: float = option(0.01, "1", "margin of drop, miss and chatter shares: one cycle in a hundred")
    power: float = option(0.8, "1", "chance of a decision that cycles_needed aims at")
    scatter_doubt: float = option(0.2, "1", "chance that the scatter is larger than cycles_needed and plan reckon with")
    widening: float = option(1.25, "1", "intervals are this much wider than with a known scatter; by simulation")
    most_cycles: int = option(100_000, "cycles", "more cycles than this are no answer")
    fewest_cycles: int = option(8, "cycles", "fewer values than this on a side give no interval")
    fair_cycles: int = option(30, "cycles", "fewer cycles than this on a side are named as an obstacle")
    day_share: float = option(
        0.01, "1", "standard deviation between days and of drift longer than a log, as a share of the median, "
        "weather left out; common practice, no source; "
        "logs of several days replace it where they scatter more"
    )  # fmt: skip
    weather_kpa: float = option(1.2, "kPa", "standard deviation of the ambient pressure between two days, if not known")
    flow_exponent: float = option(1.2, "1", "a leak grows with this power of ambient: 1 through a hole, 1.4 pores")
    flow_exponent_u: float = option(0.15, "1", "its standard uncertainty, which spans hole and pores")
    ambient_differs_kpa: float = option(0.5, "kPa", "ambients further apart than this are adjusted for")
    zero_differs_kpa: float = option(0.3, "kPa", "zeros further apart than this are adjusted for")
    setting_differs_kpa: float = option(0.6, "kPa", "settings further apart than this are named as an obstacle")
    release_vacuum_share: float = option(0.03, "1", "vacua at release further apart than this share: unlike")
    sampling_ratio: float = option(1.5, "1", "sampling intervals further apart than this factor are named")
    open_cup_share: float = option(0.12, "1", "open-cup vacua further apart than this share point to another suction")
    lacking_share: float = option(0.10, "1", "share of held cycles without a rate from which it is said")
    gap_share: float = option(0.02, "1", "share of a recording that gaps may take before they are named")
    warm_up_cycles: int = option(10, "cycles", "first cycles held against the rest, for warm-up")
    warm_up_z: float = option(3.5, "1", "standard errors by which they must differ")
    part_cycles: int = option(5, "cycles", "fewest cycles of a part type on each side that can be matched")
    part_types: int = option(20, "values", "a column with more values than this is a number, not a part type")
    mix_differs: float = option(0.05, "1", "difference of the part mix, in total variation, from which it is named")


@dataclass(frozen=True, slots=True, kw_only=True)
class SerialOptions:
    """Prior of the serial correlation: a share of the scatter that fades with the distance in cycles, on white noise.

    The weights were chosen by simulation, so that intervals of differences of medians cover 93 to 97 in 100 over
    independent cycles, correlated cycles, part types in batches and slow drift.
    """

    white: float = option(0.3, "1", "prior probability of independent cycles")
    time_constants: tuple[float, ...] = option(
        (0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0), "cycles", "time constants that are tried, up to half the log"
    )
    shares: tuple[float, ...] = option(
        (0.05, 0.1, 0.2, 0.35, 0.5, 0.7, 0.85, 1.0), "1", "shares of the scatter that is correlated"
    )
    time_weight: float = option(0.0, "1", "a time constant is believed in by its power to minus this")
    share_weight: float = option(1.0, "1", "a share s is believed in by (1.05 - s) to this power")
    most_points: int = option(2048, "cycles", "longer series are averaged in blocks first; slow changes remain")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanOptions:
    """How many cycles, how fast, when to look."""

    power: float = option(0.8, "1", "chance of showing the stated change")
    samples_per_event: float = option(10.0, "samples", "samples in the shortest event that a measure rests on")
    margin_samples: float = option(5.0, "samples", "sample intervals in the margin of a time")
    slowest_s: float = option(0.005, "s", "slowest sampling asked for: 200 Hz is the useful minimum, common practice")
    fewest_cycles: int = option(30, "cycles", "fewer cycles than this are never asked for")


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeOptions:
    """Volume from two decays."""

    discharge_low: float = option(0.6, "1", "lowest discharge coefficient of a hole of unknown edge")
    discharge_high: float = option(1.0, "1", "highest one")
    orifice_u_share: float = option(0.03, "1", "relative standard uncertainty of a stated sonic conductance")
    discharge_u: float = option(0.02, "1", "standard uncertainty of a stated discharge coefficient")
    diameter_u_mm: float = option(0.01, "mm", "standard uncertainty of the hole's diameter")
    gain_u: float = option(0.006, "1", "relative standard uncertainty of the sensor's slope; no log shows it")
    time_u: float = option(1e-4, "1", "relative standard uncertainty of the recorder's clock")
    settle_s: float = option(0.5, "s", "left out after the supply closes: gas warms, volumes even out, valve gulps")
    least_ratio: float = option(3.0, "1", "below this ratio of the two rates the own leak decides too much")
    bin_s: float = option(0.05, "s", "samples are averaged over this before a decay is fitted")
    least_span_kpa: float = option(2.0, "kPa", "a decay must fall this far with the orifice in place")
