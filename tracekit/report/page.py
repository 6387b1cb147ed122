"""From a diagnosis to its pages: one file per station, and an index where a log holds several."""

import re
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from tracekit.model.result import DiagnosisRecord, StationResult
from tracekit.model.trace import Assumption, LogFacts
from tracekit.options.report import ReportOptions
from tracekit.report import sections, why
from tracekit.report.cautions import SHORT
from tracekit.report.contexts import read_as
from tracekit.report.doubt import untold_leak
from tracekit.report.embed import packed
from tracekit.report.exact import facts_of, settled
from tracekit.report.files import text_write, write_files
from tracekit.report.frame import Block, asset, frame, render
from tracekit.report.passed import Passed, passed_by, with_limits
from tracekit.report.pictures.budget import budget
from tracekit.report.pictures.choose import choose
from tracekit.report.proof import proof
from tracekit.report.ruled import causes_map
from tracekit.report.text import NBSP, clean, escape
from tracekit.report.todo import lasting, steps
from tracekit.report.verdict import Verdict, verdict
from tracekit.report.view import counts, main_finding
from tracekit.report.words import count, html, of_quantity, plain

INDEX_NAME, FOLDER, UNDATED = "report.html", "stations", "no date in the log"
_RANK = ("critical", "major", "minor", "info")
_PLAIN = ReportOptions()
_NO_CAUSE = "How the chances stand"


def station_page(
    record: DiagnosisRecord, index: int, options: ReportOptions = _PLAIN, limits: Sequence[Passed] = ()
) -> str:
    """The page of one station of a diagnosis, complete without script and without network."""
    result = record.stations[index]
    passed = passed_by(limits, result.data.station)
    unit = options.unit
    lead, others = choose(result, record.logs, unit, options.most_pictures)
    said = verdict(result)
    blocks = [
        Block(
            "answer",
            "",
            sections.answer(result, unit, passed),
            beside=sections.lead_picture(lead, unit) if lead else "",
            page_one=True,
        ),
        Block("steps", "What to do, in this order", sections.what_to_do(result, unit, passed), "Steps", page_one=True),
    ]
    if why.has_causes(result):
        found = main_finding(result) is not None
        title = "What was found" if not result.causes else "Why this cause and not another" if found else _NO_CAUSE
        blocks.append(Block("causes", title, why.why_this_cause(result, unit), "Causes", page_one=True))
    if in_full := sections.steps_in_full(result, unit, passed):
        blocks.append(Block("steps-in-full", "The steps in full", in_full, "Steps"))
    title, ruled = causes_map(result, unit)
    if ruled:
        blocks.append(Block("ruled-out", title, ruled, "Ruled out"))
    if others:
        blocks.append(Block("evidence", "What the recording shows", sections.evidence(others, unit), "Evidence"))
    blocks += [
        Block("limits", "What this log cannot show", sections.limits(result, unit), "Limits"),
        Block(
            "assumptions",
            "What was assumed",
            sections.assumed(*_assumptions(record, result), budget(result, unit), unit),
            "Assumed",
        ),
        Block("cautions", "Before you act", sections.cautions(), "Cautions"),
    ]
    page = frame(
        f"{result.data.station}: {said.headline}", blocks, identity=_identity(result, record.logs),
        provenance=provenance(record), unit=unit, print_note=_print_note(record),
        scripts=(asset("cycles.js"), asset("explore.js")),
        data={**packed(result, options.most_cycles, options.most_points), "proof": proof(record, index)},
        told=_told(result, record, passed),
    )  # fmt: skip
    return settled(page, unit, facts_of(result.findings))


def index_page(record: DiagnosisRecord, options: ReportOptions = _PLAIN, limits: Sequence[Passed] = ()) -> str:
    """The index of a log with several stations: the worst first, each with its verdict and first step."""
    names = page_names(record)
    passed = [passed_by(limits, r.data.station) for r in record.stations]
    said = [with_limits(verdict(r), p) for r, p in zip(record.stations, passed, strict=True)]
    order = sorted(range(len(record.stations)), key=lambda i: _urgency(record.stations[i], said[i]))
    rows = [_row(record.stations[i], f"{FOLDER}/{names[i]}", options.unit, passed[i]) for i in order]
    wrong = sum(v.severity != "info" for v in said)
    n = len(record.stations)
    untold = sum(v.severity == "info" and untold_leak(r) for v, r in zip(said, record.stations, strict=True))
    headline = index_headline((wrong, untold, n), "station", f"No fault found on {count(n)} stations")
    html_rows = render("stations.html", {
        "headline": headline, "lead": "The worst first. Each name opens the page of its station.", "stations": rows,
    }, options.unit)  # fmt: skip
    blocks = [
        Block("answer", "", html_rows, page_one=True),
        Block("cautions", "Before you act", sections.cautions(), "Cautions"),
    ]
    sources = ", ".join(clean(log.source, 60) for log in record.logs)
    return frame(
        headline, blocks, identity=(sources, _when(record.logs)), provenance=provenance(record), unit=options.unit,
        print_note=_print_note(record), data={"proof": proof(record, None)},
        told={"name": sources, "when": _when(record.logs), "headline": headline, "lead": "", "action": "", "first": "",
              "severity": min((v.severity for v in said), key=_RANK.index)},
    )  # fmt: skip


