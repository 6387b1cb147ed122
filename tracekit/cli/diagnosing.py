"""What `tracekit diagnose` does with its options."""

import json
import os
import sys
import textwrap
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import typer

from tracekit.cli.opening import show_page
from tracekit.cli.progress import pace, reading_progress, show
from tracekit.errors import UsageError, message
from tracekit.fleet.address import is_address, logs_at
from tracekit.fleet.batch import LAST_GOOD, SEVERITIES, Job, Outcome, run_jobs
from tracekit.fleet.cluster import run_on_cluster
from tracekit.fleet.processes import worker_count
from tracekit.fleet.timing import timing_line
from tracekit.history.events import parse_time
from tracekit.model.finding import Severity
from tracekit.model.station import Station
from tracekit.options.report import ReportOptions
from tracekit.read import open_log
from tracekit.read.opening import LogGroup, group_logs
from tracekit.read.source import find_inputs
from tracekit.read.station_file import load_stations
from tracekit.report.files import check_folder, text_write, write_files
from tracekit.report.folder_page import FOLDER_INDEX, folder_page
from tracekit.units import pressure_unit

DEFAULT_OUT = Path("tracekit-out")
STANDARD_INPUT = "-"
CANONICAL_TIME = "time_s"  # seconds since the start: such a log has no date


def diagnose_logs(
    logs: Sequence[str],
    station: Sequence[Path],
    *,
    baseline: str | None,
    blanked: str | None,
    out: Path | None,
    history: str,
    started: str,
    csv: bool,
    units: str,
    fail_on: Severity | None,
    as_json: bool,
    quiet: bool,
    no_color: bool,
    timing: bool,
    workers: int,
    cluster: str,
    open_page: bool,
) -> None:
    """Diagnose every recording among the logs; the options are those of the command.

    Raises TracekitError where nothing can be begun, typer.Exit where the run ends with another status than 0.
    """
    stations = load_stations(station)
    started_us = parse_time(started, "--started")[0] if started else None
    groups = _recordings(logs, stations)
    jobs = [
        Job(
            log=group.paths[0], continued=group.paths[1:], refusal=str(group.error or ""), folder=folder,
            stations=stations, baseline=baseline, blanked=blanked, history=history,
            started_us=started_us, csv=csv, unit=pressure_unit(units).symbol,
            colour=not no_color and "NO_COLOR" not in os.environ and sys.stdout.isatty(),
            encoding=sys.stdout.encoding or "ascii",
        )
        for group, folder in zip(groups, _folders([g.paths[0] for g in groups], out), strict=True)
    ]  # fmt: skip
    for job in jobs:
        _check(job)
    alone = run_jobs(jobs, _processes(jobs, workers), _hear)  # begins when asked for the first outcome
    running = run_on_cluster(_everywhere(jobs), cluster) if cluster else alone
    outcomes = tuple(_shown(jobs, running, quiet=quiet, as_json=as_json, timing=timing))
    show_page(_page(outcomes, jobs, out, silent=quiet or as_json), wanted=open_page)
    _leave(outcomes, fail_on)


def _recordings(logs: Sequence[str], stations: Sequence[Station]) -> list[LogGroup]:
    """The recordings among files, folders and globs: files that continue one another are one."""
    found = [LogGroup(paths=(log,)) for log in logs if log == STANDARD_INPUT]
    found += [LogGroup(paths=(log,)) for address in logs if is_address(address) for log in logs_at(address)]
    files = [log for log in logs if log != STANDARD_INPUT and not is_address(log)]
    return [*found, *(group_logs(files, stations) if files else ())]


def _everywhere(jobs: Sequence[Job]) -> list[Job]:
    """The jobs with names that lead to the same files on every machine of the cluster.

    Raises UsageError for standard input, which is on this machine only.
    """
    if any(job.log == STANDARD_INPUT for job in jobs):
        raise UsageError(message("--cluster", "standard input", "files that every worker sees", "Name a file."))

    def whole(name: str) -> str:
        return name if is_address(name) or name in ("", LAST_GOOD) else str(Path(name).resolve())

    return [
        replace(
            job,
            log=whole(job.log),
            continued=tuple(whole(log) for log in job.continued),
            baseline=job.baseline and whole(job.baseline),
            blanked=job.blanked and whole(job.blanked),
            history=whole(job.history),
        )
        for job in jobs
    ]


def _hear(job: Job) -> Callable[[int], None] | None:
    """What shows the rows read of a job."""
    return reading_progress([job.log, *job.continued])


