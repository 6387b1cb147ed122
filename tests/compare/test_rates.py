"""Shares of drops, misses and chatter."""

from dataclasses import replace

import numpy as np
import pytest

from tests.compare.compared_stations import Scene, recording
from tracekit.compare.counts import exact_limits
from tracekit.compare.rates import rate_counts, rate_equivalent, rate_result, rate_results
from tracekit.model.comparison import Recording
from tracekit.options.compare import CompareOptions

OPTIONS = CompareOptions()


def _with_outcomes(codes: list[int]) -> Recording:
    recorded = recording(1, len(codes))
    return replace(recorded, cycles=recorded.cycles.with_columns(outcome=np.array(codes, np.int32)))


def test_incomplete_cycles_do_not_count() -> None:
    """Of six cycles, one cut by an edge, one dropped and two missed: shares are of five."""
    recorded = _with_outcomes([0, 1, 2, 2, 3, 0])
    assert rate_counts("drop_share", (recorded,)) == (1, 5)
    assert rate_counts("miss_share", (recorded,)) == (2, 5)


def test_chatter_counts_cycles_not_edges() -> None:
    """A cycle with six needless edges is one cycle with chatter; a log without the output tells nothing."""
    recorded = recording(1, 10)
    edges = np.zeros(10, np.int32)
    edges[[2, 5]] = 6
    noisy = replace(recorded, cycles=recorded.cycles.with_columns(chatter_edges=edges))
    assert rate_counts("chatter_share", (noisy,)) == (2, 10)
    silent = replace(recorded, cycles=recorded.cycles.with_columns(chatter_edges=np.full(10, -1, np.int32)))
    assert rate_counts("chatter_share", (silent,)) is None
    assert "chatter_share" not in rate_results((silent,), (silent,), OPTIONS)


def test_several_logs_add_up() -> None:
    """Counts of the logs of a side are added."""
    assert rate_counts("drop_share", (_with_outcomes([0, 1]), _with_outcomes([1, 1, 0]))) == (3, 5)


def test_a_rate_in_full() -> None:
    """Eight of 400 drops before and none after: exact intervals, one-sided p 0.00377, difference beyond zero."""
    rate = rate_result("drop_share", (8, 0), (400, 400), OPTIONS)
    assert (rate.before.lower, rate.before.upper) == pytest.approx(exact_limits(8, 400, 0.025))
    assert rate.after.value == 0.0
    assert rate.p_better == pytest.approx(0.0037706450711151593)
    assert rate.p_worse > 0.99
    assert rate.difference.upper < 0.0


def test_clean_sides_become_equivalent() -> None:
    """Nothing dropped on either side: 368 clean cycles a side show equal shares within 1 in 100, 367 do not."""
    assert not rate_equivalent(rate_result("drop_share", (0, 0), (367, 367), OPTIONS), OPTIONS)
    assert rate_equivalent(rate_result("drop_share", (0, 0), (368, 368), OPTIONS), OPTIONS)
    assert rate_result("drop_share", (0, 0), (60, 60), OPTIONS).cycles_needed == 368


def test_more_cycles_decide_a_half_shown_fall() -> None:
    """Four of 100 drops before, none after, is not shown yet; the number that would show it is given."""
    rate = rate_result("drop_share", (4, 0), (100, 100), OPTIONS)
    assert rate.p_better > 0.025
    assert isinstance(rate.cycles_needed, int)
    assert 100 < rate.cycles_needed < 500


def test_all_rates_of_two_recordings() -> None:
    """Both sides give all three shares, none decided yet."""
    rates = rate_results((recording(1, 80, Scene(drops=0.3)),), (recording(2, 80),), OPTIONS)
    assert set(rates) == {"drop_share", "miss_share", "chatter_share"}
    assert {r.verdict for r in rates.values()} == {"undecided"}
    assert rates["drop_share"].p_better < 1e-4
