"""Thresholds, quantiles and cost weights behind suggested settings."""

from dataclasses import dataclass

from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class TuneOptions:
    """What counts as safe, as reachable and as worth a change.

    The cost of a set of settings is the sum of all terms below, per cycle. The first four weigh risk, the others
    wear, air and time; the weights rank them in that order (common practice, no source).
    """

    least_held: int = option(8, "cycles", "fewer held cycles tell too little of the weakest one")
    quantile: float = option(0.05, "share", "the weakest healthy cycle is this low quantile, with its confidence bound")
    sigmas: float = option(4.0, "sigma", "distance kept from noise: crossed about once in 30 000 independent readings")
    exact_kpa: float = option(0.6, "kPa", "a setting in force known to this half-width counts as known")
    answer_s: float = option(0.02, "s", "a switch answers within this time of a crossing (common practice, no source)")
    margin_open_kpa: float = option(5.0, "kPa", "set point over the open-cup vacuum (common practice, no source)")
    margin_reach_kpa: float = option(3.0, "kPa", "supply_off and set point under the weakest vacuum reached")
    set_share: float = option(0.85, "share", "set point at most this share of the weakest vacuum reached")
    hysteresis_kpa: float = option(3.0, "kPa", "least hysteresis (common practice: 3 to 10 kPa, 10 sigma)")
    hysteresis_sigmas: float = option(10.0, "sigma", "the same in standard deviations of the noise")
    band_kpa: float = option(3.0, "kPa", "least air-saving band worth entering (common practice: 5 to 10 kPa)")
    dip_window_s: float = option(0.25, "s", "a motion dip is a loss of vacuum within this time")
    most_move_kpa: float = option(30.0, "kPa", "no setting is moved further than this")
    grid: int = option(28, "values", "values tried per setting")
    weight_false_drop: float = option(100.0, "per event", "output goes off though the part is held: the machine stops")
    weight_false_present: float = option(100.0, "per event", "an empty cup counts as holding a part")
    weight_missed: float = option(100.0, "per event", "a pick given up although the cup has closed")
    weight_chatter: float = option(5.0, "per edge", "an output edge too many: the machine may misread it")
    weight_air: float = option(1.0, "per 1 s of supply", "air used")
    weight_switch: float = option(0.15, "per edge", "valve life: 20 million operations (B10D, ISO 13849-1; from memory)")
    weight_time: float = option(2.0, "per 1 s", "cycle time lost until part present")
    weight_grip: float = option(0.002, "per kPa", "vacuum missing while a part is held")
    least_gain: float = option(0.6, "cost per cycle", "a change must be predicted to save at least this")
    least_gain_share: float = option(0.25, "share of cost", "and this share of the present cost")
    worth_moving: float = option(0.02, "cost per cycle", "a setting that saves less stays as it is")
    draws: int = option(200, "draws", "resampled stations behind each interval")
    goal_factor: float = option(10.0, "factor", "how much --goal raises the weight that it names")