def index_headline(found: tuple[int, int, int], noun: str, otherwise: str) -> str:
    """As in "1 of 3 stations needs work, 1 cannot be judged", of (wrong, not judged, all); else the sound verdict."""
    wrong, untold, n = found
    nouns = noun if n == 1 else f"{noun}s"
    need = "needs" if wrong == 1 else "need"
    if wrong:
        more = f", {count(untold)} cannot be judged" if untold else ""
        return f"{count(wrong)} of {count(n)} {nouns} {need} work{more}"
    return f"{count(untold)} of {count(n)} {nouns} cannot be judged" if untold else otherwise


def _urgency(result: StationResult, said: Verdict) -> tuple[int, bool, float]:
    """By severity; among those without a fault the ones that cannot be judged come first, the largest leak before."""
    rank = _RANK.index(said.severity)
    open_ = rank == len(_RANK) - 1 and untold_leak(result)
    rate = of_quantity(result.leak.decay_rate)
    return rank, not open_, -rate.value if open_ and rate is not None else 0.0


def _open_leak(result: StationResult) -> str:
    rate = of_quantity(result.leak.decay_rate)
    return f"{rate.value:.6g}" if rate is not None and untold_leak(result) else ""


def write_pages(record: DiagnosisRecord, folder: Path, options: ReportOptions = _PLAIN) -> Path:
    """Write `report.html` (with several stations an index and a page each) and return its path.

    Each file is written beside its place and renamed, so that no reader ever meets half a page.

    Raises
    ------
    OutputError
        Where the folder or a file cannot be written.
    """
    target = Path(folder) / INDEX_NAME
    if len(record.stations) == 1:
        _write(target, station_page(record, 0, options))
        return target
    for index, name in enumerate(page_names(record)):
        _write(Path(folder) / FOLDER / name, station_page(record, index, options))
    _write(target, index_page(record, options))
    return target


def page_names(record: DiagnosisRecord) -> tuple[str, ...]:
    """A file name per station that every system accepts, each different from the others."""
    found: list[str] = []
    for result in record.stations:
        stem = safe_name(result.data.station)
        name, n = stem, 1
        while name.casefold() in {f.casefold() for f in found}:
            n += 1
            name = f"{stem}-{n}"
        found.append(name)
    return tuple(f"{name}.html" for name in found)


def safe_name(text: str) -> str:
    """A station's name as a file's stem: letters, digits and single hyphens, never empty, never reserved."""
    stem = re.sub(r"[^A-Za-z0-9]+", "-", clean(text, 200)).strip("-")[:60].strip("-") or "station"
    reserved = re.fullmatch(r"(?i)con|prn|aux|nul|com\d|lpt\d", stem)
    return f"{stem}-station" if reserved else stem


def provenance(record: DiagnosisRecord) -> list[tuple[str, str]]:
    """Label and text of everything a reader needs to find and repeat this diagnosis."""
    rows: list[tuple[str, str]] = []
    for number, log in enumerate(record.logs):
        name = "File" if len(record.logs) == 1 else f"File {number + 1}"
        rows += [(name, clean(log.source, 200)), ("SHA-256", log.log_id), ("Rows", _rows(log)), ("Time", _span(log))]
        rows += [("Left out", _left_out(log))] if log.rejections else []
        rows += [("Note", clean(w, 300)) for w in log.warnings[:20]]
    rows += [("Program", f"tracekit {record.version}, {clean(record.created, 40)}"), ("Options", _options(record))]
    return rows


def _options(record: DiagnosisRecord) -> str:
    if not record.options:
        return "all at their defaults"
    shown = [f"{clean(k, 60)} = {clean(v, 40)} {clean(u, 20)}".strip() for k, (v, u) in record.options.items()]
    return "; ".join(shown[:40])


def _rows(log: LogFacts) -> str:
    step = log.interval_median_s
    every = f"{step * 1e3:.4g} ms" if step < 1.0 else f"{step:.4g} s"
    read = f"{count(log.rows_read)} read, {count(log.rows_used)} used"
    return f"{read}, one every {every} in the median, longest {log.interval_max_s:.3g} s"


