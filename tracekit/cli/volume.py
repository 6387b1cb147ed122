"""`tracekit volume`: the volume of a station from two decays and a known orifice."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from tracekit.cli.opening import OpenPage, show_page
from tracekit.cli.progress import reading_progress, show
from tracekit.cli.sides import folder_for
from tracekit.compare.recording import chosen_station
from tracekit.compare.volume import Orifice, check_orifice, volume_of
from tracekit.options.compare import VolumeOptions
from tracekit.pipeline import measure
from tracekit.read.station_file import load_stations
from tracekit.report.comparison_json import volume_json
from tracekit.report.comparison_text import on_screen, volume_lines
from tracekit.report.files import check_folder, json_write, text_write, write_files
from tracekit.report.volume_page import volume_page


def volume(
    reference: Annotated[str, typer.Argument(metavar="LOG", help="Decays of the station as it is, cup on a plate.")],
    opened: Annotated[str, typer.Argument(metavar="LOG", help="The same with the known orifice open.")],
    orifice_mm: Annotated[float | None, typer.Option(metavar="D", help="Diameter of the orifice [mm].")] = None,
    discharge: Annotated[
        float | None, typer.Option(metavar="CD", help="Its discharge coefficient. Absent: 0.6 to 1.")
    ] = None,
    orifice_c_dm3_s_bar: Annotated[
        float | None, typer.Option(metavar="C", help="Sonic conductance, ISO 6358 [dm3/(s bar)].")
    ] = None,
    orifice_b: Annotated[float | None, typer.Option(metavar="B", help="Critical pressure ratio, ISO 6358.")] = None,
    orifice_u: Annotated[
        float | None, typer.Option(metavar="U", help="Relative standard uncertainty of C. Absent: 0.03.")
    ] = None,
    station: Annotated[list[Path] | None, typer.Option(help="Station file: ambient pressure, temperature.")] = None,
    only: Annotated[str | None, typer.Option(metavar="NAME", help="The station, in logs of several.")] = None,
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Default: tracekit-out/ and the log's name.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print volume.json instead of the summary.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
    open_page: OpenPage = False,
) -> None:
    """Find the volume of a station from two decays, the second through a known extra orifice."""
    folder = folder_for(out, opened)
    check_folder(folder)
    orifice = Orifice(
        conductance_dm3_s_bar=orifice_c_dm3_s_bar, critical_ratio=orifice_b, diameter_mm=orifice_mm,
        discharge=discharge,
    )  # fmt: skip
    check_orifice(orifice)
    options = VolumeOptions()
    if orifice_u is not None:
        options = replace(options, orifice_u_share=orifice_u)
    stations = load_stations(station or [])
    logs = [measure(log, stations or None, heard=reading_progress([log])) for log in (reference, opened)]
    show("")
    places = [chosen_station([s.station for s in log.stations], only, log.facts.source) for log in logs]
    data = [log.stations[at] for log, at in zip(logs, places, strict=True)]
    result = volume_of(data[0], data[1], (logs[0].facts, logs[1].facts), orifice, options)
    document = volume_json(result)
    write_files(folder, {"volume.json": json_write(document), "report.html": text_write(volume_page(result))})
    if as_json:
        print(json.dumps(document, ensure_ascii=False, indent=1))
    elif not quiet:
        print(on_screen([*volume_lines(result), f"Page: {folder / 'report.html'}"]))
    show_page(folder / "report.html", wanted=open_page)
