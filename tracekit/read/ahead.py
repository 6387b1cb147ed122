"""Work done in a thread beside the reading: the next pieces, the hash."""

import hashlib
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")


def ahead(items: Iterator[Item], most: int = 1) -> Iterator[Item]:
    """The same items in order; up to `most` of the next ones are made in a thread while the last one is in use."""
    with ThreadPoolExecutor(1, thread_name_prefix="tracekit-ahead") as pool:
        coming: deque[Future[Item | None]] = deque(pool.submit(next, items, None) for _ in range(most))
        try:
            while (item := coming.popleft().result()) is not None:
                coming.append(pool.submit(next, items, None))
                yield item
        finally:
            for future in coming:
                future.cancel()


def beside(act: Callable[[], Item]) -> Callable[[], Item]:
    """Begin an act in a thread of its own; what is given back waits for its result."""
    pool = ThreadPoolExecutor(1, thread_name_prefix="tracekit-beside")
    future = pool.submit(act)
    pool.shutdown(wait=False)
    return future.result


class SideHash:
    """SHA-256 of bytes, reckoned in a thread; at most one piece waits."""

    def __init__(self) -> None:
        """Start with no bytes."""
        self._digest = hashlib.sha256()
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="tracekit-hash")
        self._last: Future[None] | None = None

    def update(self, data: bytes, /) -> None:
        """Take in bytes."""
        if self._last is not None:
            self._last.result()
        self._last = self._pool.submit(self._digest.update, data)

    def hexdigest(self) -> str:
        """The hash in hex; no bytes may follow."""
        self._pool.shutdown(wait=True)
        return self._digest.hexdigest()
