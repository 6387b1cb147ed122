"""Thresholds of watching a folder."""


from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchOptions:
    """When a dropped file counts as complete, and how patient the watching is."""

    poll_s: float = option(5.0, "s", "file events do not arrive over network shares, so the folder is listed again")
    settle_s: float = option(10.0, "s", "a file whose size and time stay the same so long is complete")
    bad_s: float = option(120.0, "s", "a file that cannot be read may be half written; unchanged so long it is bad")
    most_tries: int = option(3, "tries", "a file whose reading ended the whole program so often is set aside")
    longest_pause_s: float = option(300.0, "s", "longest wait for a disk that is full to have room again")
    merge_every: int = option(500, "logs", "the small files of the history are merged after so many")
    tell_s: float = option(30.0, "s", "a command or a post for an alarm is ended after this time")
    tell_again_days: float = option(7.0, "d", "a finding that stays is told again after so long, not with every log")
    trend_share: float = option(0.1, "share", "of the time at most goes into trends while logs wait")
    trend_least_s: float = option(30.0, "s", "and they are not found anew more often than this")
    same_alarm_days: float = option(14.0, "d", "a standing alarm that is dated later by less is the one told already")
    endings: tuple[str, ...] = option(
        (".csv", ".txt", ".tsv", ".dat", ".log", ".parquet", ".csv.gz", ".txt.gz", ".csv.zst", ".zip"),
        "file ending", "what loggers write; other files in the folder are left alone",
    )  # fmt: skip
