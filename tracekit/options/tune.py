"""Thresholds, quantiles and cost weights behind suggested settings."""


from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class TuneOptions:
    """What counts as safe, as reachable and as worth a change.

    The cost of a set of settings is the sum of the weighted terms below, per pick cycle. Risks weigh most; air, wear
    and time follow. The weights are common practice, no source; `--goal` multiplies one of them.
    """

    least_held: int = option(8, "cycles", "fewer held cycles tell too little of the weakest one")
    quantile: float = option(0.05, "share", "the weakest healthy cycle is this low quantile, with its confidence bound")
    sigmas: float = option(4.0, "sigma", "distance kept from noise: crossed about once in 30 000 independent readings")
    exact_kpa: float = option(0.6, "kPa", "a setting in force known to this half-width counts as known")
    answer_s: float = option(0.02, "s", "a switch answers within this time of a crossing (common practice, no source)")
    margin_open_kpa: float = option(5.0, "kPa", "set point over the open-cup vacuum (common practice, no source)")
    margin_reach_kpa: float = option(3.0, "kPa", "supply_off under the weakest vacuum reached (3 to 5, the same)")
    beyond_most_kpa: float = option(
        6.0,
        "kPa",
        "an extrapolated end is taken no further past the recorded vacuum, and half of that is believed: such ends are "
        "4 to 12 kPa off (simulated stations), and supply_off stays within what was recorded",
    )
    set_share: float = option(0.85, "share", "set point at most this share of the weakest reach (the same)")
    grip_share: float = option(0.7, "share", "a set point under this share of it grips too weakly (the same)")
    set_least_share: float = option(0.6, "share", "set point at least this share of it, if moved (the same)")
    hysteresis_kpa: float = option(3.0, "kPa", "least hysteresis (common practice: 3 to 10 kPa, 10 sigma)")
    hysteresis_sigmas: float = option(10.0, "sigma", "the same in standard deviations of the noise")
    band_kpa: float = option(3.0, "kPa", "least air-saving band worth entering (common practice: 5 to 10 kPa)")
    band_most_kpa: float = option(12.0, "kPa", "widest band entered: narrow enough to hold safely")
    dip_window_s: float = option(0.25, "s", "a motion dip is a loss of vacuum within this time")
    fall_unseen_kpa: float = option(8.0, "kPa", "fall below supply_on where the supply was never cut in a hold")
    dip_unseen_kpa: float = option(1.0, "kPa", "motion dip assumed where the log cannot show one")
    leaky_l_min: float = option(0.5, "L/min ANR", "a larger leak is repaired first (common practice, no source)")
    leaky_kpa_s: float = option(6.0, "kPa/s", "the same where no volume is known")
    most_move_kpa: float = option(30.0, "kPa", "no setting is lowered by more than this")
    cycles_most: int = option(200, "cycles", "more than this add no certainty that the models could use")
    grid: int = option(24, "values", "values tried per setting in the first pass")
    grid_fine: int = option(9, "values", "and about the best of them in the second")
    representatives: int = option(10, "cycles", "cycles that stand for all in the search")
    grip_of_hold: float = option(0.7, "share", "of that weight, per kPa of the band's middle under the reach")
    grip_of_reset: float = option(0.3, "share", "of that weight, per kPa that the reset point lies low")
    readings: float = option(10.0, "readings", "independent readings of a hold at its lowest vacuum")
    switches_doubtful: int = option(
        4, "edges", "more in a hold after a first cut point to a leak (common practice, no source)"
    )
    least_spread_kpa: float = option(0.25, "kPa", "levels differ from one recording to the next")
    weight_false_drop: float = option(100.0, "cost per event", "output goes off though the part is held: a stop")
    weight_false_present: float = option(100.0, "cost per event", "an empty cup counts as holding a part")
    weight_missed: float = option(100.0, "cost per event", "a pick given up although the cup has closed")
    weight_chatter: float = option(5.0, "cost per edge", "an output edge too many may be misread")
    weight_air: float = option(1.0, "cost per s", "supply on: air used")
    weight_switch: float = option(0.15, "cost per edge", "valve life, 10 to 50 million (common practice)")
    weight_time: float = option(2.0, "cost per s", "cycle time until part present")
    weight_grip: float = option(0.03, "cost per kPa", "set point under grip_share of the weakest vacuum reached")
    least_gain: float = option(0.8, "cost per cycle", "a change must be predicted to save at least this")
    least_gain_share: float = option(0.3, "share of cost", "and this share of the present cost")
    gain_of_fault: float = option(0.1, "cost per cycle", "enough where a finding says that a setting is wrong")
    worth_moving: float = option(0.08, "cost per cycle", "a setting that saves less stays as it is")
    petty_kpa: float = option(1.5, "kPa", "a smaller move is only made where it is worth twice as much")
    draws: int = option(160, "draws", "resampled stations behind each interval")
    rate_unseen_u: float = option(1.3, "log", "standard uncertainty of a leak rate that no log shows")
    model_rel_u: float = option(0.15, "share", "standard uncertainty of coasts unlike those recorded")
    recharge_rel_u: float = option(0.2, "share", "the same of recharges")
    goal_factor: float = option(10.0, "factor", "how much --goal raises the weight that it names")
