"""Thresholds and spreads of the judgement."""


from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgeOptions:
    """Thresholds of the judgement. Spreads are how far a healthy station differs between two recordings."""

    last_share: float = option(0.34, "share of cycles", "the last cycles tell the level now; faults grow")
    onset_score: float = option(36.0, "squared sigmas", "a step inside the log smaller than this is no onset")
    onset_least: int = option(6, "cycles", "fewer cycles on one side of an onset tell nothing")
    onset_least_z: float = option(3.0, "standard errors", "an onset that moves no median by this is none")
    same_log: float = option(0.5, "unitless", "spreads shrink by this where the reference is the same log")
    same_log_ultimate: float = option(
        0.3, "unitless", "the same for the ultimate vacuum: no weather, but the supply's own wander is left"
    )
    leak_doubt: float = option(
        0.5, "share", "of what all rates of a log share in doubt: the same station errs alike in both logs"
    )
    seldom_share: float = option(
        0.35, "share", "of the cycles: what touches fewer moves no median by more than the others scatter"
    )
    seldom_now: float = option(0.42, "share", "of the cycles that are compared: half of them moves their median")
    seldom_least: float = option(0.05, "share", "of the cycles: what stands out of fewer may be wide in all")
    temper: float = option(0.7, "unitless", "measures are not independent: their joint evidence is worth less")
    worst_logp: float = option(-18.0, "nats", "one measure alone never rules a cause out by more than this")
    at_cup: float = option(0.05, "probability", "the sensor sits at the cup although no station file says so")
    spread_top_kpa: float = option(0.25, "kPa", "how far the weather moves the end of the evacuation between two logs")
    worst_balance: float = option(-6.0, "nats", "the weather between two days moves the balance of a leak")
    balance_unusable: float = option(0.4, "share", "with more error the balance of a leak tells no two places apart")
    balance_seat: float = option(
        0.3, "share", "of a leak's rise: with less, a group of cycles evacuates as the others do (a cup's: 0.37 on)"
    )
    uneven_alone: float = option(
        1.73, "factor", "where it decides alone, a leak's scatter counts by a third of the cycles: neighbours are alike"
    )
    worst_command: float = option(-15.0, "nats", "somebody may have shortened the blow-off on purpose, and rightly")
    since_before: float = option(
        0.3, "probability", "a fault is older than the log's own change: earlier cycles are no healthy reference"
    )
    unmodelled: float = option(
        0.04, "probability", "a station that the table does not describe: first looks at unseen ones err so often"
    )
    listed: float = option(0.5, "probability", "findings above info have at least this confidence")
    fact_least: float = option(0.3, "probability", "a setting less probable than this leads no set of alternatives")
    rival: float = option(2.0, "factor", "alternatives are rivals within this factor")
    rival_evidence: float = option(
        3.16, "factor", "weaker evidence is barely worth a mention (Jeffreys 1961): it tells no two causes apart"
    )
    rival_instead: float = option(
        0.5, "share", "of the chance of a cause that leaves out another: with less it stands beside it"
    )
    rival_least: float = option(0.05, "probability", "a cause less probable than this is nobody's rival")
    odd_pick_share: float = option(
        0.02, "share", "of the picks: a single empty one in more is no fault of the feed (common practice)"
    )
    retried_share: float = option(
        0.06, "share", "of the picks: fewer second tries after one that still rose are parts met late by chance"
    )
    low_share: float = option(
        0.25, "share", "a set point under this share of the usual peak is too low (common practice: 0.4 to 0.85)"
    )
    low_margin_kpa: float = option(
        2.0, "kPa", "a set point nearer than this to an empty cup is too low (common practice: five or more are good)"
    )
    open_share_most: float = option(
        0.3, "share", "an empty cup reaches less of the usual peak unless clogged (common practice, no source)"
    )
    open_times_most: float = option(
        2.5, "factor", "an approach may be too short for the open cup to settle: an empty pick may read deeper by this"
    )
    open_more_kpa: float = option(5.0, "kPa", "and by this, for levels near nothing (common practice, no source)")
    answer_least_kpa: float = option(
        1.0, "kPa", "an open cup or a blow-off that reads less is not missed if it fails (common practice, no source)"
    )
    silent_share: float = option(
        0.25, "share", "of what open cup and blow-off usually read: with less, the reading has not answered them"
    )
    no_air: float = option(
        0.25, "probability", "a reading that goes on at nothing, whatever the valves do, is right: there is no air"
    )
    healthy_least_l_min: float = option(
        0.02, "L/min ANR", "nine in ten healthy stations leak between this and the next (common practice, no source)"
    )
    healthy_most_l_min: float = option(0.1, "L/min ANR", "the upper of the two (common practice, no source)")
    porous_most_l_min: float = option(
        0.5, "L/min ANR", "the same of stations that hold porous parts: a leak is fair up to there (common practice)"
    )
    porous_scatter: float = option(
        0.27, "share", "leaks that scatter so from pick to pick are the parts': worn lips show half of it (no source)"
    )
    usual_volume_ml: float = option(60.0, "mL", "of the station of which the two hold (common practice, no source)")
    leak_most_l_min: float = option(10.0, "L/min ANR", "leaks come in any size up to an open cup")
    short_coast_s: float = option(
        1.5, "s", "a leak that empties the band of air saving in less is no healthy one (common practice: 1 to 3)"
    )
    parts_differ: float = option(
        2.2, "factor", "of what two part types of a sound station leak: product mix is no fault (common practice)"
    )
    leaky_kpa_s: float = option(4.0, "kPa/s", "fair or leaky where no volume is known (common practice, no source)")
    spread_decay: float = option(0.08, "kPa/s", "day to day (common practice, no source)")
    spread_decay_share: float = option(
        0.10, "share", "day to day, of the rate: a repaired leak is within a fifth of its baseline (common practice)"
    )
    spread_rise: float = option(0.006, "log", "day to day")
    usual_scatter: float = option(
        0.012, "log", "evacuations of a healthy station may scatter by this from one to the next (common practice)"
    )
    scatter_per_shift: float = option(
        0.12, "share", "of what slows all evacuations: it is a little more or less in each (common practice, no source)"
    )
    spread_top_share: float = option(0.008, "share", "day to day")
    spread_open: float = option(0.12, "kPa", "day to day")
    starved_open_kpa: float = option(
        2.0, "kPa", "an open cup that read less was no level of its own to weaken (common practice: 2 to 15)"
    )
    spread_response: float = option(0.0008, "s", "day to day")
    spread_ultimate: float = option(0.8, "kPa", "the weather moves it")
    spread_blow: float = option(0.012, "log", "day to day")
    blow_per_start: float = option(
        0.1, "share", "a blow-off that starts nearer to its first level meets an opening valve (common practice)"
    )
    cut_off_kpa: float = option(
        0.5, "kPa", "of vacuum left at the end of a release in both logs: it was cut off on its way (no source)"
    )
    cut_off_share: float = option(
        0.03, "share", "of the vacuum before it, by which such an end lies elsewhere day to day (common practice)"
    )
    cut_off_high: float = option(
        0.2, "share", "of the vacuum before it, left: a blow-off is timed to a quarter, which such ones never reach"
    )
    spread_cut: float = option(0.3, "kPa", "supply_off as edges show it, day to day")
    other_cut_kpa: float = option(1.0, "kPa", "supply_off stands elsewhere: fits that end there cannot be compared")
    open_per_cut: float = option(
        0.1, "share", "of that difference, by which the open-cup level that a fit carried back shows may move"
    )
    bent_share: float = option(
        0.5, "share", "of what an ultimate vacuum was extrapolated, by which a bent suction curve may end elsewhere"
    )
    usual_blow_s: float = option(
        0.035, "s", "of a blow-off between its levels, where no evacuation shows (common practice, no source)"
    )
    blow_per_rise: float = option(
        -0.95, "log", "usual time of a blow-off over that of the same volume's evacuation (common practice, no source)"
    )
    spread_blow_per_rise: float = option(0.55, "log", "generators and release valves are sized in many ways")
    usual_open_kpa: float = option(8.5, "kPa", "an open cup leaves 2 to 15 by its bore (common practice)")
    spread_usual_open_kpa: float = option(4.0, "kPa", "nine in ten lie between the two (common practice, no source)")
    usual_reach: float = option(0.76, "share of ambient", "sound generators reach 0.7 to 0.9 (common practice)")
    spread_reach: float = option(0.065, "share of ambient", "generators are chosen deep or shallow, for flow")
    laid_out_most: float = option(
        0.53, "share of ambient", "switching levels under this are set out for a shallow vacuum (common practice)"
    )
    laid_out_share: float = option(
        0.775, "share", "of what a sound generator reaches: switching levels stand at 0.70 to 0.85 (common practice)"
    )
    most_reach: float = option(
        0.9, "share of ambient", "no ejector is seen to come to rest deeper (common practice: 0.92 at most)"
    )
    spread_most_reach: float = option(0.025, "share of ambient", "how far an extrapolated end is off (common practice)")
    usual_run_on_s: float = option(
        0.012, "s", "vacuum rises on after the cut until the valve has closed (common practice: 0.005 to 0.025)"
    )
    spread_run_on_s: float = option(0.007, "s", "valves close sooner and later (common practice, no source)")
    spread_run_on_day_s: float = option(0.003, "s", "the same valve, day to day (common practice, no source)")
    fast_fall_kpa_s: float = option(
        15.0, "kPa/s", "a coast that cannot be rated and falls slower may be warming gas alone (common practice)"
    )
    fast_fall_times: float = option(3.0, "factor", "over the rates of the same log, which a fall without one must have")
    spread_overlap_s: float = option(0.005, "s", "of supply and release commands, day to day")
    blow_per_overlap: float = option(
        0.5, "log", "a blow-off against a supply that still draws may take half as long again"
    )
    free_blow_s: float = option(
        0.08, "s", "of a blow-off without the supply, which shows how high it comes (common practice, no source)"
    )
    spread_residual: float = option(0.25, "kPa", "day to day")
    spread_over: float = option(0.10, "kPa", "day to day")
    spread_idle: float = option(0.2, "kPa", "warm-up of a sensor")
    spread_noise: float = option(0.15, "log", "day to day")
    spread_command: float = option(0.05, "log", "the sequence of a machine is not exact to the millisecond")
    spread_fast_fall: float = option(0.3, "kPa", "day to day")
    margin_kpa: float = option(2.5, "kPa", "set point nearer than this to the weakest healthy cycle is too high")
    raised_kpa: float = option(
        4.0, "kPa", "over the vacuum that counted as gripped in the same log: what is refused there was set higher"
    )
    band_kpa: float = option(3.0, "kPa", "an air-saving band under this is narrow (common practice: 5 to 10)")
    zero_kpa: float = option(
        1.5, "kPa", "an idle reading off by more is a zero shift without a baseline (common practice)"
    )
    passing_share: float = option(
        0.25, "share", "of idle readings over nothing that are real vacuum, of a supply valve that passes"
    )
    noisy_kpa: float = option(
        0.46, "kPa", "2.4 times the power of what practice takes for good (0.3): unfit without a baseline (no source)"
    )
    travel_dip_kpa: float = option(
        2.0, "kPa", "moves of a sound station lower the vacuum by less at the same times (common practice, no source)"
    )
    travel_dip_least_kpa: float = option(0.6, "kPa", "the same beyond what a baseline shows")
    rebound_kpa: float = option(
        1.2, "kPa", "dips that come back in a coast are less on a sound station: hoses flex a little (no source)"
    )
    rebound_noises: float = option(8.0, "sigmas", "of the averaged trace: what is less may be noise that came together")
    rebound_pumped_noises: float = option(
        12.0, "sigmas", "the same where the supply is on: a feed that pulsates showed 10 at most (own trials)"
    )
    travel_holds: float = option(0.3, "share", "of the holds: what fewer show at one time is no move of them all")
    travel_share: float = option(
        0.35, "share", "of the variance in holds, from where on its timing is the machine's own"
    )
    moved_share: float = option(
        0.4, "share", "of what a group of holds falls faster, that it leaks in between if it is of leaks (no source)"
    )
    moved_fixed: float = option(0.8, "share", "of such holds that fall at one time or at two: the machine's own")
    moved_within_s: float = option(0.12, "s", "of a time of the hold, which a move keeps to (common practice)")
    burst_share: float = option(0.2, "share", "of the cycles: noise in fewer may be chance, in more it comes and goes")
    burst_ln: float = option(0.7, "log", "noise that comes and goes is this much more than the rest, at least twice it")
    burst_kpa: float = option(0.2, "kPa", "noise that comes and goes and is less disturbs nothing (no source)")
    line_ratio: float = option(10.0, "unitless", "a line of the supply stands this far out of the power beside it")
    swing_share: float = option(
        0.75, "share", "of a hold beside its course: what one slow sine explains less of creeps or dips instead"
    )
    line_kpa: float = option(0.05, "kPa", "a fainter line moves no switch (common practice, no source)")
    overlap_s: float = option(0.02, "s", "supply and release on together for longer than this overlap")
    late_unseen: float = option(
        0.3, "probability", "that answers come late one by one, where all do and no reference tells (no source)"
    )
    slow_response_s: float = option(0.06, "s", "a supply valve answering later is slow without a baseline")
    residual_kpa: float = option(2.0, "kPa", "vacuum left after blow-off that is too much without a baseline")
    step_least_kpa: float = option(1.5, "kPa", "a step inside a hold that is smaller is no lost cup (common practice)")
    step_share: float = option(0.04, "share", "of the peak: a lost cup's restrictor lets in more than this tells of")
    step_large: float = option(0.2, "share", "of the peak: so large a step that stays tells of itself, in every hold")
    left_share: float = option(
        0.15, "share", "of the hold's vacuum that is left after a blow-off and stays: a part still hangs on it"
    )
    slow_release_s: float = option(0.35, "s", "a release slower than this is weak without a baseline (common practice)")
