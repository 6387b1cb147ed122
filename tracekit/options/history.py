"""Thresholds of the history and of the trends made from it."""


from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreOptions:
    """How a history folder is written and read."""

    groups_per_context: int = option(12, "values", "a column with more values than this is a number, not a part type")
    groups_per_log: int = option(32, "groups", "the commonest groups of a log are kept, so that a file stays small")
    unknown_share: float = option(0.10, "1", "more held cycles than this without a rate turn the median into bounds")
    read_tries: int = option(60, "tries", "a reader lists a folder again while another program merges files in it")
    retry_s: float = option(0.02, "s", "pause between two such tries")
    stale_s: float = option(3600.0, "s", "an unfinished file older than this was left by a killed program")
    loose_hint: int = option(2000, "files", "from here on merging the files makes reading faster")


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendOptions:
    """How trends, steps, alarms and forecasts are made."""

    level: float = option(0.95, "1", "coverage of the intervals")
    growth_p: float = option(0.05, "1", "growth is called established below this p value and with a slope off zero")
    fast_week_share: float = option(
        0.2, "share a week", "without a limit, what surely gets worse by more than this is called growing"
    )
    fast_shortest_logs: int = option(7, "logs", "and no sooner: one of 120 runs of five rises all the way by chance")
    young_factor: float = option(
        2.0, "1", "what surely got worse by this factor is growing, limit or not: scatter never doubles a level"
    )
    undated_growth_p: float = option(0.01, "1", "and below this where only the earliest date of crossing is known")
    shortest_logs: int = option(5, "logs", "below this a slope is withheld: no interval for it is honest")
    step_shortest_logs: int = option(4, "logs", "a level must last this long before it counts as a level")
    step_penalty: float = option(4.0, "1", "times ln(n) times variance: the price of a step, set by simulation")
    step_z: float = option(4.0, "1", "a jump must exceed this many standard errors to be a step, else it is a bend")
    hidden_gain: float = option(3.0, "1", "variances that a step must explain to count as possible; set by simulation")
    hidden_shortest_logs: int = option(20, "logs", "fewer logs cannot tell a step that small from their scatter")
    event_days: float = option(1.5, "d", "a step this close to a noted event is the event's")
    baseline_logs: int = option(20, "logs", "an alarm needs this many logs to learn what is usual")
    guard_days: float = option(28.0, "d", "the newest logs are not yet called usual, so that growth is not learnt")
    false_alarms_per_year: float = option(0.5, "1/a", "aimed at per station over all measures, half of what is allowed")
    logs_per_year: float = option(365.0, "1/a", "one log a day")
    season: float = option(0.02, "1", "yearly swing by weather that nobody recorded, allowed for; set by simulation")
    ewma_weight: float = option(0.10, "1", "weight of the newest log in the EWMA: slow growth is what it looks for")
    cusum_allowance: float = option(0.5, "1", "half the shift in standard deviations that the CUSUM looks for")
    clip: float = option(3.5, "1", "one log counts no more than this many standard deviations in a chart")
    silent_factor: float = option(4.0, "1", "silent after this many times its usual distance between logs")
    silent_days: float = option(3.0, "d", "and after no less than this")
    horizon_factor: float = option(1.5, "1", "no forecast further ahead than this many times the days observed")
    horizon_days: float = option(365.0, "d", "nor further ahead than this")
    common_stations: int = option(3, "stations", "fewer stations changing together may be chance")
    common_share: float = option(0.6, "1", "of a supply group's stations that must change together")
    common_days: float = option(2.0, "d", "and within this time")
    running_hours: float = option(480.0, "h", "running a month, for costs: two shifts; common practice, no source")
