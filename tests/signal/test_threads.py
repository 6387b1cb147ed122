"""Two acts at once: both results, and the error of either."""

import threading

import pytest

from tracekit.signal.threads import together


def test_both_are_done_at_once() -> None:
    """Each act goes on while the other has not ended, the first in the caller's own thread."""
    meet = threading.Barrier(2, timeout=60.0)
    names = together(
        lambda: (meet.wait(), threading.current_thread().name)[1],
        lambda: (meet.wait(), threading.current_thread().name)[1],
    )
    assert names[0] == threading.current_thread().name
    assert names[1] != names[0]


@pytest.mark.parametrize("which", [0, 1])
def test_an_error_of_either_is_raised(which: int) -> None:
    """An error comes out only once the other act has ended."""
    ended = []

    def fails() -> None:
        raise ValueError("no values")

    acts = [fails, lambda: ended.append(which)] if which == 0 else [lambda: ended.append(which), fails]
    with pytest.raises(ValueError, match="no values"):
        together(*acts)
    assert ended == [which]
