"""`tracekit watch`: the main job for every log that a logger drops into a folder."""

import json
import shlex
import sys
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from tracekit.errors import UsageError, message
from tracekit.fleet.batch import SEVERITIES, Job
from tracekit.fleet.watch import Watch
from tracekit.fleet.watch import watch as watch_folder
from tracekit.history.place import LocalPlace
from tracekit.model.finding import Severity
from tracekit.options.watch import WatchOptions
from tracekit.read.station_file import load_stations
from tracekit.report.files import check_folder
from tracekit.units import pressure_unit


def watch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the logger puts its files.")],
    history: Annotated[Path, typer.Option(metavar="DIR", help="The history to add to.")],
    station: Annotated[list[Path] | None, typer.Option(help="Station file, or a folder of them.")] = None,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Where the pages go, a folder per log.")] = Path(
        "tracekit-out"
    ),
    once: Annotated[bool, typer.Option("--once", help="Take what is there and end, for a scheduler.")] = False,
    poll: Annotated[float, typer.Option(min=0.1, metavar="S", help="Seconds between two looks.")] = 5.0,
    settle: Annotated[float, typer.Option(min=0.0, metavar="S", help="Seconds without change: complete.")] = 10.0,
    command: Annotated[
        str, typer.Option("--exec", metavar="COMMAND", help="Run this when a log is bad; facts in TRACEKIT_…")
    ] = "",
    alarm_on: Annotated[Severity, typer.Option(help="How bad a log must be for --exec.")] = "major",
    timeout: Annotated[float, typer.Option(min=1.0, metavar="S", help="Longest time for --exec.")] = 30.0,
    date_by_file: Annotated[
        bool, typer.Option("--date-by-file", help="Date logs by the last change of their file: for logs without dates.")
    ] = False,
    units: Annotated[str, typer.Option(metavar="UNIT", help="Pressure unit of the pages.")] = "kPa",
) -> None:
    """Diagnose every log that appears in a folder and add it to a history. One line of JSON per event."""
    if not folder.is_dir():
        raise UsageError(message(str(folder), "no such folder", "the folder of the logger", "Check the path."))
    check_folder(out)
    check_folder(history)
    stations, unit = load_stations(station or []), pressure_unit(units).symbol
    template = Job(log="", folder=out, stations=stations, history=str(history), unit=unit)
    options = WatchOptions(poll_s=poll, settle_s=settle, command_s=timeout)
    watched = Watch(
        folder=folder, template=template, out=out, notes=LocalPlace(history), date_by_file=date_by_file,
        command=tuple(shlex.split(command)), alarm_from=SEVERITIES[SEVERITIES.index(alarm_on) :], options=options,
    )  # fmt: skip
    watch_folder(watched, _say, once=once)


def _say(event: str, facts: Mapping[str, object]) -> None:
    """One line of JSON per event."""
    now = datetime.now(UTC).isoformat(timespec="seconds")
    print(json.dumps({"time": now, "event": event, **facts}, ensure_ascii=False), flush=True, file=sys.stdout)
