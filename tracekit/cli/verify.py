"""`tracekit verify`: recompute a comparison from its logs."""

import json
from pathlib import Path
from typing import Annotated

import typer

from tracekit.cli.sides import read_document, recordings, station_hashes
from tracekit.compare.engine import compare as compare_sides
from tracekit.compare.verify import asked_of, differences, options_of, sides_of
from tracekit.errors import UsageError, message
from tracekit.read.station_file import load_stations
from tracekit.report.comparison_json import comparison_json, plan_from_json


def verify(
    sheet: Annotated[Path, typer.Argument(metavar="SHEET.json", help="comparison.json of the sheet.")],
    logs: Annotated[list[str], typer.Argument(metavar="LOG...", help="The logs that it was made from.")],
    station: Annotated[list[Path] | None, typer.Option(help="Station file that was used.")] = None,
    station_after: Annotated[list[Path] | None, typer.Option(help="Station file of AFTER, where it differed.")] = None,
    only: Annotated[str | None, typer.Option(metavar="NAME", help="The station, in logs of several.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print what was found as JSON.")] = False,
) -> None:
    """Recompute a comparison from its logs and say whether its figures and hashes still hold. Exit 2 if not."""
    document = read_document(sheet)
    frozen = document.get("plan")
    plan = plan_from_json(frozen, sheet.name) if isinstance(frozen, dict) else None
    asked, options = asked_of(document, plan, sheet.name), options_of(document, sheet.name)
    files = (station or [], station_after or station or [])
    first = recordings(logs, load_stations(files[0]), only)
    second = recordings(logs, load_stations(files[1]), only) if station_after else first
    before, after, faults = sides_of(document, first, second)
    used = station_hashes([*files[0], *files[1]])
    named = document.get("station_files", {})
    if used != named:
        faults = (*faults, f"station files: the sheet names {named or 'none'}, given are {used or 'none'}")
    if not faults:
        faults = differences(document, comparison_json(compare_sides(before, after, asked, options)))
    if as_json:
        print(json.dumps({"sheet": sheet.name, "holds": not faults, "faults": list(faults)}, indent=1))
    if faults:
        listed = "; ".join(faults[:8]) + (f"; and {len(faults) - 8} more" if len(faults) > 8 else "")
        raise UsageError(message(sheet.name, f"does not hold: {listed}", "the logs' own figures", "Compare them anew."))
    if not as_json:
        n = len(before) + len(after)
        print(f"{sheet.name} holds: {n} log{'s' if n > 1 else ''}, every hash, figure and verdict as recomputed.")
