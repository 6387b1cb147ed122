"""Tables, labels and sentences that a reader takes in without asking what they mean."""

from dataclasses import replace

import stories

from tracekit.report.sections import limits


def with_reasons(*reasons):
    """The limits of a log whose smallest changes have these reasons."""
    result = stories.healthy().stations[0]
    seen = [d for d in result.detectable if d.smallest is not None]
    found = tuple(replace(seen[k % len(seen)], why=why) for k, why in enumerate(reasons))
    return limits(replace(result, detectable=found), "kPa").replace("\u00a0", " ")


def test_rows_that_are_stacked_name_their_cells():
    """Where a phone hides the heads of the table of smallest changes, each cell carries its own."""
    page = with_reasons("14 cycles now against 32", "the sampling interval")
    rows = page.split("<tbody>")[-1]
    assert rows.count('data-name="Change of:"') == rows.count('data-name="By at least:"') == 2
    assert rows.count('data-name="Because:"') == 2


def test_a_reason_that_rows_share_is_told_once():
    """The commonest reason stands above the table, another one beside its row; alone it needs no column."""
    mixed = with_reasons("14 cycles now against 32", "the sampling interval", "14 cycles now against 32")
    assert mixed.count("14 cycles now against 32") == 1
    assert mixed.index("14 cycles now against 32") < mixed.index("By at least") < mixed.index("he sampling interval")
    assert "Because" not in with_reasons("14 cycles now against 32", "14 cycles now against 32")
