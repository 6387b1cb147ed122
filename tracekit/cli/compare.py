"""`tracekit compare`: is the change between two recordings real."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Literal

import typer

from tracekit.cli.opening import OpenPage, show_page
from tracekit.cli.sides import apart, folder_for, read_document, recordings, station_files, station_hashes, told_apart
from tracekit.compare.engine import Asked, check_asked
from tracekit.compare.engine import compare as compare_sides
from tracekit.errors import UsageError, message
from tracekit.history.events import parse_time
from tracekit.model.comparison import Comparison
from tracekit.read.station_file import load_stations
from tracekit.report.compare_page import Given, comparison_page
from tracekit.report.comparison_json import comparison_json, plan_from_json
from tracekit.report.comparison_text import comparison_lines, on_screen
from tracekit.report.files import check_folder, json_write, text_write, write_files
from tracekit.units import pressure_unit

AcceptRule = Annotated[Literal["guarded", "simple"], typer.Option(help="Decision rule of JCGM 106 for --accept.")]
StationAfter = Annotated[
    list[Path] | None, typer.Option(help="Station file of AFTER, where it differs (ambient pressure).")
]
Match = Annotated[list[str] | None, typer.Option(metavar="COLUMN", help="Context column that tells part types apart.")]
Started = Annotated[
    str, typer.Option(metavar="TIME", help="Start of BEFORE without dates, like 2025-03-02T06:00+00:00.")
]
StartedAfter = Annotated[str, typer.Option(metavar="TIME", help="Start of AFTER without dates.")]


def compare(
    before: Annotated[str, typer.Argument(metavar="BEFORE", help="Log before the change: file, folder or glob.")],
    after: Annotated[
        str, typer.Argument(metavar="AFTER", help="Log after it. May be left out where only --accept is asked.")
    ] = "",
    also_before: Annotated[list[str] | None, typer.Option(metavar="LOG", help="A further log before.")] = None,
    also_after: Annotated[list[str] | None, typer.Option(metavar="LOG", help="A further log after.")] = None,
    station: Annotated[list[Path] | None, typer.Option(help="Station file, or a folder of them.")] = None,
    station_after: StationAfter = None,
    only: Annotated[str | None, typer.Option(metavar="NAME", help="The station, in logs of several.")] = None,
    plan: Annotated[Path | None, typer.Option(metavar="FILE", help="Plan that was frozen before the change.")] = None,
    primary: Annotated[str | None, typer.Option(metavar="MEASURE", help="The measure that decides.")] = None,
    accept: Annotated[
        list[str] | None, typer.Option(metavar="LIMIT", help='Agreed limit, like "decay_rate_kpa_s<=2".')
    ] = None,
    accept_rule: AcceptRule = "guarded",
    match: Match = None,
    started: Started = "",
    started_after: StartedAfter = "",
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Default: tracekit-out/ and AFTER's name.")] = None,
    units: Annotated[str, typer.Option(metavar="UNIT", help="Pressure unit of the page; files stay in kPa.")] = "kPa",
    as_json: Annotated[bool, typer.Option("--json", help="Print comparison.json instead of the summary.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
    open_page: OpenPage = False,
) -> None:
    """Decide whether a change between two recordings is real. Writes comparison.json and a sheet to sign."""
    folder = folder_for(out, after or before)
    check_folder(folder)
    unit = pressure_unit(units).symbol
    frozen = plan_from_json(read_document(plan), plan.name) if plan else None
    asked = Asked(
        primary=primary, plan=frozen, accept=tuple(accept or ()), accept_rule=accept_rule, match=tuple(match or ()),
        accept_side="after" if after else "before")  # fmt: skip
    check_asked(asked, two_sides=bool(after))
    files = (station or [], station_after or station or [])
    stations = [load_stations(paths) for paths in files]
    logs = ([before, *(also_before or ())], [after, *(also_after or ())] if after else [])
    starts = (_start(started, "--started", logs[0]), _start(started_after, "--started-after", logs[1]))
    decide = bool(after) and not (primary or frozen)
    sides = (
        recordings(logs[0], stations[0], only, findings=decide, started_us=starts[0]),
        recordings(logs[1], stations[1], only, started_us=starts[1]),
    )
    named = told_apart(sides, logs)
    result = replace(compare_sides(*named, asked), station_files=station_hashes([*files[0], *files[1]]))
    document = comparison_json(result)
    page = text_write(comparison_page(result, unit, _given(station or [], station_after or [], only)))
    write_files(folder, {"comparison.json": json_write(document), "report.html": page})
    if as_json or not quiet:
        _say(result, document if as_json else None, unit, folder)
    show_page(folder / "report.html", wanted=open_page)


def _given(both: list[Path], after: list[Path], only: str | None) -> Given:
    """What a check of the sheet must be given, by the names that the sheet uses."""
    files = station_files(both), station_files(after)
    names = apart([str(f) for side in files for f in side])
    first, second = (tuple(names[str(f)] for f in side) for side in files)
    return Given(station=first, station_after=second, only=only or "")


def _start(text: str, option: str, logs: list[str]) -> int | None:
    """When the only log of a side began [µs UTC]; None where nobody said.

    Raises UsageError where there is not one log, or for what is no time.
    """
    if not text:
        return None
    if len(logs) != 1:
        found = f"{len(logs)} logs on its side"
        raise UsageError(message(option, found, "one", "Give logs with dates, or one log."))
    return parse_time(text, option)[0]


def _say(result: Comparison, document: dict[str, object] | None, unit: str, folder: Path) -> None:
    """Print the document where it is given, else the summary and where the sheet is."""
    if document is not None:
        print(json.dumps(document, ensure_ascii=False, indent=1))
        return
    print(on_screen([*comparison_lines(result, unit), f"Sheet: {folder / 'report.html'}"]))
