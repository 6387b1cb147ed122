"""What is read ahead comes in order, once, and no further ahead than allowed."""

import hashlib
import threading
import time

import pytest

from tracekit.read.ahead import SideHash, ahead, beside


@pytest.mark.parametrize("most", [1, 2, 5])
@pytest.mark.parametrize("count", [0, 1, 3, 20])
def test_items_in_order(most: int, count: int) -> None:
    """Every item comes once, whatever is made ahead."""
    assert list(ahead(iter(range(count)), most)) == list(range(count))


def test_no_further_ahead_than_allowed() -> None:
    """While one item is in use at most so many more have been made, and they are made without being asked for."""
    made: list[int] = []

    def items():
        for number in range(50):
            made.append(number)
            yield number

    for place, _ in enumerate(ahead(items(), 3)):
        until = time.monotonic() + 60.0
        while len(made) < min(place + 4, 50) and time.monotonic() < until:
            time.sleep(0.001)
        assert len(made) == min(place + 4, 50)


def test_an_error_comes_in_its_place() -> None:
    """Items before an error are handed out first."""

    def items():
        yield from (1, 2)
        raise ValueError("broken")

    coming = ahead(items(), 5)
    assert (next(coming), next(coming)) == (1, 2)
    with pytest.raises(ValueError, match="broken"):
        next(coming)


def test_what_is_not_wanted_any_more_is_not_made() -> None:
    """Nothing is made after the consumer has left, and no thread stays."""
    made = []
    coming = ahead((made.append(n) or n for n in range(1, 10_000)), 2)
    assert next(coming) == 1
    coming.close()
    assert len(made) <= 4
    assert not [t for t in threading.enumerate() if t.name.startswith("tracekit-ahead")]


def test_an_act_beside() -> None:
    """An act runs in another thread; its result is waited for, its error is handed on."""
    assert beside(threading.get_ident)() != threading.get_ident()
    with pytest.raises(ZeroDivisionError, match="by zero"):
        beside(lambda: 1 // 0)()


def test_hash_of_pieces() -> None:
    """The hash is that of all pieces in order."""
    digest = SideHash()
    for piece in (b"one", b"", b"two" * 1000):
        digest.update(piece)
    assert digest.hexdigest() == hashlib.sha256(b"one" + b"two" * 1000).hexdigest()
