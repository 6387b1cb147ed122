"""`tracekit plan`: how fast to sample and how many cycles to record."""

import json
from pathlib import Path
from typing import Annotated

import typer

from tracekit.cli.opening import OpenPage, show_page
from tracekit.cli.sides import DEFAULT_OUT, recordings
from tracekit.compare.engine import Asked, choose_primary, now_utc
from tracekit.compare.measures import DEFAULT_PRIMARY
from tracekit.compare.plan import plan_for
from tracekit.compare.plan_share import PlanQuestion
from tracekit.errors import UsageError, message
from tracekit.options.compare import CompareOptions, PlanOptions, SerialOptions
from tracekit.read.station_file import load_stations
from tracekit.report.comparison_json import plan_json
from tracekit.report.comparison_text import on_screen, plan_lines
from tracekit.report.files import check_folder, json_write, refuse_existing, text_write, write_file, write_files
from tracekit.report.plan_page import plan_page

KEPT = "Frozen plans are kept."


def plan(
    pilot: Annotated[
        str, typer.Option("--from", metavar="LOG", help="Pilot log of this station: file, folder or glob.")
    ] = "",
    measure: Annotated[
        str, typer.Option(metavar="MEASURE", help="What is to be shown. Default: behind the pilot's first finding.")
    ] = "",
    change: Annotated[
        str, typer.Option(metavar="CHANGE", help='Smallest change to be shown, "0.5" in its unit or "20%".')
    ] = "20%",
    margin: Annotated[float | None, typer.Option(help="Margin within which nothing has changed, in its unit.")] = None,
    power: Annotated[float, typer.Option(min=0.5, max=0.99, help="Chance of showing the change.")] = 0.8,
    looks: Annotated[int, typer.Option(min=1, max=12, help="How often to look while AFTER is recorded.")] = 1,
    station: Annotated[list[Path] | None, typer.Option(help="Station file, or a folder of them.")] = None,
    only: Annotated[str | None, typer.Option(metavar="NAME", help="The station, in logs of several.")] = None,
    freeze: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Fix the plan in this file, with a hash, before the change.")
    ] = None,
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Default: tracekit-out/plan.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print plan.json instead of the summary.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
    open_page: OpenPage = False,
) -> None:
    """Say how fast to sample and how many cycles to record to show a stated change."""
    folder = out or DEFAULT_OUT / "plan"
    check_folder(folder)
    if freeze:
        refuse_existing(freeze, KEPT)
        check_folder(freeze.parent)
    size, relative = _change(change)
    side = recordings([pilot], load_stations(station or []), only, findings=not measure) if pilot else ()
    named = measure or (choose_primary(side, Asked())[0] if side else DEFAULT_PRIMARY)
    question = PlanQuestion(
        measure=named, change=size, relative=relative, margin=margin, power=power, looks=looks
    )  # fmt: skip
    options = CompareOptions()
    result = plan_for(question, side, options, PlanOptions(), SerialOptions(), now_utc() if freeze else "")
    document = plan_json(result)
    write_files(folder, {"plan.json": json_write(document), "report.html": text_write(plan_page(result))})
    if freeze:
        write_file(freeze, json_write(document), kept=KEPT)
    if as_json:
        print(json.dumps(document, ensure_ascii=False, indent=1))
    elif not quiet:
        frozen = [f"Frozen in {freeze}."] if freeze else []
        print(on_screen([*plan_lines(result), *frozen, f"Page: {folder / 'report.html'}"]))
    show_page(folder / "report.html", wanted=open_page)


def _change(text: str) -> tuple[float, bool]:
    """Size of a change and whether it is relative.

    Raises UsageError where it is no number.
    """
    relative = text.strip().endswith("%")
    try:
        size = float(text.strip().removesuffix("%"))
    except ValueError as error:
        expected = 'a number in the measure\'s unit, or per cent like "20%"'
        raise UsageError(message("--change", f'"{text}"', expected, "Correct it.")) from error
    return (size / 100.0, True) if relative else (size, False)
