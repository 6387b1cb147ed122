"""Every threshold of the leak estimator: default, unit, reason."""

from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakOptions:
    """Thresholds of `tracekit.measure.leak`."""

    ref_vacuum_kpa: float = option(60.0, "kPa", "vacuum at which leaks are compared; every station passes it")
    ref_least_kpa: float = option(2.0, "kPa", "least absolute pressure that a reference vacuum may leave")
    fit_coasts: int = option(
        400, "", "coasts that share the search for wall exchange, windows and form; more add nothing"
    )
    whole_coasts: int = option(40, "", "coasts on which all wall exchanges are tried: few make wide valleys")
    window_coasts: int = option(160, "", "coasts that the search for motion windows uses")
    zero_cycles: int = option(9, "", "cycles over which the sensor's zero is smoothed by a median")
    zero_most_kpa: float = option(10.0, "kPa", "idle readings beyond this are vacuum left by a weak release, no zero")
    settle_s: float = option(
        0.020, "s", "left out after the pooled pressure minimum: the valve's gulp and the sensor's lag"
    )
    settle_samples: float = option(2.5, "", "the same in samples, for slow logs")
    settle_most_s: float = option(1.0, "s", "latest pressure minimum after the cut: a sensor of 0.15 s follows by then")
    settle_rise_kpa: float = option(0.1, "kPa", "rise of the pooled pressure that shows that its minimum has passed")
    settle_usual_s: float = option(0.06, "s", "pressure minimum up to which valve and generator alone explain it")
    settle_share: float = option(
        0.5, "", "share of a later minimum left out beyond it: a lag θ puts it at some 5 θ, and 2 θ leave an eighth"
    )
    lost_share: float = option(0.8, "", "a vacuum below this share of the reset point is a loss of grip, no coast")
    lost_margin_s: float = option(0.1, "s", "left out before a loss of grip")
    bins_per_piece: int = option(4, "", "fewest bins of an uninterrupted stretch that can tell a slope")
    bins_per_cycle: int = option(6, "", "fewest bins of a cycle that yield a rate")
    window_step_s: float = option(0.1, "s", "step of the search for motion windows")
    window_most_s: float = option(0.4, "s", "longest window after part present and before release that is tried")
    window_late_s: float = option(1.2, "s", "latest start of the lift after part present, where it has a fixed time")
    window_again_s: float = option(0.3, "s", "length of a second window after the lift's, where the machine moves on")
    window_late_z: float = option(6.0, "", "excess misfit of the bins of a late window, in its standard deviations")
    window_late_gain: float = option(0.85, "", "misfit outside a late window over the misfit with it")
    window_z: float = option(2.0, "", "rise of the misfit, in its standard deviations, that shows motion in a window")
    window_margin_s: float = option(0.05, "s", "added to both windows, because a test misses the last of a motion")
    step_s: float = option(
        0.3, "s", "longest step of the pressure in mid-coast, where lips open for a moment: 0.1 to 0.3 s as at a lift"
    )
    step_z: float = option(
        6.0, "", "excess over the fall on both sides, in standard deviations, that shows a step: coasts are many"
    )
    step_least_kpa: float = option(0.05, "kPa", "steps below this are left to what all coasts share beyond the model")
    rating_ratio: float = option(8.0, "", "cycles whose misfit exceeds this multiple of the usual get no rate")
    window_keep: float = option(0.9, "", "share of the cycles that windows must leave a rate")
    tau_prior_s: float = option(
        0.15, "s", "middle of the prior of the wall exchange; 4 mm hose 0.01 s, 30 mm cup 0.6 s"
    )
    tau_prior_sd: float = option(0.7, "ln", "its standard deviation in ln τ")
    tau_least_s: float = option(0.015, "s", "shortest wall exchange that is tried")
    tau_most_s: float = option(1.5, "s", "longest wall exchange that is tried")
    negative_soft_kpa_s: float = option(
        0.05, "kPa/s", "models whose median leak is negative by more than this are ruled out"
    )
    walls_ruled_out: float = option(
        6.0, "ln", "spreads that are less likely than the best by more than this are dropped"
    )
    walls_most: int = option(15, "", "most time constants tried at one spread in the last grid")
    variance_least: float = option(0.1, "", "residual variance is not believed below this: a reading can stand still")
    memory_mean: float = option(
        0.03, "", "middle of the prior of α − 1: resistance between sensor and cup hides some of the cooling"
    )
    memory_sd: float = option(0.10, "", "standard deviation of the amplitude of the gas's history about that")
    memory_sd_slow_1_s: float = option(
        2.0, "1/s", "what a sampling interval adds to it: slow logs see little of the evacuation"
    )
    temper: float = option(1.4, "", "divides log-likelihoods: the model is simpler than the station")
    misfit_usual: float = option(
        2.5, "", "misfit of the mean coast, over what scatter allows, up to which its bins may be taken as independent"
    )
    misfit_power: float = option(
        1.5,
        "",
        "growth of what divides log-likelihoods beyond it: pores told as a hole had misfits of 3.7 to 7.3 (simulated)",
    )
    slow_residuals: float = option(3.0, "", "inflation of the residuals' slow part from which it is said")
    temper_slow_s: float = option(0.02, "s", "sampling interval at which bends between samples cost as much again")
    outlier_ratio: float = option(4.0, "", "cycles whose misfit exceeds this multiple of the median are set aside")
    fewest_in_group: int = option(3, "", "fewest cycles that make a group of their own")
    group_gap_noise: float = option(4.0, "", "width of the empty stretch between groups over the noise of a rate")
    group_gap_share: float = option(0.35, "", "the same over the distance of the groups' medians")
    group_gap_inside: float = option(3.0, "", "the same over the longest empty stretch to expect inside a group")
    group_apart_kpa_s: float = option(0.7, "kPa/s", "least distance of the medians; healthy cycles scatter by less")
    context_agrees: float = option(0.95, "", "share of cycles on which a context column must agree with the groups")
    decided: float = option(0.9, "", "probability of a form from which the mechanism counts as found")
    ambient_share_kpa: float = option(0.003, "1/kPa", "relative change of a rate per kPa of error in ambient or zero")
    zero_u_kpa: float = option(
        0.1, "kPa", "standard uncertainty of the sensor's zero beside what the idle readings show"
    )
    gain_u: float = option(
        0.006, "", "relative standard uncertainty of a pressure sensor's slope; it cannot be seen in a log"
    )
    model_u: float = option(
        0.005, "", "relative standard uncertainty that one gas volume with one wall exchange leaves"
    )
    model_u_slow_1_s: float = option(0.3, "1/s", "what a sampling interval adds to it: bends in between are not seen")
    model_u_deep: float = option(
        0.02, "1/ln", "what a coast's rise in ln P adds: rates differ by 2 % of it between walls that convect, whose "
        "time goes with √x, and gas that conducts, whose time goes with x, and forms are told less surely (simulated)"
    )  # fmt: skip
    shrink_1_kpa: float = option(
        0.0003, "1/kPa", "relative change of a rate per kPa that the reference lies beyond the coasts' vacuum, beside "
        "the forms and the shares by which a volume gives way: both are taken as the same at every vacuum (no source)"
    )  # fmt: skip
    far_kpa: float = option(
        8.0, "kPa", "how far beyond the coasts' vacuum the reference may lie before another one is advised: pores and "
        "choked holes differ by some 6 % over it"
    )  # fmt: skip
    motion_kpa: float = option(
        0.006, "kPa", "standard uncertainty of the vacuum that motion outside the windows costs in a coast"
    )
    motion_unseen_kpa: float = option(
        0.3, "kPa", "the same where holds are too short to see its end: an acceleration costs 0.1 to 1.2 kPa in all"
    )
    line_share: float = option(
        0.015, "", "share of the distance to the straight line that enters the uncertainty beside what residuals show"
    )
    line_strain: float = option(6.0, "", "growth of that share per prior standard deviation that α is off")
    settle_kpa: float = option(
        0.05, "kPa", "what valve and volumes may still settle where a coast is first used (no source)"
    )
    shape_kpa: float = option(
        0.004, "kPa", "standard uncertainty of the mean coast's shape, 0.05 % of a rise of 8 kPa, however low the noise"
    )
    tail_share: float = option(
        0.015,
        "",
        "share of the gas's warming that one wall exchange for volumes of several leaves in its shape: beside long "
        "tails it bends a coast as much as pores do (simulated)",
    )
    narrow_kpa: float = option(
        3.0, "kPa", "rise of a later coast below which the transitions of valve and generator shape much of it"
    )
    narrow_share: float = option(
        0.3, "", "what is added to line_share where all coasts are later ones of a hold that rise by nothing"
    )
    fall_least_kpa_s: float = option(
        15.0, "kPa/s", "short coasts that fall slower may be warming gas alone and bound no leak (common practice)"
    )
    fall_warming_kpa_s: float = option(5.0, "kPa/s", "of a short coast's fall that warming gas may add (no source)")
    fall_quick: float = option(
        1.4, "factor", "a fall without exchange of heat over one at constant temperature: the ratio of heats of air"
    )
    fewest_cycles: int = option(5, "", "fewest cycles with a rate that make a log's value")
    lacking_share: float = option(0.10, "", "share of held cycles without a rate from which the interval is widened")
    bound_share: float = option(0.25, "", "share of held cycles without a rate from which only a lower bound is given")
    small_rate_kpa_s: float = option(0.3, "kPa/s", "below it per cent say nothing; the upper limit is what counts")
    weak_kpa_s: float = option(
        1.0, "kPa/s", "upper limit up to which a leak too uncertain for a value is bounded, not withheld (no source)"
    )
    change_ratio: float = option(
        1.14, "", "true change of leak over (rise of the ultimate pressure)/τ, middle of 0.84–1.44"
    )
    change_weather_kpa: float = option(
        1.0, "kPa", "ambient pressure from one day to another at one site, as a standard uncertainty (common practice)"
    )
    change_ratio_u: float = option(0.17, "", "its standard uncertainty: rectangular over 0.84–1.44")
    change_tau_share: float = option(0.25, "", "change of τ from which supply or exhaust must have changed as well")
    change_supply_share: float = option(
        0.002, "", "standard deviation of the ultimate vacuum from one log to the next by the supply's own changes"
    )
    change_open_share: float = option(0.12, "", "fall of the open cup's vacuum from which the supply has changed")
    change_open_kpa: float = option(0.5, "kPa", "the same in kPa: smaller falls are steps and noise")
    change_cycles: int = option(5, "", "fewest cycles of each log with an ultimate vacuum")
    withhold_share: float = option(
        0.5, "", "distance of an interval's farther end over the value from which rates above small ones are withheld"
    )
