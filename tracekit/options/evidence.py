"""Thresholds of what a log's own rows prove about how they are written."""


from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """When what stands in the first rows decides how a log is read, and when it is asked."""

    count_share: float = option(
        0.9, "1", "of the rows of one second that must go on under one reading of what follows the seconds (no source)"
    )
    count_full: float = option(0.9, "1", "of its hundred that a count of two figures fills if it is one (no source)")
    foot_leap: float = option(1000.0, "interval", "from the last sample to a footer's number, at least (no source)")
    most_tables: int = option(60, "table", "of one file; more headers are no recording of stations (no source)")
    table_rows: int = option(3, "row", "so many rows of values make lines without a header a table (no source)")
    last_lines: int = option(200, "line", "of the end of a file that are held against its first rows")
    last_share: float = option(0.5, "1", "of them that another table has at least (no source)")
    skipped_share: float = option(0.4, "1", "of the first lines are passed over: what stands above rows is no row")
    fewest_lines: int = option(5, "line", "of one form that show how lines name their values (no source)")
    alike_lines: float = option(0.98, "1", "of the lines that share such a form; the rest is damage (no source)")
    alike_events: float = option(0.9, "1", "of the rows of a list of events that switch a signal (no source)")
    sample_lines: float = option(0.5, "1", "of the lines that are rows of values where others are events (no source)")
    events_apart: float = option(0.3, "1", "of the events between samples that follow a sample at least (no source)")
    shared_readings: float = option(0.3, "1", "of the readings stand beside another one of the same tag and time")
    fewest_stamps: int = option(
        4, "stamp", "of which two are whole: fewer tell no interval of the rows that share them"
    )
    rows_of_stamp: float = option(0.1, "stamp", "to a row: with fewer, rows share their stamps (no source)")
    own_times: float = option(0.98, "1", "of the rows whose time is no other's, where they are in no order (no source)")
    both_ways: float = option(0.2, "1", "steps back for each forward, and the reverse, in such rows (no source)")
    as_far_back: float = option(0.5, "1", "of the way forward that goes back in such rows (no source)")
    ended_share: float = option(0.9, "1", "of the rows: times that fill fewer are another channel's (no source)")
    turned_falls: float = option(0.2, "1", "steps forward for each back: of fewer, rows stand newest first (no source)")
    torn_step: float = option(2.5, "1", "usual steps from one torn stretch of rows to the next at most (no source)")
    torn_least: float = option(0.5, "1", "usual steps between them at least: of a clock set back rows fall between")
    torn_close: float = option(0.9, "1", "of the torn places that must fit so: a log may have holes (no source)")
    most_stretches: int = option(100_000, "stretch", "of rows torn apart; of more nothing is made (no source)")
    most_strays: float = option(0.5, "1", "of the rows whose time goes back: of more, the rows are in no order")
    still_share: float = option(0.1, "1", "of another pressure's range: what moves less follows no valve (no source)")
    early_share: float = option(0.05, "1", "of the range of vacuum by which a switch must come on too low to be early")
    early_most_s: float = option(0.6, "s", "by which digitals are looked at for being early (no source)")
    early_agree_s: float = option(
        0.05, "s", "within which blow-off must be answered as late as the switch is early, to tell it more finely"
    )
    most_named: int = option(60, "name", "of channels in one line (no source)")
    name_weight: float = option(0.8, "1", "from which on a name says what a column is (weights of read.words)")
    half_weight: float = option(0.5, "1", "from which on a name tells the only signal left (weights of read.words)")
    slow_digitals: float = option(1.5, "1", "intervals of the pressure: digitals that are written less often come late")
    ends_early_s: float = option(5.0, "s", "of samples after the last row of digitals beside them: a pick or more")
    even_steps: float = option(0.1, "1", "of the usual step, by which the steps of samples differ at most")
    few_rows_of_stamp: float = option(3.0, "row", "of a stamp: of fewer, uneven steps of stamps show (no source)")
    uneven_rows: float = option(0.2, "1", "of the usual rows of a stamp: of more or fewer, some are lost (no source)")
    common_step: float = option(0.01, "1", "of the steps of such stamps that have one length: no odd one (no source)")
    document_bytes: int = option(64 << 20, "byte", "of a document without records, which is held whole")
    document_columns: int = option(2, "column", "fewest lists of a document that are channels: time and pressure")
    document_rows: int = option(5, "row", "fewest values in such a list")
    most_numbered: int = option(12, "state", "most that a column of numbers holds for a valve (no source)")
    binary_figures: int = option(
        4, "figure", "fewest of a word in base 2 whose name does not say so; one fewer with a zero first (no source)"
    )
    filled_share: float = option(0.5, "1", "of the rows that a column of dates or times must fill (no source)")
    longest_step_s: float = option(10.0, "s", "from row to row that is worth offering; slower logs show no cycles")
    signal_levels: int = option(2, "level", "of a signal; a column of more is a reading")
    days_below_step: float = option(1e-5, "1", "a finer step of unknown unit is of days or hours: 1 s is 1.2e-5 d")
    state_falls: float = option(3.0, "1", "ranges of the pressure by which it falls in all of a state of suction")
    fewest_rows_of_state: int = option(5, "row", "at most that a word has which is none of the states (no source)")
    most_number: float = option(1e100, "1", "a larger one is no reading, and the products of three would overflow")
    most_kpa: float = option(
        200.0, "kPa", "beyond any vacuum and the usual blow-off, so that the scale is asked (common practice)"
    )
    full_scale_kpa: float = option(
        -101.3, "kPa", "at the end of a raw sensor's range, offered to be filled in (common practice)"
    )
    live_zero: float = option(1.0, "V", "at rest of a transmitter of 1 to 5 V, broken at 0 V (common practice)")
    live_zero_off: float = option(0.02, "V", "by which such a sensor rests beside it (no source)")
    live_zero_share: float = option(0.15, "1", "of the readings that rest there at least (no source)")
    deep_kpa: float = option(
        -80.0, "kPa", "that a station may reach, offered for its deepest raw reading (common practice)"
    )
    both_on_share: float = option(
        0.1, "1", "of the shorter of two pulses in which both coils are on: suction is short (no source)"
    )
    blown_kpa: float = option(
        60.0, "kPa", "most over-pressure of blow-off that makes a unit worth offering (common practice)"
    )
    idle_share: float = option(
        0.3, "1", "of the vacuum that may stay when idle, for a unit worth offering (common practice)"
    )
    fuller_plateau: float = option(2.0, "1", "times as many values at a coil's level as in its spikes (no source)")
    between_plateaus: float = option(
        0.003, "1", "of the values between two levels at most, and at each level at least (no source)"
    )
    between_named: float = option(
        0.15, "1", "of the values between them at most where the name is a valve's, fewer than at each (no source)"
    )
    crossings_named: float = option(
        0.1, "1", "of the rows at which such a column goes from level to level at most: a valve stays (no source)"
    )
    also_changes: float = option(
        0.1, "1", "of the change, and of its speed, in the foremost state: others make it too (no source)"
    )
    ambient_off_kpa: float = option(8.0, "kPa", "from standard atmosphere, where absolute readings lie at rest")
    usual_cycle_s: float = option(4.0, "s", "of a pick, by which units of time are ordered (common practice)")
    near_rest: float = option(0.05, "1", "of the range of readings about zero, that counts as near it (no source)")
    rests_share: float = option(0.03, "1", "of the readings near zero; fewer speak for a raw signal (no source)")
    usual_vacuum_kpa: float = option(65.0, "kPa", "of a station, by which units are ordered (common practice)")
    usual_factor: float = option(
        1.3, "1", "from the usual vacuum, within which two units are as likely: neither is filled in (no source)"
    )
    seldom_vacuum_kpa: float = option(24.0, "kPa", "less makes a scale likelier than a unit (common practice)")
    rarer_unit: float = option(0.3, "1", "by which the logarithm of a vacuum in a rarer unit counts as farther off")
    least_vacuum_kpa: float = option(
        15.0, "kPa", "of vacuum in readings that make a unit worth offering (common practice)"
    )
    most_vacuum_kpa: float = option(
        102.0, "kPa", "of vacuum in such readings: there is no more (standard atmosphere, rounded up)"
    )
    least_ambient_kpa: float = option(
        78.0, "kPa", "highest absolute reading of a station at 2000 m at least (standard atmosphere)"
    )
    least_absolute_kpa: float = option(
        3.0, "kPa", "lowest absolute reading of a station at least: generators of cups reach 96 % (common practice)"
    )
    same_unit: float = option(0.005, "1", "by which the size of two units differs that are one here: mbar, hPa")
    twin_unit: float = option(0.03, "1", "by which those differ that readings do not tell apart: bar, kgf/cm2, atm")
    most_absolute_kpa: float = option(160.0, "kPa", "highest absolute reading, in a blow-off (common practice)")
    most_stations: int = option(400, "station", "that a column of words names (no source)")
    most_station_numbers: int = option(40, "station", "that a column of whole numbers tells (no source)")
    most_beside: int = option(16, "word", "that may stand under every stamp, one for each station (no source)")
    stamps_of_stations: int = option(
        50, "stamp", "that show whether rows under one are of several stations (no source)"
    )
    lists_looked_at: int = option(2000, "row", "of lists that are looked at for whether they hold samples")
    fewest_lists: int = option(20, "row", "of lists that show whether they hold samples (no source)")
    fewest_in_list: int = option(5, "sample", "in a row's list; fewer are rather channels (no source)")
    goes_on: float = option(
        0.5, "1", "of the change from list to list that neighbours in lists of samples differ by at most (no source)"
    )
    numbered_stays: float = option(
        0.5, "1", "of a signal's rows whose number is that of the row before at most: states last (no source)"
    )
    apart_most_s: float = option(6.0, "s", "that two clocks of one recording are looked at for being apart (no source)")
    apart_least_s: float = option(
        0.5, "s", "within which digitals fit as they stand: less is a lag, which is told as such (no source)"
    )
    apart_near_s: float = option(0.1, "s", "within which digitals as they stand may fit best: valves delay (no source)")
    asked_apart_s: float = option(
        0.2, "s", "early, or apart: evacuations take as long, and what is measured between edges is another (no source)"
    )
    apart_offered: int = option(3, "shift", "that are worth offering: cycles of one length fit a cycle later too")
    apart_as_well: float = option(0.85, "1", "of the best fit that another shift has to be offered (no source)")
    apart_same: float = option(0.03, "1", "of the range, by which fits differ by chance: the nearer shift leads")
    prompt_s: float = option(
        0.02, "s", "from the command of a blow-off to the first tenth of its answer (stations of one simulator)"
    )
    apart_step_s: float = option(0.05, "s", "between shifts that are tried")
    apart_answer_s: float = option(0.4, "s", "in which most of a rise or an end of vacuum lies (common practice)")
    apart_fit: float = option(1.0, "1", "of the range, rise and fall together, at the shift that fits (no source)")
    apart_here: float = option(0.4, "1", "of the best fit that digitals as they stand have at most (no source)")
    apart_edges: int = option(60, "edge", "of each signal that show it; more only cost time (no source)")
    turned_kpa: float = option(30.0, "kPa", "over-pressure that blow-off seldom exceeds for long (common practice)")
    turned_share: float = option(0.2, "1", "of the readings, above that from where vacuum is written so (no source)")
    turned_vacuum: float = option(0.02, "1", "of the readings before it that are as deep a vacuum (no source)")
    turned_rest: float = option(0.005, "1", "of those after it that are so at most (no source)")
    other_unit_rows: float = option(0.01, "1", "of the rows, of impossible readings that are no damage (no source)")
    other_unit_values: int = option(50, "reading", "different ones that are no marks of no reading (no source)")
    gone_on_steps: float = option(50.0, "1", "steps by which time may go on where its unit changes (no source)")
    same_steps: float = option(0.2, "1", "of a step by which the same step in another unit may differ (no source)")
    changed_rows: int = option(20_000, "row", "that tell whether a column holds readings")
    repeated_header_line: int = option(80, "line", "at the top, among which names that come again are looked for")
    repeated_lines: int = option(200, "line", "below them that show whether samples follow one another in a line")
    always: float = option(
        0.98, "1", "of the rows in which what holds throughout must hold: the rest is damage (no source)"
    )
    near_start: float = option(
        0.1, "1", "of a stretch, within which times that begin again come to its start (no source)"
    )
    whole_stamps: float = option(
        0.9, "1", "of the stamps that stand once for each station: one may end earlier (no source)"
    )
    moving: float = option(
        0.02, "1", "of the range, by which a reading changes so that the order of rows shows (no source)"
    )
    on_the_way: float = option(
        0.2, "step", "from its place on the way to the next stamp that a row of one station lies (no source)"
    )
    stations_apart: float = option(
        1.5, "1", "times as much change from row to row as from stamp to stamp: other stations (no source)"
    )
    by_turns: float = option(0.3, "1", "of the rows in which numbers of stations change from row to row (no source)")
    clean_cells: float = option(
        0.6, "1", "that cells are values where a sign stands equally often in every line (no source)"
    )
    sharp_edge: float = option(
        0.5, "1", "of the lowest tenth of changes that the lowest hundredth is, where changes are written (no source)"
    )


EVIDENCE = Evidence()
"""The thresholds in use: reading decides before any options of an analysis are known."""
