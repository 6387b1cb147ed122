"""`tracekit inspect`: what was understood of a log."""

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from tracekit.errors import OutputError, TracekitError, message
from tracekit.model.station import Station
from tracekit.pipeline import diagnose
from tracekit.read.inspection import Inspection, inspect_log, inspection_json
from tracekit.read.inspection_text import inspection_text
from tracekit.read.station_file import load_stations

STANDARD_INPUT = "-"


def inspect(
    logs: Annotated[list[str], typer.Argument(metavar="LOG...", help="Text or Parquet file, folder, glob, or -.")],
    station: Annotated[list[Path] | None, typer.Option(help="Station file, or a folder of them.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
    write_station: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a station file to start from.")
    ] = None,
) -> None:
    """Say what was understood of a log: columns, units, signs, sampling, gaps, each with its evidence."""
    stations = load_stations(station or [])
    found = inspect_log(logs if len(logs) > 1 else logs[0], stations)
    if write_station is not None:
        _write(write_station, found[0].station_file)
    if as_json:
        documents = [inspection_json(one) for one in found]
        print(json.dumps(documents[0] if len(documents) == 1 else documents, ensure_ascii=False, indent=1))
    else:
        several = len(found) > 1 or logs[0] == STANDARD_INPUT
        print(
            "\n".join(inspection_text(one, () if several else _can_show(logs, stations, one)) for one in found), end=""
        )
    if any(one.questions for one in found):
        print(f"tracekit: {next(one.message for one in found if one.questions)}", file=sys.stderr)
        raise typer.Exit(2)


def _can_show(logs: list[str], stations: tuple[Station, ...], one: Inspection) -> tuple[str, ...]:
    """Per cause, the smallest change that the log would have shown; empty where it cannot be measured."""
    if one.layout is None:
        return ()
    try:
        record = diagnose(logs if len(logs) > 1 else logs[0], station=stations or None)
    except TracekitError as error:
        return (f"Nothing could be measured: {error}",)
    lines = []
    for result in record.stations:
        name = f"{result.data.station}, " if len(record.stations) > 1 else ""
        for item in result.detectable:
            size = "not shown" if item.smallest is None else f"from {item.smallest:.3g} {item.unit} of {item.measure}"
            lines.append(f"{name}{item.code}: {size}. {item.why}")
    return tuple(lines)


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        found = error.strerror or "cannot be written"
        raise OutputError(message(str(path), found, "a file that can be written", "Choose another name.")) from error
