"""`tracekit tune`: settings to enter, with their predicted effect."""

import json
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from tracekit.cli.opening import OpenPage, show_page
from tracekit.cli.progress import CountedProgress, reading_progress, show
from tracekit.cli.sides import STANDARD_INPUT, folder_for, log_paths
from tracekit.errors import UsageError, message, nearest
from tracekit.frozen import dataclass
from tracekit.model.result import DiagnosisRecord, StationResult
from tracekit.model.station import Station
from tracekit.model.trace import Block
from tracekit.model.tuning import Tuning
from tracekit.pipeline import diagnose
from tracekit.read import open_log
from tracekit.read.station_file import load_stations, match_stations
from tracekit.report.doubt import untold_leak
from tracekit.report.files import check_folder, json_write, text_write, write_files
from tracekit.report.page import safe_name
from tracekit.report.text import NBSP, clean
from tracekit.report.tune_json import tuning_json
from tracekit.report.tune_page import tune_page
from tracekit.report.tune_sheet import sheet_page
from tracekit.report.tune_text import WIDTH, model_lines, tuning_lines
from tracekit.report.view import LEAKS
from tracekit.report.words import of_quantity, plain, say
from tracekit.tune.asked import parse_settings
from tracekit.tune.tuning import check_goal, tune_station
from tracekit.units import pressure_unit

_MOST_ROWS = 20_000_000  # beyond this the averaged traces are replayed, not every sample


def tune(
    logs: Annotated[list[str], typer.Argument(metavar="LOG...", help="Text or Parquet file, folder, glob, or -.")],
    station: Annotated[
        list[Path] | None, typer.Option(help="Station file, or a folder of them. May be given again.")
    ] = None,
    settings: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="NAME=VALUE",
            help="What if: kPa of vacuum, or as in set_point=560mbar. May be given again.",
        ),
    ] = None,
    goal: Annotated[str | None, typer.Option(metavar="air|time|valve|grip", help="What to favour.")] = None,
    only: Annotated[str | None, typer.Option(metavar="NAME", help="The station, in logs of several.")] = None,
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Default: tracekit-out/ and the log's name.")] = None,
    show_model: Annotated[bool, typer.Option("--show-model", help="Print the fitted model of the station.")] = False,
    units: Annotated[str, typer.Option(metavar="UNIT", help="Pressure unit of page and screen.")] = "kPa",
    as_json: Annotated[bool, typer.Option("--json", help="Print tuning.json instead of the summary.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
    open_page: OpenPage = False,
) -> None:
    """Suggest settings for switch and air saving, with their predicted effect. Writes a page and a set-up sheet."""
    check_goal(goal)
    unit = pressure_unit(units).symbol
    wanted = _Asked(
        settings=parse_settings(settings or [], unit), goal=goal, only=only, unit=unit, show_model=show_model,
        as_json=as_json, quiet=quiet,
    )  # fmt: skip
    stations = load_stations(station or [])
    paths = log_paths(logs)
    folders = [folder_for(out if len(paths) == 1 else None if out is None else out / Path(p).stem, p) for p in paths]
    for folder in folders:
        check_folder(folder)
    done = CountedProgress("tune", len(paths), "logs")
    made: list[list[Path]] = []
    for path, folder in zip(paths, folders, strict=True):
        made.append(_tune_log(path, folder, stations, wanted))
        if len(made) < len(paths):
            done(len(made))
    for place in [place for places in made for place in places][:1]:
        show_page(place / "report.html", wanted=open_page)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """What the command line asks of every log."""

    settings: dict[str, float]
    goal: str | None
    only: str | None
    unit: str
    show_model: bool
    as_json: bool
    quiet: bool


def _tune_log(path: str, folder: Path, stations: Sequence[Station], asked: _Asked) -> list[Path]:
    """Tune every station of one recording (or the one asked for); gives the folders of its files."""
    record = diagnose(path, station=tuple(stations) or None, heard=reading_progress([path]))
    names = [result.data.station for result in record.stations]
    if asked.only is not None and asked.only not in names:
        raise UsageError(message("--only", f'"{asked.only}"', "a station of the log", nearest(asked.only, names)))
    files = match_stations(stations, names) if stations else {}
    blocks = _samples(path, record, stations)
    several = len(names) > 1 and asked.only is None
    places: list[Path] = []
    for index, name in enumerate(names):
        if asked.only is not None and name != asked.only:
            continue
        file = files.get(name, Station())
        show(f"{clean(name or Path(path).name, 24)}: trying settings ...")
        tuning = tune_station(
            record.stations[index], file, asked=asked.settings, goal=asked.goal, blocks=blocks, index=index
        )
        place = folder / "stations" / safe_name(name) if several else folder
        before = (place / "report.html").exists()
        document = _write(record, index, tuning, file, place, asked.unit)
        show("")
        leak = _leak_line(record.stations[index], tuning, asked.unit, path)
        _say(tuning, document, place, asked, leak=leak, before=before)
        places.append(place)
    return places


def _samples(path: str, record: DiagnosisRecord, stations: Sequence[Station]) -> tuple[Block, ...]:
    """Every sample once more, for exact replays; none where they are too many, or cannot be read twice."""
    if path == STANDARD_INPUT or sum(log.rows_used for log in record.logs) > _MOST_ROWS:
        return ()
    heard, rows = reading_progress([path]), 0
    kept: list[Block] = []
    for block in open_log(path, stations[0] if stations else Station()).blocks():
        kept.append(block)
        rows += len(block.time_s)
        if heard is not None:
            heard(rows)
    return tuple(kept)


def _write(
    record: DiagnosisRecord, index: int, tuning: Tuning, station: Station, folder: Path, unit: str
) -> dict[str, object]:
    document = tuning_json(tuning, tuple(log.log_id for log in record.logs))
    write_files(
        folder,
        {
            "tuning.json": json_write(document),
            "report.html": text_write(tune_page(record, index, tuning, station, unit)),
            "setup.html": text_write(sheet_page(record, tuning, unit)),
        },
    )
    return document


def _leak_line(result: StationResult, tuning: Tuning, unit: str, path: str) -> str:
    """What the leak is, where one was found, cannot be judged, or keeps settings from being suggested; else nothing."""
    rate = of_quantity(result.leak.decay_rate)
    found = any(f.code in LEAKS and f.severity != "info" for f in result.findings)
    if rate is None or not (found or untold_leak(result) or "leak" in (tuning.suggestion.withheld or "")):
        return ""
    falls = plain(say("Leak: vacuum falls {} with the supply closed.", rate), unit)
    return f"{falls} For its place: tracekit diagnose {clean(Path(path).name, 60)}".replace(NBSP, " ")


def _say(tuning: Tuning, document: dict[str, object], folder: Path, asked: _Asked, *, leak: str, before: bool) -> None:
    if asked.as_json:
        print(json.dumps(document, ensure_ascii=False, indent=1))
        return
    if asked.quiet:
        return
    told = textwrap.wrap(leak, WIDTH) if leak else []
    lines = [*tuning_lines(tuning, asked.unit), *told, *(model_lines(tuning, asked.unit) if asked.show_model else ())]
    page = f"Page: {folder / 'report.html'}{' (replaces the one that was there)' if before else ''}"
    print("\n".join([*lines, page, f"Set-up sheet: {folder / 'setup.html'}"]))
