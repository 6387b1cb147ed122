"""Thresholds of reading a log."""


from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadOptions:
    """How a log is cut into blocks and when time counts as broken."""

    block_bytes: int = option(1 << 20, "byte", "text is parsed in pieces of this size, cut at line ends")
    batch_rows: int = option(65536, "row", "rows per piece of a columnar file")
    parse_threads: int = option(2, "thread", "pieces of text parsed ahead of the analysis")
    head_bytes: int = option(2 << 20, "byte", "start of a text file that is looked at before anything is decided")
    head_rows: int = option(60_000, "row", "start of a columnar file that is looked at before anything is decided")
    unpacked_factor: int = option(
        100, "1", "a file that unpacks to so many times its size is no recording; gzip makes one 5 times smaller"
    )
    unpacked_bytes: int = option(64 << 20, "byte", "below so much nothing is made of how far a file unpacks")
    declared_values: int = option(10_000_000, "1", "nor below so many declared values of a columnar file")
    most_columns: int = option(4096, "column", "more columns in a columnar file are no recording of stations")
    footer_values: int = option(5_000_000, "1", "most values in a columnar file's footer: some 100 000 column chunks")
    most_rejected: int = option(200_000, "line", "more rejected lines than this, and ten for each row: no recording")
    text_bytes: int = option(64 << 20, "byte", "most text in one column of a piece of a columnar file")
    quickest_s: float = option(
        1e-7, "s", "no logger of pressure samples quicker: a time column with such steps is no time (common practice)"
    )
    gap_factor: float = option(5.0, "1", "an interval longer than this many typical ones is a gap")
    stray_rows: int = option(
        8, "row", "so many rows with a time that goes back and returns are strays, more are a step"
    )
    sort_rows: int = option(400_000, "row", "of a file in no order of time sorted at once; they are held in memory")
    sorted_rows: int = option(4096, "row", "per piece that is read back while sorted rows are woven together")
    copied_rows: int = option(10_000, "row", "most rows written twice that are told from a clock set back")
    max_clock_steps: int = option(1000, "1", "beyond so many steps back the rows are rejected instead")
    join_gap_s: float = option(600.0, "s", "a file that starts so soon after another ends continues it")
    max_gaps: int = option(10_000, "1", "gaps that are listed one by one")
    odd_share: float = option(0.02, "1", "with a recipe in the station file, more rows of another form refuse the log")
    odd_rows: int = option(20, "row", "fewer than that are bad lines, not another form")
    restart_gap_s: float = option(5.0, "s", "pause assumed where a counter starts again at its first value")
    told_rejected: float = option(
        0.05, "1", "of the rows that are rejected, from which on it is told beside the results (no source)"
    )
    lines_kept: int = option(5, "1", "line numbers that are listed per reason of rejection")
    sample_size: int = option(65536, "1", "intervals and pressures kept for medians and quantisation")
