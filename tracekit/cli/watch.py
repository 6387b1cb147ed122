"""`tracekit watch`: the main job for every log that a logger drops into a folder."""

import json
import shlex
import signal
import sys
from collections.abc import Mapping
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from tracekit.errors import UsageError, message
from tracekit.fleet.address import is_address
from tracekit.fleet.batch import LAST_GOOD, SEVERITIES, Job
from tracekit.fleet.watch import Watch
from tracekit.fleet.watch import watch as watch_folder
from tracekit.fleet.watch_alarm import WEBHOOK_VARIABLE, Telling, checked_webhook
from tracekit.history.place import LocalPlace, Place, open_place
from tracekit.model.finding import Severity
from tracekit.options.watch import WatchOptions
from tracekit.read.source import find_inputs
from tracekit.read.station_file import load_stations
from tracekit.report.files import check_folder
from tracekit.units import pressure_unit

_Baseline = Annotated[
    str | None, typer.Option(metavar="LOG", help="The healthy station; last-good: the history's, once it has one.")
]


def watch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the logger puts its files.")],
    history: Annotated[str, typer.Option(metavar="DIR", help="Folder or address of the history to add to.")],
    station: Annotated[list[Path] | None, typer.Option(help="Station file, or a folder of them.")] = None,
    baseline: _Baseline = None,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Where the pages go, a folder per log.")] = Path(
        "tracekit-out"
    ),
    once: Annotated[bool, typer.Option("--once", help="Take what is there and end, for a scheduler.")] = False,
    recursive: Annotated[bool, typer.Option("--recursive", help="Watch the folders inside it too.")] = False,
    poll: Annotated[float, typer.Option(min=0.1, metavar="S", help="Seconds between two looks.")] = 5.0,
    settle: Annotated[float, typer.Option(min=0.0, metavar="S", help="Seconds without change: complete.")] = 10.0,
    give_up: Annotated[float, typer.Option(min=0.0, metavar="S", help="Unreadable so long: set aside.")] = 120.0,
    command: Annotated[
        str, typer.Option("--exec", metavar="COMMAND", help="Run this for bad logs and alarms; facts in TRACEKIT_…")
    ] = "",
    webhook: Annotated[
        str,
        typer.Option(metavar="URL", envvar=WEBHOOK_VARIABLE, help="Post to this then; never logged."),
    ] = "",
    alarm_on: Annotated[Severity, typer.Option(help="How bad it must be for --exec and --webhook.")] = "major",
    timeout: Annotated[float, typer.Option(min=1.0, metavar="S", help="Longest time for either.")] = 30.0,
    date_by_file: Annotated[
        bool, typer.Option("--date-by-file", help="Date logs by the last change of their file: for logs without dates.")
    ] = False,
    units: Annotated[str, typer.Option(metavar="UNIT", help="Pressure unit of the pages.")] = "kPa",
) -> None:
    """Diagnose every log that appears in a folder and add it to a history. One line of JSON per event."""
    if not folder.is_dir():
        raise UsageError(message(str(folder), "no such folder", "the folder of the logger", "Check the path."))
    check_folder(out)
    place = open_place(history)
    telling = Telling(
        command=_command(command), webhook=checked_webhook(webhook) if webhook else "",
        severities=SEVERITIES[SEVERITIES.index(alarm_on) :],
    )  # fmt: skip
    watched = Watch(
        folder=folder, template=_template(out, history, station or [], baseline, units), out=out,
        notes=_notes(place, out), date_by_file=date_by_file, recursive=recursive, telling=telling,
        options=WatchOptions(poll_s=poll, settle_s=settle, bad_s=give_up, tell_s=timeout),
    )  # fmt: skip
    if recursive:
        _refuse_inside(folder, out, place)
    before = signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))  # so a service manager ends a service
    try:
        watch_folder(watched, _say, once=once)
    finally:
        signal.signal(signal.SIGTERM, before)


def _template(out: Path, history: str, station: list[Path], baseline: str | None, units: str) -> Job:
    """How each log is diagnosed. Raises LogReadError where the baseline is not there."""
    if baseline is not None and baseline != LAST_GOOD and not is_address(baseline):
        find_inputs(baseline)
    stations, unit = load_stations(station), pressure_unit(units).symbol
    return Job(log="", folder=out, stations=stations, history=history, baseline=baseline, unit=unit)


def _notes(place: Place, out: Path) -> Place:
    """Notes stand with a history in a folder; of one at an address they stay on this machine, with the results."""
    if isinstance(place, LocalPlace):
        check_folder(place.root)
        return place
    return LocalPlace(out)


def _command(text: str) -> tuple[str, ...]:
    """The words of a command. Raises UsageError where its quotes do not match."""
    try:
        return tuple(shlex.split(text, posix=sys.platform != "win32"))
    except ValueError as error:
        raise UsageError(message("--exec", str(error), "a command with matching quotes", "Correct it.")) from error


def _refuse_inside(folder: Path, out: Path, place: Place) -> None:
    """Results in a folder that is watched would be taken for logs."""
    roots = [("--out", out), *([("--history", place.root)] if isinstance(place, LocalPlace) else [])]
    for name, root in roots:
        if root.resolve().is_relative_to(folder.resolve()):
            found = f"{root} lies in the watched folder"
            raise UsageError(message(name, found, "a folder outside of it", "Choose another one."))


def _say(event: str, facts: Mapping[str, object]) -> None:
    """One line of JSON per event. A full disk under the log of this does not end the watch."""
    now = datetime.now(UTC).isoformat(timespec="seconds")
    line = json.dumps({"time": now, "event": event, **facts}, ensure_ascii=False)
    try:
        print(line, flush=True)
    except BrokenPipeError:
        raise
    except OSError:
        with suppress(OSError):
            print(line, flush=True, file=sys.stderr)
