"""`tracekit diagnose`: the main job."""

import importlib
import sys
from pathlib import Path
from types import ModuleType
from typing import Annotated

import typer

from tracekit.cli.opening import OpenPage
from tracekit.fleet.processes import begin_early, here_to_stay
from tracekit.model.finding import Severity

_WORK = "tracekit.cli.diagnosing"


def _loaded() -> ModuleType:
    """What does the work, loaded at the first call; it takes a while, in which workers load it for themselves."""
    if (known := sys.modules.get(_WORK)) is not None:
        return known
    with here_to_stay():
        return importlib.import_module(_WORK)


def diagnose(
    logs: Annotated[list[str], typer.Argument(metavar="LOG...", help="Text or Parquet file, folder, glob, or -.")],
    station: Annotated[
        list[Path] | None, typer.Option(help="Station file, or a folder of them. May be given again.")
    ] = None,
    baseline: Annotated[
        str | None,
        typer.Option(metavar="LOG", help="The same station while it was healthy; last-good takes it from the history."),
    ] = None,
    blanked: Annotated[
        str | None, typer.Option(metavar="LOG", help="The same station with the cup on a flat plate.")
    ] = None,
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Default: tracekit-out/ and the log's name.")] = None,
    history: Annotated[str, typer.Option(metavar="DIR", help="Add the cycles to this history.")] = "",
    started: Annotated[
        str, typer.Option(metavar="TIME", help="Start of a log without dates, like 2025-03-02T06:00+00:00.")
    ] = "",
    csv: Annotated[bool, typer.Option("--csv", help="Write the tables as CSV too.")] = False,
    units: Annotated[str, typer.Option(metavar="UNIT", help="Pressure unit of the page; files stay in kPa.")] = "kPa",
    fail_on: Annotated[Severity | None, typer.Option(help="Exit with 1 when a finding is as severe as this.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print diagnosis.json instead of the summary.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
    no_color: Annotated[bool, typer.Option("--no-color", help="No colours on the screen.")] = False,
    timing: Annotated[bool, typer.Option("--timing", help="Say how long each part took.")] = False,
    workers: Annotated[int, typer.Option(min=0, help="Processes for several logs; 0: one per core.")] = 0,
    cluster: Annotated[
        str, typer.Option(metavar="ADDRESS", help="Dask scheduler that shares out the logs, like tcp://host:8786.")
    ] = "",
    open_page: OpenPage = False,
) -> None:
    """Say what is wrong, how sure, and what to do first. Writes a page, findings and tables into a folder."""
    if not cluster:
        begin_early(logs, workers)
    _loaded().diagnose_logs(
        logs, station or [], baseline=baseline, blanked=blanked, out=out, history=history, started=started, csv=csv,
        units=units, fail_on=fail_on, as_json=as_json, quiet=quiet, no_color=no_color, timing=timing, workers=workers,
        cluster=cluster, open_page=open_page,
    )  # fmt: skip