def _processes(jobs: Sequence[Job], workers: int) -> int:
    """How many processes work side by side; standard input stays in this one."""
    return 1 if any(job.log == STANDARD_INPUT for job in jobs) else worker_count(workers)


def _folders(logs: Sequence[str], out: Path | None) -> list[Path]:
    """A folder per recording: `out` itself for one, below it for several; each different from the others."""
    if len(logs) == 1 and out is not None:
        return [out]
    found: list[Path] = []
    for log in logs:
        stem = "standard-input" if log == STANDARD_INPUT else Path(log).name.split(".")[0] or "log"
        folder, n = (out or DEFAULT_OUT) / stem, 1
        while folder in found:
            n += 1
            folder = (out or DEFAULT_OUT) / f"{stem}-{n}"
        found.append(folder)
    return found


def _check(job: Job) -> None:
    """Refuse, before any work, what would fail at its end."""
    check_folder(job.folder)
    if job.baseline == LAST_GOOD and not job.history:
        raise UsageError(message("--baseline", LAST_GOOD, "a history to take it from", "Give --history DIR."))
    for other in (job.baseline, job.blanked):
        if other is not None and other != LAST_GOOD and not is_address(other):
            find_inputs(other)
    here = job.log != STANDARD_INPUT and not is_address(job.log)  # an address is not read twice
    undated = job.history and job.started_us is None and here and not job.refusal
    if undated and open_log([job.log, *job.continued], job.stations).layout.columns.get("time") == CANONICAL_TIME:
        name, todo = Path(job.log).name, "Give --started TIME, like 2025-03-02T06:00+00:00."
        raise UsageError(message(name, "a log without dates", "a start for the history", todo))


def _shown(
    jobs: Sequence[Job], running: Iterator[Outcome], *, quiet: bool, as_json: bool, timing: bool
) -> Iterator[Outcome]:
    """Run the jobs and print each as it is done."""
    began_s = time.monotonic()
    show(f"Reading {Path(jobs[0].log).name} ...")
    for at, outcome in enumerate(running):
        show("")
        if as_json and outcome.document is not None:
            print(json.dumps(outcome.document, ensure_ascii=False, indent=None if len(jobs) > 1 else 1))
        elif not quiet and outcome.screen:
            print(outcome.screen, end="" if outcome.screen.endswith("\n") else "\n")
        for one in outcome.limits if not quiet else ():
            print(textwrap.fill(one.text, 79, subsequent_indent="  "), file=sys.stderr if as_json else sys.stdout)
        for note in outcome.notes if not quiet else ():
            print(note, file=sys.stderr)
        if timing and outcome.seconds:
            print(timing_line(outcome.seconds, outcome.rows), file=sys.stderr)
        if at + 1 < len(jobs):
            show(pace(at + 1, len(jobs), time.monotonic() - began_s))
        yield outcome


def _page(outcomes: Sequence[Outcome], jobs: Sequence[Job], out: Path | None, *, silent: bool) -> Path | None:
    """The page of the only recording, or of several the index, which is written and told here."""
    if len(jobs) == 1:
        return outcomes[0].page
    page = _index(outcomes, out or DEFAULT_OUT, jobs[0].unit)
    if page is not None and not silent:
        print(f"Index: {page}")
    return page


def _index(outcomes: Sequence[Outcome], folder: Path, unit: str) -> Path | None:
    """Write the index of all results in the folder, earlier runs among them; None where no log has a page."""
    if all(outcome.page is None for outcome in outcomes):
        return None
    failed = [(outcome.log, outcome.error) for outcome in outcomes if outcome.error]
    page = folder_page(folder, failed, ReportOptions(unit=unit))
    write_files(folder, {FOLDER_INDEX: text_write(page)})
    return folder / FOLDER_INDEX


def _leave(outcomes: Sequence[Outcome], fail_on: Severity | None) -> None:
    """Exit 2 where a log was bad, listing them; 1 where a finding or a limit that is passed reaches `fail_on`."""
    bad = [outcome for outcome in outcomes if outcome.error]
    for outcome in bad:
        print(f"tracekit: {outcome.error}", file=sys.stderr)
    if bad and len(outcomes) > 1:
        print(f"tracekit: {len(bad)} of {len(outcomes)} logs could not be diagnosed.", file=sys.stderr)
    if bad:
        raise typer.Exit(2)
    if fail_on is not None:
        worst = [SEVERITIES.index(o.severity) for o in outcomes if o.severity is not None]
        if worst and max(worst) >= SEVERITIES.index(fail_on):
            raise typer.Exit(1)
