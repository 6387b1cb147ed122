"""Holds that are drawn before against after."""

from dataclasses import replace

import numpy as np
import stories

from tracekit.compare.holds import hold_rows_of


def test_rows_are_those_of_the_tables() -> None:
    """Rows are spread over all holds; every refill of a drawn hold is there, timed from its vacuum command."""
    data = stories.torn_cup().stations[0].data
    found = hold_rows_of(data, most=7)
    assert found is not None
    gripped = np.flatnonzero(data.cycles.where("outcome", "held") | data.cycles.where("outcome", "dropped"))
    assert found.cycle[[0, -1]].tolist() == [gripped[0], gripped[-1]]
    assert len(found.cycle) == len(found.first) == len(found.end) == 7
    assert len(found.refills) == len(gripped)
    recharge = data.periods.where("kind", "recharge")
    for row, cycle in enumerate(found.cycle.tolist()):
        mine = recharge & (data.periods.codes("cycle") == cycle)
        begun = data.cycles.floats("start_s")[cycle]
        np.testing.assert_allclose(found.start[found.row == row], data.periods.floats("start_s")[mine] - begun)
        assert found.refills[np.flatnonzero(gripped == cycle)[0]] == mine.sum()
    assert found.refills.any()
    assert (found.first < found.end).all()


def test_a_log_without_a_hold() -> None:
    """Where nothing was gripped there is nothing to draw."""
    data = stories.torn_cup().stations[0].data
    codes = np.full(len(data.cycles), data.cycles.categories["outcome"].index("missed"), np.int32)
    empty = replace(data, cycles=replace(data.cycles, data={**data.cycles.data, "outcome": codes}))
    assert hold_rows_of(empty) is None
