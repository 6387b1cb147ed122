"""Thresholds of the measures."""


from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureOptions:
    """Thresholds of the measures."""

    onset_least_noise: float = option(
        8.0, "sigmas", "an open-cup vacuum must stand out of the noise by this to tell the onset of the response"
    )
    onset_least_kpa: float = option(1.0, "kPa", "an open-cup vacuum below is none to time the response by")
    late_hidden_s: float = option(
        0.05, "s", "lag of the digitals that the delay of valve and sensor may hide (common practice: 10 to 50 ms)"
    )
    level_step_kpa: float = option(5.0, "kPa", "grid of vacuum levels whose crossing times are kept per cycle")
    level_most_kpa: float = option(95.0, "kPa", "highest level of that grid")
    coarse_interval_s: float = option(0.008, "s", "from this sample interval on crossings use raw readings")
    coast_settle_s: float = option(0.06, "s", "start of a coast that valve, sensor and evening out may still shape")
    coast_least_samples: int = option(6, "samples", "a coast with fewer is not measured")
    fit_from: float = option(0.25, "share of peak", "evacuation is fitted from here")
    fit_to: float = option(0.97, "share of peak", "to here")
    fit_least_samples: int = option(6, "samples", "fewer samples give no time constant")
    noise_samples: int = option(256, "samples", "at most this many tell a cycle's noise")
    noise_corner_s: float = option(
        0.0201, "s", "samples farther apart show every cut of the supply as a corner, which is no noise"
    )
    idle_noise_s: float = option(0.3, "s", "stretch before the supply command that tells the noise with all valves off")
    idle_look_s: float = option(0.8, "s", "stretch before the supply command in which vacuum may rise with nothing on")
    idle_rise_kpa: float = option(1.0, "kPa", "vacuum that rises by less with nothing on is wander or noise")
    prompt_share: float = option(
        0.9, "share", "of the vacuum of a moment before that is left at a release command which is not written late"
    )
    idle_settle_s: float = option(0.15, "s", "the end of a blow-off is over this long after its command")
    settled_tau: float = option(4.0, "time constants", "supply on for so long after the set point shows the ultimate")
    end_gain_kpa: float = option(
        1.0,
        "kPa",
        "most that the last time constant before the cut may have added where an end is extrapolated: others are 4 to "
        "12 kPa off, either way (simulated stations)",
    )
    open_least_s: float = option(0.03, "s", "a shorter stretch between two rises is no open cup but a bend of one")
    open_least_samples: int = option(3, "samples", "nor is one of fewer")
    open_flat: float = option(0.35, "share of slope", "an open-cup stretch is flatter than this share of evacuation")
