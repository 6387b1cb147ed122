"""A log that leaves the recipe of its station file part of the way: refused by line number, not read in part."""

from collections.abc import Sequence

from tracekit.errors import LogReadError, message
from tracekit.model.station import Station
from tracekit.model.trace import LogFacts, Rejection
from tracekit.options.read import ReadOptions


def refuse_deviation(facts: LogFacts, files: Sequence[Station], options: ReadOptions) -> None:
    """Raise LogReadError where a station file says how its logs are written and too many rows are written otherwise.

    A single bad line is left out and counted, as anywhere else. Without a recipe nothing was promised.
    """
    if not any(file.channels for file in files):
        return
    odd = [r for r in facts.rejections if _is_of_shape(r)]
    rows = sum(r.rows for r in odd)
    if rows < options.odd_rows or rows < options.odd_share * facts.rows_read:
        return
    first = min(odd, key=lambda r: r.first_lines[0])
    told = "; ".join(f"{r.rows} from line {r.first_lines[0]}: {r.reason}" for r in odd)
    found = f"line {first.first_lines[0]} and {rows - 1} more of {facts.rows_read} rows are written otherwise ({told})"
    todo = "Export the log as before, or make a station file for the new form with inspect --write-station."
    raise LogReadError(message(facts.source, found, "rows as [channels] of the station file says", todo))


def _is_of_shape(rejection: Rejection) -> bool:
    """Left out for how the row is written; not for what its clock did."""
    return bool(rejection.first_lines) and (
        " fields instead of " in rejection.reason or rejection.reason.startswith(("no time", "no tag", "no station"))
    )
