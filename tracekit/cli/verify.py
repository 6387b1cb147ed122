"""`tracekit verify`: does a comparison or a page still follow from its logs."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated

import typer

from tracekit.cli.progress import reading_progress, show
from tracekit.cli.sides import read_document, recordings, station_hashes
from tracekit.compare.engine import compare as compare_sides
from tracekit.compare.verify import asked_of, differences, options_of, sides_of
from tracekit.errors import UsageError, message
from tracekit.history.good import last_good
from tracekit.options.report import ReportOptions
from tracekit.pipeline import Kept, diagnose
from tracekit.read.station_file import load_stations
from tracekit.report import proof
from tracekit.report.comparison_json import comparison_json, plan_from_json
from tracekit.report.json import diagnosis_json
from tracekit.report.page import index_page, station_page
from tracekit.report.passed import limits_passed

_MOST_FAULTS = 8
_ADD = "Add --baseline LOG, or --history DIR for a last good log."


def verify(
    sheet: Annotated[Path, typer.Argument(metavar="SHEET", help="comparison.json, or report.html of a diagnosis.")],
    logs: Annotated[list[str], typer.Argument(metavar="LOG...", help="The logs that it was made from.")],
    station: Annotated[list[Path] | None, typer.Option(help="Station file that was used.")] = None,
    station_after: Annotated[list[Path] | None, typer.Option(help="Station file of AFTER, where it differed.")] = None,
    baseline: Annotated[str | None, typer.Option(metavar="LOG", help="Baseline of a page.")] = None,
    history: Annotated[
        str | None, typer.Option(metavar="DIR", help="History that the last good log of a page was taken from.")
    ] = None,
    blanked: Annotated[str | None, typer.Option(metavar="LOG", help="Log with the cup on a plate, of a page.")] = None,
    only: Annotated[str | None, typer.Option(metavar="NAME", help="The station, in logs of several.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print what was found as JSON.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
) -> None:
    """Recompute a comparison or a page from its logs and say whether figures and hashes still hold. Exit 2 if not."""
    if sheet.suffix.casefold() in (".html", ".htm"):
        faults, said = _page(sheet, logs, station or [], (baseline, history), blanked)
    else:
        faults, said = _comparison(sheet, logs, (station or [], station_after or []), only)
    if as_json:
        print(json.dumps({"sheet": sheet.name, "holds": not faults, "faults": list(faults)}, indent=1))
    if faults and faults[0].startswith(proof.ASKS):
        raise UsageError(message(sheet.name, f"cannot be checked yet: {faults[0]}", "every log behind it", _ADD))
    if faults:
        more = len(faults) - _MOST_FAULTS
        listed = "; ".join(faults[:_MOST_FAULTS]) + (f"; and {more} more" if more > 0 else "")
        raise UsageError(message(sheet.name, f"does not hold: {listed}", "the logs' own figures", "Make it anew."))
    if not as_json and not quiet:
        print(f"{sheet.name} holds: {said}.")


def _comparison(
    sheet: Path, logs: Sequence[str], files: tuple[Sequence[Path], Sequence[Path]], only: str | None
) -> tuple[tuple[str, ...], str]:
    """Faults of a comparison's sheet, and what was checked."""
    document = read_document(sheet)
    frozen = document.get("plan")
    plan = plan_from_json(frozen, sheet.name) if isinstance(frozen, dict) else None
    asked, options = asked_of(document, plan, sheet.name), options_of(document, sheet.name)
    mine, after_files = files[0], files[1] or files[0]
    first = recordings(logs, load_stations(mine), only)
    second = recordings(logs, load_stations(after_files), only) if files[1] else first
    before, after, faults = sides_of(document, first, second)
    used = station_hashes([*mine, *after_files])
    written = document.get("station_files", {})
    named = {name: str(digest) for name, digest in written.items()} if isinstance(written, dict) else used
    if sorted(used.values()) != sorted(named.values()):
        faults = (*faults, _other_files(named, used))
    if not faults:
        faults = differences(document, comparison_json(compare_sides(before, after, asked, options)))
    n = len(before) + len(after)
    return faults, f"{n} log{'s' if n > 1 else ''}, every hash, figure and verdict as recomputed"


def _other_files(named: Mapping[str, str], used: Mapping[str, str]) -> str:
    """That the station files given are not those of the sheet, and which to give."""
    told, given = (
        ", ".join(f"{name} (SHA-256 {digest[:12]})" for name, digest in files.items()) or "none"
        for files in (named, used)
    )
    todo = "give --station FILE that the sheet was made with" if named else "leave --station out"
    return f"station files: the sheet names {told}, given: {given}; {todo}"


def _page(
    sheet: Path,
    logs: Sequence[str],
    station: Sequence[Path],
    healthy: tuple[str | None, str | None],
    blanked: str | None,
) -> tuple[tuple[str, ...], str]:
    """Faults of a page of a diagnosis, and what was checked. `healthy` is the baseline's log, or else its history."""
    text = proof.read_page(sheet)
    data = proof.embedded(text, sheet.name)
    log = list(logs) if len(logs) > 1 else logs[0]
    baseline, history = healthy
    start_us = proof.start_of(data)
    kept = Kept(of=lambda name: last_good(history, name, start_us)[:2]) if history and baseline is None else baseline
    files = load_stations(station) or None
    heard = reading_progress(logs)
    record = diagnose(log, station=files, baseline=kept, blanked=blanked, started_us=start_us, heard=heard)
    show("")
    faults = proof.same_logs(data, record)
    if faults:
        return faults, ""
    index, again = proof.index_of(data, record), proof.dated(record, data)
    options = ReportOptions(unit=str(data.get("unit", "kPa")))
    limits = limits_passed(diagnosis_json(again), files or ())
    page = index_page(again, options, limits) if index is None else station_page(again, index, options, limits)
    told = str(data["proof"]["version"])
    made = f", made by version {told}" if told != record.version else ""
    return proof.differences(text, data, page), f"every hash, figure, cycle and sentence as recomputed{made}"
