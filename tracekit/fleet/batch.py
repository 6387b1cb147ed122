"""Many logs, one after the other or in processes of their own: the good ones are finished, the bad ones told."""

import multiprocessing
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tracekit.errors import TracekitError
from tracekit.history.add import add_record
from tracekit.history.good import last_good
from tracekit.model.finding import Severity
from tracekit.model.result import DiagnosisRecord
from tracekit.model.station import Station
from tracekit.options.report import ReportOptions
from tracekit.pipeline import Kept, diagnose
from tracekit.report.json import diagnosis_json
from tracekit.report.terminal import first_screen
from tracekit.report.whole import write_all

LAST_GOOD = "last-good"
SEVERITIES: tuple[Severity, ...] = ("info", "minor", "major", "critical")


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One recording to be diagnosed into one folder; `history` receives its cycles where it is not empty.

    `continued` are the other files of the recording; with `refusal` the log is known to be unreadable.
    `unit`, `colour` and `encoding` are those of page and screen.
    """

    log: str
    folder: Path
    continued: tuple[str, ...] = ()
    refusal: str = ""
    stations: tuple[Station, ...] = ()
    baseline: str | None = None
    blanked: str | None = None
    history: str = ""
    started_us: int | None = None
    csv: bool = False
    unit: str = "kPa"
    colour: bool = False
    encoding: str = "utf-8"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of a job: the text for the screen, the JSON, the worst severity, or the error."""

    log: str
    error: str = ""
    screen: str = ""
    document: dict[str, object] | None = None
    severity: Severity | None = None
    page: Path | None = None
    notes: tuple[str, ...] = ()
    seconds: tuple[tuple[str, float], ...] = ()


def run_job(job: Job) -> Outcome:
    """Diagnose one recording, write its files, add it to the history.

    Raises TracekitError where it cannot be read or written.
    """
    times = [time.perf_counter()]
    record = diagnose(
        [job.log, *job.continued] if job.continued else job.log,
        station=job.stations or None,
        baseline=_baseline(job),
        blanked=job.blanked,
        started_us=job.started_us,
    )
    times.append(time.perf_counter())
    options = ReportOptions(unit=job.unit)
    page = write_all(record, job.folder, csv=job.csv, options=options)
    times.append(time.perf_counter())
    notes = _remember(record, job)
    times.append(time.perf_counter())
    names = ("diagnose", "write", "history") if job.history else ("diagnose", "write")
    return Outcome(
        log=job.log,
        screen=first_screen(record, page, options=options, colour=job.colour, encoding=job.encoding),
        document=diagnosis_json(record),
        severity=worst_severity(record),
        page=page,
        notes=notes,
        seconds=tuple((name, times[at + 1] - times[at]) for at, name in enumerate(names)),
    )


def _baseline(job: Job) -> str | Kept | None:
    """The baseline as the pipeline takes it: a log, or what the history kept of each station's last good one."""
    if job.baseline != LAST_GOOD:
        return job.baseline
    return Kept(of=lambda station: last_good(job.history, station, job.started_us)[:2])


def run_jobs(jobs: Sequence[Job], workers: int) -> Iterator[Outcome]:
    """The outcome of every job, in order; a job that fails does not stop the others.

    Each worker is a process of its own and works on one log at a time.
    """
    if workers <= 1 or len(jobs) == 1:
        yield from map(_told, jobs)
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=min(workers, len(jobs)), mp_context=context) as pool:
        pending: list[Future[Outcome]] = [pool.submit(_told, job) for job in jobs]
        for future in pending:
            yield future.result()


def worst_severity(record: DiagnosisRecord) -> Severity | None:
    """The highest severity among all findings, None where there are none."""
    found = {finding.severity for result in record.stations for finding in result.findings}
    return next((severity for severity in reversed(SEVERITIES) if severity in found), None)


def _told(job: Job) -> Outcome:
    if job.refusal:
        return Outcome(log=job.log, error=job.refusal)
    try:
        return run_job(job)
    except TracekitError as error:
        return Outcome(log=job.log, error=str(error))


def _remember(record: DiagnosisRecord, job: Job) -> tuple[str, ...]:
    if not job.history:
        return ()
    stations = {s.station.name or s.source: s for s in job.stations}
    only = job.stations[0] if len(job.stations) == 1 else stations or None
    added = add_record(job.history, record, started_us=job.started_us, stations=only)
    return tuple(f"history: {one.text}" for one in added)
