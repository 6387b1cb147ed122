"""The files of a history: names, columns and the version of both, in one place.

    DIR/summaries/ab/<log_id>-<analysis>-<sum>-v1.parquet   one log, all its stations; being there means "in"
    DIR/summaries/ab/pack-<sum>-v1.parquet                  logs merged by compaction
    DIR/cycles/ab/…                                         the same two kinds of file with the cycles table of each log
    DIR/events/<hash>.json                                  a noted repair
    DIR/good/<hash of station>/<start>-<log>-<sum>.good     the station's last good log, to serve as a baseline
    DIR/forgotten/<hash>.json                               a station and span that readers leave out
    DIR/watched, alarmed, trend-due, trend-alarms           what `tracekit watch` has done and told

`ab` are the first two digits of the log_id. `analysis` is a hash of everything beside the log that shapes the rows.
`sum` is the start of the SHA-256 of the file's bytes, so that any damage shows.
"""

import hashlib
import json
import re
from collections.abc import Mapping

from tracekit.model.tables import Column

SCHEMA = 1
SCHEMA_KEY = "tracekit.history.schema"
SUMMARIES, CYCLES_FOLDER, EVENTS, FORGOTTEN = "summaries", "cycles", "events", "forgotten"
PACK = "pack-"
UNFINISHED = ".unfinished"
"""How the names of files end that are being written; no reader looks at them."""
SUFFIX = f"-v{SCHEMA}.parquet"
_SUM_DIGITS = 24
_SEALED = re.compile(r"-([0-9a-f]{24})-v[0-9]+\.parquet$")

KINDS = ("measure", "group", "setting", "fact", "limit", "finding")

SUMMARY: tuple[Column, ...] = (
    Column("log_id", "category", "", "SHA-256 of the log"),
    Column("station", "category", "", "name of the station"),
    Column("part", "int", "", "0, or which day of a log longer than a day"),
    Column("start_time", "time", "UTC", "first cycle of the part, else its start"),
    Column(
        "kind",
        "category",
        "",
        "measure, group (a measure within one part type), setting, fact, limit or finding",
        KINDS,
    ),
    Column("name", "category", "", "column of cycles, a rate, or the name of the fact"),
    Column(
        "context", "category", "", "in rows of kind group: the values of the context columns; of kind limit: min or max"
    ),
    Column("value", "float", "", "median over the cycles (of counts the mean, of rates the rate), in `unit`"),
    Column("lower", "float", "", "lower end of the 95 % interval, or the bound where `text` is lower_bound"),
    Column("upper", "float", "", "upper end of the 95 % interval, or the bound where `text` is upper_bound"),
    Column("p05", "float", "", "5 % quantile over the cycles"),
    Column("p95", "float", "", "95 % quantile over the cycles"),
    Column("n", "int", "", "cycles behind the value"),
    Column("unit", "category", "", "unit of the values"),
    Column("text", "category", "", "what is no number: a source, a severity, a reason"),
    Column("version", "category", "", "version of tracekit that analysed the log"),
    Column("added_time", "time", "UTC", "when the row was added"),
    Column("analysis", "category", "", "hash of what shaped the rows beside the log"),
)

MARKS: tuple[Column, ...] = (
    Column("version", "category", "", "version of tracekit that analysed the log"),
    Column("added_time", "time", "UTC", "when the row was added"),
    Column("analysis", "category", "", "hash of what shaped the rows beside the log"),
)


def metadata() -> dict[str, str]:
    """What the footer of every file says."""
    return {SCHEMA_KEY: str(SCHEMA)}


def shard(log_id: str) -> str:
    """The sub-folder of a log."""
    head = log_id[:2].lower()
    return head if len(head) == 2 and all(c in "0123456789abcdef" for c in head) else "other"


def log_stem(log_id: str, analysis: str = "") -> str:
    """How the file names of one log, or of one analysis of it, begin.

    A log_id that is no plain hash is hashed first, so that no name leaves the folder.
    """
    plain = log_id if log_id.isalnum() and log_id.isascii() and len(log_id) <= 64 else digest(log_id)
    return f"{plain}-{analysis}-" if analysis else f"{plain}-"


def sealed_name(stem: str, data: bytes) -> str:
    """The name of a file that begins with `stem` and holds `data`: same content, same name."""
    return f"{stem}{hashlib.sha256(data).hexdigest()[:_SUM_DIGITS]}{SUFFIX}"


def seal_broken(name: str, data: bytes) -> bool:
    """Whether the bytes differ from what the name of their file says; a name that says nothing is believed."""
    said = _SEALED.search(name)
    return said is not None and hashlib.sha256(data).hexdigest()[:_SUM_DIGITS] != said[1]


def digest(value: object, length: int = 64) -> str:
    """SHA-256 in hex of anything that JSON can hold, the same whatever the order of its keys."""
    text = json.dumps(value, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()[:length]


def version_order(version: str) -> tuple[int, ...]:
    """A version as numbers that compare; what is no number counts as 0."""
    parts = version.split("+", maxsplit=1)[0].split(".")
    return tuple(int(p) if p.isdigit() else 0 for p in parts[:4])


def schema_of(footer: Mapping[bytes, bytes] | None) -> int:
    """The schema version that a file's footer states, 0 where it states none."""
    text = (footer or {}).get(SCHEMA_KEY.encode(), b"0").decode("ascii", "replace")
    return int(text) if text.isdigit() else 0
