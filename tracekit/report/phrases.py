"""Every code in the words of the trade: what is said of it in a verdict, a table and beside a rival."""

from tracekit.frozen import dataclass
from tracekit.report.text import clean


@dataclass(frozen=True, slots=True)
class Phrase:
    """What a code is called.

    noun   stands after a strength word, 36 characters at most, with its article
    short  stands beside a rival, 24 at most, with its article
    rival  stands after "else", 15 at most, without one
    """

    noun: str
    short: str
    rival: str


_PHRASES: dict[str, Phrase] = {
    "leak_steady": Phrase("a leak at the cup, hose or a fitting", "a cup-side leak", "cup or hose"),
    "leak_part_dependent": Phrase("a leak on some picks only", "a leak on some picks", "part or nest"),
    "check_valve_leak": Phrase("a leaking check valve", "a leaking check valve", "check valve"),
    "release_valve_leak": Phrase("a seeping release valve", "a leaking release valve", "release valve"),
    "flow_restricted": Phrase("a blocked filter, hose or bore", "a blocked filter", "filter or hose"),
    "exhaust_restricted": Phrase("a clogged silencer or nozzle", "a clogged silencer", "silencer"),
    "supply_pressure_low": Phrase("low compressed-air pressure", "low air pressure", "air pressure"),
    "supply_pressure_dips": Phrase("dips of the compressed air", "air pressure dips", "air pressure"),
    "supply_pulsation": Phrase("a pulsing compressed-air feed", "a pulsing air feed", "air feed"),
    "supply_valve_slow": Phrase("a slow supply valve", "a slow supply valve", "supply valve"),
    "supply_valve_passing": Phrase("a supply valve that seeps when off", "a seeping supply valve", "supply valve"),
    "release_weak": Phrase("a weak or late blow-off", "a weak blow-off", "blow-off"),
    "collision_or_peel": Phrase("parts torn off in motion", "parts torn off", "parts torn off"),
    "motion_dips": Phrase("vacuum dips that come with motion", "motion dips", "motion"),
    "part_not_presented": Phrase("no part at the pick position", "missing parts", "missing parts"),
    "part_dropped": Phrase("dropped parts", "dropped parts", "drops"),
    "part_missed": Phrase("missed picks", "missed picks", "misses"),
    "seal_lost_partly": Phrase("one cup of several open", "one open cup", "one open cup"),
    "switch_chatter": Phrase("a chattering part-present output", "chattering output", "chatter"),
    "supply_short_cycling": Phrase("a supply that switches too often", "short cycling", "short cycling"),
    "supply_never_cuts": Phrase("a supply that never cuts in the hold", "supply never cuts", "no cut-off"),
    "release_slow": Phrase("a slow release", "slow release", "slow release"),
    "set_point_too_high": Phrase("a set point that is too high", "a high set point", "high set point"),
    "set_point_too_low": Phrase("a set point that is too low", "a low set point", "low set point"),
    "hysteresis_too_small": Phrase("set and reset point too close", "close switch points", "switch points"),
    "supply_on_below_reset": Phrase("a supply that comes back too late", "a late supply-on level", "late refill"),
    "supply_band_too_narrow": Phrase("a supply band that is too narrow", "a narrow supply band", "supply band"),
    "supply_off_unreachable": Phrase("a supply-off level out of reach", "a high supply-off level", "supply stays on"),
    "timeout_too_short": Phrase("a time limit that is too short", "a short time limit", "time limit"),
    "valves_overlap": Phrase("supply and release on together", "overlapping valves", "valve timing"),
    "sensor_zero_shift": Phrase("a shifted zero of the sensor", "a shifted sensor zero", "sensor zero"),
    "sensor_noisy": Phrase("a noisy sensor or cable", "a noisy sensor", "sensor"),
    "sensor_stuck": Phrase("a sensor that does not move", "a stuck sensor", "sensor"),
    "sensor_slow": Phrase("a slow sensor or blocked port", "a slow sensor", "sensor"),
    "sensor_clipped": Phrase("a sensor at the end of its range", "a clipped sensor", "sensor range"),
    "log_undersampled": Phrase("a log sampled too slowly", "sampled slowly", "the log"),
    "log_gaps": Phrase("gaps in the log", "gaps in the log", "the log"),
    "clock_step": Phrase("a clock that jumps", "the clock jumps", "the log"),
    "channel_missing": Phrase("a signal that is not in the log", "a signal is missing", "the log"),
    "channel_inverted": Phrase("a reversed signal", "a signal is reversed", "the log"),
    "supply_is_request": Phrase("a logged request, not the valve", "only a request logged", "the log"),
}

NO_KNOWN_CAUSE, NO_FAULT, OR_UNKNOWN = "Something else, or nothing", "Nothing wrong", "Nothing wrong, or unknown"
NO_OTHER = "No other fault"
NOTHING = ("none of these", "none", "other", "none_of_these", "healthy", "something_else")


def phrase(code: str) -> Phrase:
    """The words of a code; an unknown one is told by its own letters."""
    known = _PHRASES.get(code)
    if known is not None:
        return known
    words = clean(code, 36).replace("_", " ")
    return Phrase(words, words[:24], words[:15])


def cause_name(code: str) -> str:
    """A code as the first cell of a table."""
    if code in NOTHING:
        return NO_KNOWN_CAUSE
    noun = without_article(phrase(code).noun)
    return noun[:1].upper() + noun[1:]


def without_article(words: str) -> str:
    """As in "a leaking check valve" → "leaking check valve"."""
    return words.removeprefix("an ").removeprefix("a ")
