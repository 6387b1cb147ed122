"""`tracekit inspect`: what was understood of a log."""

import json
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Annotated, BinaryIO

import typer

from tracekit.cli.opening import OpenPage, show_page
from tracekit.cli.progress import reading_progress, show
from tracekit.errors import TracekitError
from tracekit.model.result import StationResult
from tracekit.model.station import Station
from tracekit.options.report import ReportOptions
from tracekit.pipeline import diagnose
from tracekit.read.inspection import Inspection, inspect_log, inspection_json
from tracekit.read.inspection_text import inspection_text
from tracekit.read.station_file import load_stations
from tracekit.report.files import check_folder, json_write, refuse_existing, text_write, write_file, write_files
from tracekit.report.inspect_page import inspection_page
from tracekit.report.measures import measure as in_words
from tracekit.report.phrases import cause_name
from tracekit.report.sections import shown_alone
from tracekit.units import pressure_unit

STANDARD_INPUT = "-"
DEFAULT_OUT = Path("tracekit-out") / "inspect"
KEPT = "Station files that may have been edited are kept."


def inspect(
    logs: Annotated[list[str], typer.Argument(metavar="LOG...", help="Text or Parquet file, folder, glob, or -.")],
    station: Annotated[list[Path] | None, typer.Option(help="Station file, or a folder of them.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")] = False,
    write_station: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a station file to start from.")
    ] = None,
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Write a page and inspection.json there.")] = None,
    units: Annotated[str, typer.Option(metavar="UNIT", help="Pressure unit of the page.")] = "kPa",
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
    open_page: OpenPage = False,
) -> None:
    """Say what was understood of a log: columns, units, signs, sampling, gaps, each with its evidence."""
    unit = pressure_unit(units).symbol
    if open_page and out is None:
        out = DEFAULT_OUT / (Path(logs[0]).name.split(".")[0] or "log")
    if out is not None:
        check_folder(out)
    stations = load_stations(station or [])
    found = inspect_log(logs if len(logs) > 1 else logs[0], stations)
    if write_station is not None:
        if write_station.is_file():
            refuse_existing(write_station, KEPT)
        write_file(write_station, text_write(found[0].station_file), kept=KEPT)
        if len(found) > 1:
            print(f"tracekit: {write_station.name} is of {found[0].source} alone", file=sys.stderr)
    several = len(found) > 1 or logs[0] == STANDARD_INPUT
    wanted = (out is not None or not (as_json or quiet)) and not several
    shows = [_measured(logs, stations, one) if wanted else ((), ()) for one in found]
    if out is not None:
        pairs = [(one, results) for one, (results, _) in zip(found, shows, strict=True)]
        write_files(out, dict(_files(pairs, unit)))
    if as_json:
        documents = [inspection_json(one) for one in found]
        print(json.dumps(documents[0] if len(documents) == 1 else documents, ensure_ascii=False, indent=1))
    elif not quiet:
        print("\n".join(inspection_text(one, lines) for one, (_, lines) in zip(found, shows, strict=True)), end="")
        wrote = [f"Station file: {write_station}"] if write_station is not None else []
        wrote += [f"Page: {out / 'report.html'}"] if out is not None else []
        print("\n" + "\n".join(wrote) if wrote else "", end="\n" if wrote else "")
    if out is not None:
        show_page(out / "report.html", wanted=open_page)
    for one in (one for one in found if one.message):
        print(f"tracekit: {one.message}", file=sys.stderr)
    if any(one.message for one in found):
        raise typer.Exit(2)


def _files(
    found: Sequence[tuple[Inspection, tuple[StationResult, ...]]], unit: str
) -> Iterator[tuple[str, Callable[[BinaryIO], None]]]:
    """Page and JSON of every recording; the first under the plain names, the others numbered."""
    options = ReportOptions(unit=unit)
    for at, (one, results) in enumerate(found):
        tail = f"_{at + 1}" if at else ""
        yield f"report{tail}.html", text_write(inspection_page(one, results, options))
        yield f"inspection{tail}.json", json_write(inspection_json(one))


def _measured(
    logs: list[str], stations: tuple[Station, ...], one: Inspection
) -> tuple[tuple[StationResult, ...], tuple[str, ...]]:
    """What a diagnosis of the log gave, and per cause a line on the smallest change that it would have shown."""
    if one.layout is None:
        return (), ()
    try:
        record = diagnose(logs if len(logs) > 1 else logs[0], station=stations or None, heard=reading_progress(logs))
    except TracekitError as error:
        return (), (f"Nothing could be measured: {error}",)
    finally:
        show("")
    lines = []
    for result in record.stations:
        name = f"{result.data.station}, " if len(record.stations) > 1 else ""
        alone = shown_alone(result)
        lines += [f"{name}Shown by this log alone: {', '.join(alone)}."] if alone else []
        hidden: dict[str, list[str]] = {}
        for item in result.detectable:
            if item.smallest is None:
                hidden.setdefault(_sentence(item.why), []).append(cause_name(item.code).lower())
            else:
                size = f"{item.smallest:.2g} {item.unit}".rstrip()
                what = f"{cause_name(item.code)}: from {size} of {in_words(item.measure).name}"
                lines.append(f"{name}{what}. {_sentence(item.why)}")
        lines += [f"{name}Not shown: {', '.join(causes)}. {why}" for why, causes in hidden.items()]
    return record.stations, tuple(lines)


def _sentence(text: str) -> str:
    """A reason as a sentence of its own."""
    return f"{text[:1].upper()}{text[1:].rstrip('.')}." if text else ""