def _left_out(log: LogFacts) -> str:
    parts = []
    for r in log.rejections[:12]:
        lines = ", ".join(count(n) for n in r.first_lines[:5])
        parts.append(f"{count(r.rows)}: {clean(r.reason, 100)}" + (f" (first lines {lines})" if lines else ""))
    return "; ".join(parts)


def _span(log: LogFacts) -> str:
    start = _date(log.start_time_us) or UNDATED
    gaps = f", {count(len(log.gaps))} gaps" if log.gaps else ""
    jumps = f", {count(len(log.clock_steps))} clock steps" if log.clock_steps else ""
    return f"{start}, {_duration(log.duration_s)}{gaps}{jumps}"


def _date(time_us: int | None) -> str:
    if time_us is None:
        return ""
    when = datetime.fromtimestamp(time_us / 1e6, UTC)
    return f"{when.day} {when:%b %Y %H:%M} UTC"


def _duration(seconds: float) -> str:
    whole = round(seconds)
    hours, minutes, left = whole // 3600, whole % 3600 // 60, whole % 60
    if hours:
        return f"{count(hours)}{NBSP}h {minutes}{NBSP}min"
    return f"{minutes}{NBSP}min {left}{NBSP}s" if minutes else f"{seconds:.3g}{NBSP}s"


def _when(logs: Sequence[LogFacts]) -> str:
    starts = [log.start_time_us for log in logs if log.start_time_us is not None]
    return _date(min(starts)) if starts else UNDATED


def _identity(result: StationResult, logs: Sequence[LogFacts]) -> tuple[str, ...]:
    n = counts(result.data)["cycles"]
    total = sum(log.duration_s for log in logs)
    return (
        _named(result, logs),
        _when(logs),
        f"{count(n)} cycle{'' if n == 1 else 's'} in {_duration(total)}",
    )


def _named(result: StationResult, logs: Sequence[LogFacts]) -> str:
    """The station's name; where the file had to lend its own, that is said."""
    name = clean(result.data.station, 40)
    if not name:
        return "Station without a name"
    lent = any(Path(log.source).stem == result.data.station for log in logs)
    return f"{name} (the file’s name)" if lent else name


def _told(result: StationResult, record: DiagnosisRecord, passed: tuple[Passed, ...]) -> dict[str, object]:
    """What an index of a folder says of a station's page, pressures in kPa."""
    said, first = with_limits(verdict(result), passed), steps(result, passed)[0]
    return {
        "name": clean(result.data.station, 60) or "Station without a name", "when": _when(record.logs),
        "headline": said.headline, "lead": plain(said.lead), "action": f"{said.action} {said.reasons}".strip(),
        "first": clean(f"{first.act}{lasting(first)}.", 160),
        "severity": said.severity, "untold_kpa_s": _open_leak(result),
        "passed": " ".join(one.text for one in passed),
    }  # fmt: skip


def _assumptions(
    record: DiagnosisRecord, result: StationResult
) -> tuple[tuple[Assumption, ...], tuple[Assumption, ...]]:
    """How the files were read and wired, and what was assumed of the station besides."""
    read = [a for group in record.log_assumptions for a in group]
    known = {(a.what, a.value) for a in read}
    wired = [a for a in result.assumptions if a.what.endswith(" is on at")]
    rest = [a for a in result.assumptions if (a.what, a.value) not in known and a not in wired]
    told = read_as(tuple({(a.what, a.value): a for a in (*read, *wired)}.values()), result.data.cycles)
    return told, tuple(rest)


def _print_note(record: DiagnosisRecord) -> str:
    hashes = " ".join(f'<span class="hash">{escape(log.log_id)}</span>' for log in record.logs[:3])
    return f"<p><b>Caution.</b> {escape(SHORT)}</p><p>tracekit {escape(record.version)}, log SHA-256 {hashes}</p>"


def _row(result: StationResult, href: str, unit: str, passed: tuple[Passed, ...]) -> dict[str, str]:
    said = with_limits(verdict(result), passed)
    first = steps(result, passed)[0]
    n = len(result.data.cycles)
    return {
        "name": clean(result.data.station, 60) or "Station without a name", "href": href, "headline": said.headline,
        "lead": html(said.lead, unit), "passed": " ".join(html(one.said, unit) for one in passed),
        "action": said.action, "reasons": said.reasons,
        "cycles": f"{count(n)} cycle{'' if n == 1 else 's'}", "first": f"{first.act}{lasting(first)}.",
    }  # fmt: skip


def _write(path: Path, text: str) -> None:
    write_files(path.parent, {path.name: text_write(text)})
