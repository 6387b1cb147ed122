"""Thresholds of what a log's own rows prove about how they are written."""

from dataclasses import dataclass

from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """When what stands in the first rows decides how a log is read, and when it is asked."""

    count_share: float = option(
        0.9, "1", "of the rows of one second that must go on under one reading of what follows the seconds (no source)"
    )
    count_full: float = option(0.9, "1", "of its hundred that a count of two figures fills if it is one (no source)")


EVIDENCE = Evidence()
"""The thresholds in use: reading decides before any options of an analysis are known."""
