"""Which cycles of a long log are kept sample by sample."""

import numpy as np
import pytest

from tracekit.measure.excerpts import ExcerptKeeper
from tracekit.model.cycle import Excerpt


def excerpt(cycle: int, why: str, edges: int = 0) -> Excerpt:
    """A cycle whose output changes so often."""
    present = np.resize([0, 1], edges + 1).astype(np.int8)
    return Excerpt(cycle=cycle, why=why, time_s=np.arange(edges + 1.0), pressure_kpa=np.zeros(edges + 1), present=present)


def test_few_are_kept_of_many() -> None:
    """The first eight losses, the first three cycles and the first of the worst chatter, numbered through the log."""
    keeper = ExcerptKeeper()
    for stretch in range(50):
        some = [excerpt(1, "drop"), excerpt(2, "chatter", edges=9 if stretch in (7, 20) else stretch % 5)]
        keeper.take([*some, excerpt(0, "usual"), excerpt(1, "usual")], 10 * stretch)
    kept = keeper.excerpts
    assert [(e.why, e.cycle) for e in kept] == [
        *(("drop", 10 * n + 1) for n in range(8)), ("usual", 0), ("usual", 1), ("usual", 10), ("chatter", 72),
    ]  # fmt: skip
    assert np.count_nonzero(np.diff(kept[-1].present)) == 9


def test_unknown_kinds_are_refused() -> None:
    """An excerpt of a kind that nobody keeps is a mistake in the program."""
    with pytest.raises(KeyError, match="other"):
        ExcerptKeeper().take([excerpt(0, "other")], 0)
