"""Thresholds of segmentation: from samples to wiring, cycles and periods."""


from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentOptions:
    """Thresholds of segmentation."""

    head_rows: int = option(524_288, "rows", "wiring and thresholds are learned from at most this much of a log")
    chunk_rows: int = option(524_288, "rows", "samples analysed together; bounds memory, changes no bit of a result")
    carry_rows: int = option(8_000_000, "rows", "an attempt longer than this is closed as incomplete")
    lead_s: float = option(1.0, "s", "samples kept before a cycle, for its idle level")
    lead_least_samples: int = option(16, "samples", "at least so many are kept, where samples are far apart or pause")
    idle_window_s: float = option(0.06, "s", "stretch before the supply command that tells the sensor's zero")
    filter_s: float = option(0.02, "s", "width of the moving mean behind peak, hold and crossing values")
    rest_most: float = option(
        2.0, "factor", "most noise of a log with samples farther apart than that, over its noise with all valves off"
    )
    release_gap_s: float = option(0.1, "s", "a release this soon after the last supply-off belongs to it")
    hidden_release_kpa: float = option(4.0, "kPa", "this far under supply_on the supply would have resumed")
    hidden_release_s: float = option(0.03, "s", "a blow-off that is not logged begins so long before vacuum has fallen")
    coast_alone_s: float = option(
        0.3,
        "s",
        "vacuum held so long after a supply-off is a coast, also where no release is logged: blow-offs follow "
        "suction within 0.1 s and have emptied the cup by then",
    )
    let_go_to: float = option(0.25, "share", "a part has been let go where vacuum is down to this share of the cut's")
    given_up_kpa: float = option(1.0, "kPa", "a supply cut this far under the set point, before the output, ends a try")
    lost_share: float = option(0.6, "unitless", "vacuum under this share of the cycle's peak counts as lost")
    cut_before_grip_s: float = option(0.1, "s", "a set point over supply_off is reached so soon after a cut, or never")
    falling_share: float = option(0.92, "unitless", "vacuum under this share of a moment ago is falling, not standing")
    fall_s: float = option(0.05, "s", "the moment ago")
    usual_fall: float = option(
        1.25, "factor", "a leak empties a hold no faster than this, times the fastest fall that vacuum came back from"
    )
    answers_s: float = option(0.01, "s", "no machine ends suction sooner after it has seen that the output went off")
    order_interval_s: float = option(0.0101, "s", "samples farther apart do not show that a fall came before a valve")
    open_share: float = option(0.5, "unitless", "a pick whose vacuum stays under this share of a usual peak is missed")
    gripped_share: float = option(0.8, "unitless", "where no set point is known a hold begins here, of its peak")
    low_share: float = option(0.25, "unitless", "vacuum under this share of a usual peak is nearly none")
    low_time_s: float = option(0.2, "s", "this long without vacuum before a supply-on, and a new attempt begins")
    gap_intervals: float = option(8.0, "sample intervals", "a longer pause between samples is a gap")
    gap_least_s: float = option(0.15, "s", "no pause shorter than this is a gap")
    bin_s: float = option(0.01, "s", "shortest bin of the averaged trace")
    bins_most: int = option(48, "bins", "most bins per period")
    spike_sigmas: float = option(8.0, "sigma", "a single sample this far from agreeing neighbours is a spike")
    spike_least_kpa: float = option(1.0, "kPa", "no smaller deviation is called a spike")
    sudden_s: float = option(0.15, "s", "a fall from 0.8 to 0.4 of the peak within this time is a sudden loss")
    gradual_s: float = option(0.3, "s", "one that takes at least this long is gradual; between the two it is neither")
    strip_buckets: int = option(4096, "buckets", "resolution of the strip of the whole recording")
    contact_least_samples: int = option(3, "samples", "an open-cup stretch shorter than this does not show")
    passing_kpa: float = option(0.1, "kPa", "vacuum that passes supply_off has risen by more in the moment before")
    saw_least_kpa: float = option(1.0, "kPa", "a smaller rise or fall is no tooth of air saving")
    saw_cycles: int = option(200, "cycles", "so many tell whether the device saves air behind a logged request")
    saw_share: float = option(0.3, "share of holds", "fewer with a tooth are no air saving by the device itself")
    saw_kink_s: float = option(0.05, "s", "a cut supply stops a rise that this long before was still under way")
    saw_level_kpa: float = option(1.2, "kPa", "turning points of air saving lie at one level within this")
    saw_fall_s: float = option(0.3, "s", "a fall that is shorter is a dip of the motion, not a coast")
    saw_late_s: float = option(0.15, "s", "vacuum turns at most so long after it has passed supply_off, or was not cut")
    saw_lopsided: float = option(1.4, "factor", "between rise and fall of teeth; a swing of the generator has none")
    saw_regular: float = option(0.3, "share", "of their length, by which two in three teeth differ at most")
    saw_locked: float = option(0.2, "share", "of a tooth's length, by which its first cut comes earlier or later")
    saw_missed: float = option(0.25, "share", "of their height, by which levels of teeth lie inside their usual turns")
    saw_standing: float = option(
        0.5, "share of samples", "in the upper third of teeth: a triangle has a third, dips of a steady hold far more"
    )
