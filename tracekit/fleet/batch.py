"""Many logs, one after the other or in processes of their own: the good ones are finished, the bad ones told."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType

from tracekit.errors import TracekitError, message
from tracekit.fleet.address import is_address, nearby
from tracekit.fleet.lanes import Lanes
from tracekit.fleet.timing import StageClock
from tracekit.frozen import dataclass
from tracekit.history.add import add_record
from tracekit.history.good import last_good
from tracekit.model.finding import Severity
from tracekit.model.result import DiagnosisRecord
from tracekit.model.station import Station
from tracekit.options.report import ReportOptions
from tracekit.pipeline import Heard, Kept, diagnose
from tracekit.report.files import write_result
from tracekit.report.json import diagnosis_json
from tracekit.report.page import INDEX_NAME
from tracekit.report.passed import Passed, limits_passed
from tracekit.report.terminal import first_screen
from tracekit.report.whole import pages

LAST_GOOD = "last-good"
SEVERITIES: tuple[Severity, ...] = ("info", "minor", "major", "critical")
_SHORT_OF_MEMORY = ("unavailable", "start new thread", "map segment", "allocate memory")
"""What the system says where there is no memory for a thread, a process or a library."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One recording to be diagnosed into one folder; `history` receives its cycles where it is not empty.

    `continued` are the other files of the recording; with `refusal` the log is known to be unreadable.
    `unit`, `colour` and `encoding` are those of page and screen. Logs may be addresses; with `staging` the files are
    written there, and it is another's task to bring them into `folder`.
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
    staging: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of a job: the text for the screen, the JSON, the worst severity, or the error.

    `limits` are those of the station file that are passed; they count for the severity. `seconds` is what each stage
    took, `rows` how many rows the log has.
    """

    log: str
    error: str = ""
    screen: str = ""
    document: dict[str, object] | None = None
    severity: Severity | None = None
    page: Path | None = None
    notes: tuple[str, ...] = ()
    seconds: tuple[tuple[str, float], ...] = ()
    rows: int = 0
    limits: tuple[Passed, ...] = ()


def run_job(job: Job, heard: Heard | None = None) -> Outcome:
    """Diagnose one recording, write its files, add it to the history; `heard` is told the rows read so far.

    Raises TracekitError where it cannot be read or written.
    """
    clock = StageClock()
    with ExitStack() as copies:
        logs = [copies.enter_context(nearby(log)) for log in (job.log, *job.continued)]
        baseline, blanked = (one and copies.enter_context(nearby(one)) for one in (job.baseline, job.blanked))
        if is_address(job.log):
            clock("fetch")
        record = diagnose(
            logs if job.continued else logs[0],
            station=job.stations or None,
            baseline=_last_good(job) if baseline == LAST_GOOD else baseline,
            blanked=blanked,
            started_us=job.started_us,
            done=clock,
            heard=heard,
        )
    options = ReportOptions(unit=job.unit)
    document = diagnosis_json(record)
    limits = limits_passed(document, job.stations)
    made = pages(record, options, limits)
    clock("page")
    write_result(record, job.staging or job.folder, csv=job.csv, pages=made)
    clock("files")
    notes = _remember(record, job)
    if job.history:
        clock("history")
    page = job.folder / INDEX_NAME
    return Outcome(
        log=job.log,
        screen=first_screen(record, page, options=options, colour=job.colour, encoding=job.encoding, limits=limits),
        document=document,
        severity=worst_severity(record, limits),
        page=page,
        notes=notes,
        seconds=clock.seconds,
        rows=sum(facts.rows_read for facts in record.logs),
        limits=limits,
    )


def _nobody(_job: Job) -> None:
    """Nobody asked how far a job is."""


def _last_good(job: Job) -> Kept:
    """What the history kept of each station's last good log."""
    return Kept(of=lambda station: last_good(job.history, station, job.started_us)[:2])


def run_jobs(jobs: Sequence[Job], workers: int, hear: Callable[[Job], Heard | None] = _nobody) -> Iterator[Outcome]:
    """The outcome of every job, in order; a job that fails does not stop the others.

    Each worker is a process of its own and works on one log at a time. Where a process is ended from outside (for want
    of memory, say) its job is tried once more by itself. `hear` gives what is told the rows read of a job that runs in
    this process.
    """
    if workers <= 1 or len(jobs) == 1:
        act = told if len(jobs) == 1 else told_whatever
        yield from (act(job, hear(job)) for job in jobs)
        return
    yield from Lanes(told_whatever, jobs, min(workers, len(jobs)), _ended).results()


def _ended(job: Job) -> Outcome:
    found = "its process was ended by the system, twice"
    todo = "Try fewer --workers."
    return Outcome(log=job.log, error=message(Path(job.log).name, found, "memory for one log per process", todo))


def worst_severity(record: DiagnosisRecord, limits: Sequence[Passed] = ()) -> Severity | None:
    """The highest severity among all findings and limits that are passed, None where there are none."""
    found = {finding.severity for result in record.stations for finding in result.findings}
    found |= {one.severity for one in limits}
    return next((severity for severity in reversed(SEVERITIES) if severity in found), None)


def told(job: Job, heard: Heard | None = None) -> Outcome:
    """The outcome of a job; one that fails says so in its outcome."""
    if job.refusal:
        return Outcome(log=job.log, error=job.refusal)
    try:
        return run_job(job, heard)
    except TracekitError as error:
        return Outcome(log=job.log, error=str(error))


class _Whatever:
    """Keeps the error that ended its block, so that the caller can tell of it; an interrupt goes on."""

    error: Exception | None = None

    def __enter__(self) -> None:
        """Nothing to prepare."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> bool:
        """Keep the error."""
        self.error = error if isinstance(error, Exception) else None
        return self.error is not None


def told_whatever(job: Job, heard: Heard | None = None) -> Outcome:
    """The same, where even a fault of ours or of the system's (no memory, no thread) costs its own log alone."""
    fault = _Whatever()
    with fault:
        return told(job, heard)
    said = " ".join(f"{type(fault.error).__name__}: {fault.error}".split())[:300]
    short = isinstance(fault.error, MemoryError) or any(words in said for words in _SHORT_OF_MEMORY)
    todo = "Try fewer --workers." if short else "Please report it; TRACEKIT_DEBUG=1 with this log alone shows more."
    return Outcome(log=job.log, error=message(Path(job.log).name, said, "a log that can be diagnosed", todo))


def _remember(record: DiagnosisRecord, job: Job) -> tuple[str, ...]:
    if not job.history:
        return ()
    stations = {s.station.name or s.source: s for s in job.stations}
    only = job.stations[0] if len(job.stations) == 1 else stations or None
    added = add_record(job.history, record, started_us=job.started_us, stations=only)
    return tuple(f"history: {one.text}" for one in added)
