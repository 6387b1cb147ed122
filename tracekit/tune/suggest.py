"""Settings to enter, from the measured station."""

from tracekit.model.cycle import StationData
from tracekit.model.finding import Finding
from tracekit.model.result import LeakResult, Suggestion
from tracekit.model.station import Station


def suggest(data: StationData, leak: LeakResult, station: Station, findings: tuple[Finding, ...]) -> Suggestion:
    """Suggested settings, or the reason why none can be given."""
    return Suggestion(
        settings=(), constraints=(), predicted_now={}, predicted_suggested={}, replayed={}, reasons=(),
        withheld="nothing to change",
    )  # fmt: skip
