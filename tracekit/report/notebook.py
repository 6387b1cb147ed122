"""A diagnosis as a notebook shows it: the page's answer in a few lines of HTML, without style sheet or script."""

from collections.abc import Sequence

from tracekit.model.result import DiagnosisRecord, StationResult
from tracekit.report.entries import leave_words, setting_entries, why_leave
from tracekit.report.passed import Passed, passed_by, with_limits
from tracekit.report.text import clean, escape
from tracekit.report.todo import lasting, steps
from tracekit.report.verdict import verdict
from tracekit.report.words import chance, plain

_MOST_FINDINGS = 8


def notebook_html(record: DiagnosisRecord, limits: Sequence[Passed] = ()) -> str:
    """Verdict, limits of the station files that are passed, first step, settings and findings of every station."""
    return "".join(_station(result, passed_by(limits, result.data.station)) for result in record.stations)


def _station(result: StationResult, limits: tuple[Passed, ...]) -> str:
    said, first = with_limits(verdict(result), limits), steps(result, limits)[0]
    name = clean(result.data.station, 60) or "Station without a name"
    lines = [
        f"<p><b>{escape(name)}: {escape(said.headline)}</b><br>{escape(plain(said.lead))}",
        *(f"<br>{escape(one.text)}" for one in limits),
        f"<br>{escape(said.action)} {escape(said.reasons)}</p>",
        f"<p>First: {escape(first.act)}{lasting(first)}. {escape(first.how)}",
        f"<br>Caution: {escape(first.caution)}</p>" if first.caution else "</p>",
        f"<p>{escape(_settings(result))}</p>",
        _findings(result),
    ]
    return "".join(lines)


def _settings(result: StationResult) -> str:
    entries = setting_entries(result)
    if not entries:
        return f"{leave_words(result)} {why_leave(result)}"
    moves = [
        f"{e['name']} {e['now']} → {e['new']} {e['unit']}{', ' + e['entry'] if e['entry'] else ''}" for e in entries
    ]
    return f"Settings to enter: {'; '.join(moves)}."


def _findings(result: StationResult) -> str:
    if not result.findings:
        return "<p>No finding.</p>"
    rows = "".join(
        f"<tr><td>{escape(f.severity)}</td><td>{escape(clean(f.title, 200))}</td><td>{escape(f.code)}</td>"
        f"<td>{chance(f.confidence)}</td></tr>"
        for f in result.findings[:_MOST_FINDINGS]
    )
    head = "<tr><th>severity</th><th>finding</th><th>code</th><th>chance that it is there</th></tr>"
    left = len(result.findings) - _MOST_FINDINGS
    more = f"<p>{left} more findings in the page.</p>" if left > 0 else ""
    return f"<table>{head}{rows}</table>{more}"
