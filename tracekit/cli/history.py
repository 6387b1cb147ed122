"""`tracekit history`: list, check, compact, forget, note repairs, export."""

import json
import sys
from collections.abc import Sequence
from io import TextIOWrapper
from pathlib import Path
from typing import Annotated, BinaryIO

import typer

from tracekit.cli.heard_place import heard_place
from tracekit.cli.progress import show
from tracekit.errors import UsageError, message, nearest
from tracekit.history.events import note_event, parse_event, parse_time, read_events
from tracekit.history.listing import Listing, list_history, listing_json, listing_lines, stations_of
from tracekit.history.place import Place, open_place
from tracekit.history.schema import SUMMARIES
from tracekit.history.upkeep import EVER_US, export_csv
from tracekit.history.upkeep import check as check_place
from tracekit.history.upkeep import compact as compact_place
from tracekit.history.upkeep import forget as forget_in
from tracekit.model.trend import Event
from tracekit.report.files import write_file


def history(
    place: Annotated[str, typer.Argument(metavar="DIR", help="Folder or address of the history.")],
    check: Annotated[bool, typer.Option("--check", help="Read every file and name those that are damaged.")] = False,
    compact: Annotated[bool, typer.Option("--compact", help="Merge small files. Safe while others write.")] = False,
    event: Annotated[
        list[str] | None, typer.Option(metavar="TEXT", help='Note a repair: "2025-03-02 Loader 2: cups changed".')
    ] = None,
    forget: Annotated[bool, typer.Option("--forget", help="Forget --only, a span, or both.")] = False,
    only: Annotated[str, typer.Option(metavar="STATION", help="The station to forget.")] = "",
    since: Annotated[str, typer.Option("--from", metavar="TIME", help="Forget logs from this time on.")] = "",
    until: Annotated[str, typer.Option("--to", metavar="TIME", help="Forget logs before this time.")] = "",
    export: Annotated[str, typer.Option(metavar="FILE", help="Write everything as CSV; - for standard output.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of the summary.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
) -> None:
    """List the stations of a history, or keep it in order. Without an option nothing is changed."""
    where = open_place(place)
    noted = [parse_event(text) for text in event or []]
    span = _span(only, since, until, forget=forget)
    said: list[str] = []
    if noted or forget or check or compact or export:
        _refuse_none(where)
    if noted:
        _refuse_unknown(where, noted)
    said += [f"{'noted' if note_event(where, e) else 'noted already'}: {e.station}: {e.text}" for e in noted]
    if forget:
        gone = forget_in(where, only or None, *span)
        many = "s" if gone.logs != 1 else ""
        said.append(f"{gone.logs} log{many} forgotten. The rows leave the files at the next --compact.")
    if compact:
        done = compact_place(heard_place(where))
        show("")
        said.append(f"{done.before} files merged into {done.after}; {done.removed} unfinished ones removed.")
    if export:
        said += _export(where, export)
    damaged = _check(where, said) if check else False
    if not said:
        listing = list_history(heard_place(where, [SUMMARIES]))
        show("")
        said = [_listing_json(listing, where)] if as_json else listing_lines(listing, read_events(where))
    if not quiet:
        print("\n".join(said))
    if damaged:
        raise typer.Exit(2)


def _refuse_none(where: Place) -> None:
    if not where.folders(""):
        raise UsageError(message(where.where, "no history there", "a folder made by --history", "Check the path."))


def _refuse_unknown(where: Place, events: Sequence[Event]) -> None:
    """An event of a station that the history does not have would never show.

    Raises UsageError.
    """
    known = {name.casefold(): name for name in stations_of(where)}
    for event in events:
        if event.station.casefold() not in known:
            todo = nearest(event.station, known.values())
            raise UsageError(message("--event", f'no log of "{event.station}"', "a station of the history", todo))


def _span(only: str, since: str, until: str, *, forget: bool) -> tuple[int, int]:
    """What to forget, in UTC microseconds.

    Raises UsageError where the options make no sense together.
    """
    if forget != bool(only or since or until):
        todo = 'For example --forget --only "Loader 2" --from 2025-01-01 --to 2025-02-01.'
        raise UsageError(message("--forget", "no station and no span", "--only, --from or --to with --forget", todo))
    first = parse_time(since, "--from")[0] if since else -EVER_US
    last = parse_time(until, "--to")[0] if until else EVER_US
    if first >= last:
        raise UsageError(message("--from", since, f"a time before --to {until}", "Correct one of them."))
    return first, last


def _export(where: Place, target: str) -> list[str]:
    """Write the rows as CSV; the sentence to print, none where the CSV itself was printed.

    Raises OutputError where the file cannot be written.
    """
    if target == "-":
        export_csv(where, sys.stdout)
        return []
    rows = 0

    def write(sink: BinaryIO) -> None:
        nonlocal rows
        text = TextIOWrapper(sink, encoding="utf-8", newline="")
        rows = export_csv(heard_place(where, [SUMMARIES]), text)
        text.detach()

    write_file(Path(target), write)
    show("")
    return [f"{rows} rows written to {target}."]


def _check(where: Place, said: list[str]) -> bool:
    """Add what the check found to the sentences; True where something is damaged."""
    found = check_place(heard_place(where))
    show("")
    said.append(f"{found.files} files, {found.logs} logs, {len(found.damaged)} damaged.")
    said += [f"damaged: {d.name}: {d.reason}" for d in found.damaged]
    said += [f"unfinished, ignored: {name}" for name in found.unfinished]
    said += [f"cycles without their summary, add the log again: {log_id}" for log_id in found.orphans]
    return not found.sound


def _listing_json(listing: Listing, where: Place) -> str:
    return json.dumps(listing_json(listing, read_events(where)), ensure_ascii=False, indent=1)
