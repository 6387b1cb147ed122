"""The thinned sequence is that of its definition, in whatever pieces it comes."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tracekit.read import tally


def choice(stretch: int, level: int) -> int:
    """Where in the sequence the value of a stretch lies, by its definition, with whole numbers of any size."""
    place = stretch
    for one in range(level, 0, -1):
        mixed = (place + one * 0x632BE59B) * 0x9E3779B97F4A7C15 % 2**64
        place = 2 * place + (((mixed ^ mixed >> 29) * 0x9E3779B97F4A7C15 % 2**64) >> 63)
    return place


@given(st.lists(st.integers(0, 900), min_size=1, max_size=30), st.integers(0, 3))
def test_one_value_of_each_stretch_is_kept(sizes: list[int], begin: int) -> None:
    """Of each stretch of 2^level values that has come so far, the chosen one is kept, whatever the pieces."""
    values = np.arange(sum(sizes), dtype=np.float64)
    thinned, at = tally.Thinned(64), 0
    for size in sizes:
        thinned.add(values[at : at + size])
        at += size
    level = 0
    kept = values.tolist()
    while len(kept) > 64:
        level += 1
        places = [choice(s, level) for s in range(len(values) // 2**level + 1)]
        kept = [float(p) for p in places if p < len(values)]
    assert thinned.values.tolist() == kept


def test_choices_go_on_over_pages() -> None:
    """Choices of stretches in different pages are those of each stretch by itself."""
    first, stop = tally._PAGE - 5, 2 * tally._PAGE + 5
    found = tally._choices(3, first, stop)
    assert found.tolist() == [choice(s, 3) for s in range(first, stop)]
