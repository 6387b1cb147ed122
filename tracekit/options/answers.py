"""Thresholds of when the pressure answers a valve, and how a signal shows its role or its lag by that."""

from tracekit.frozen import dataclass
from tracekit.options.base import option


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """What counts as an answer of the pressure, and which edges of a signal lie near it."""

    most: int = option(400, "answer", "that are looked at: more only cost time (no source)")
    before_s: float = option(0.8, "s", "before an answer that is looked at: longer than a cup takes to meet a part")
    apart_s: float = option(1.0, "s", "from an answer within which an edge is the one that it follows (no source)")
    low: float = option(0.1, "1", "of an answer from which on it counts, above the rest before it (no source)")
    high: float = option(0.3, "1", "of an answer: what was before that is the rest that it starts from (no source)")
    rest_from_s: float = option(0.3, "s", "before that third, from which on the rest is taken (no source)")
    rest_to_s: float = option(0.1, "s", "before that third, up to which the rest is taken (no source)")
    fewest_samples: int = option(100, "sample", "fewer show no answers (no source)")
    least_kpa: float = option(1.0, "kPa", "of range: less is noise of a sensor (common practice)")
    lag_samples: int = option(200_000, "sample", "of a station that are looked at for a lag: some 100 cycles at 1 kHz")
    fewest_edges: int = option(5, "edge", "that show a lag; half of the answers at least (no source)")
    slack_s: float = option(0.005, "s", "beyond a sample and a half that is no lag: one scan of a fast controller")
    slow_valve_s: float = option(0.35, "s", "that a valve and its tubes may take to answer (common practice)")
    finest_s: float = option(0.001, "s", "of the grid on which a fall that becomes a rise is looked for")
    edge_rest_from_s: float = option(-0.3, "s", "from an edge, where the rest before it begins (no source)")
    edge_rest_to_s: float = option(-0.1, "s", "from an edge, where that rest ends (no source)")
    edge_at_s: float = option(-0.03, "s", "from which on an answer would have begun too early (no source)")
    edge_soon_s: float = option(0.05, "s", "after an edge, from which on a prompt answer shows (no source)")
    edge_later_s: float = option(0.15, "s", "after an edge, up to which it does (no source)")
    held: float = option(0.4, "1", "of the range of vacuum, from which on a part is held (no source)")
    at_rest: float = option(0.3, "1", "of the range of vacuum, up to which a cup rests (no source)")
    answered: float = option(0.015, "1", "of the range that an answer is at least, be it of an open cup (no source)")
    begun: float = option(0.25, "1", "of an answer: less of it has begun at its edge (no source)")
    early_grid_s: float = option(0.002, "s", "between shifts that are tried of digitals that look early")
    role_edges: int = option(4, "edge", "of each direction that show the role of a signal (no source)")
    begins: float = option(0.08, "1", "of the range by which vacuum has risen after suction began: a cup may be open")
    changed_first: int = option(5, "edge", "of a kind that tell how the others should be (no source)")
    changed_apart: float = option(0.25, "1", "of the range by which edges are rather like those of another signal")
    changed_edges: int = option(2, "edge", "at least, before and after a change that no station makes (no source)")
    changed_share: float = option(0.5, "1", "of edges like themselves to expect that are like others (no source)")
    unit_least: float = option(3.0, "1", "smallest factor between units that is looked for: kPa and inHg (no source)")
    unit_close: float = option(0.04, "1", "of such a factor within which the depth of picks changes (no source)")
    unit_spread: float = option(0.25, "1", "of their median by which picks of one export differ (no source)")
    surer: float = option(0.05, "1", "of the range by which answers must differ to tell two signals apart (no source)")


ANSWERS = Answers()
"""The thresholds in use: reading decides before any options of an analysis are known."""
