"""Work done in a thread beside the reading: the next piece, the hash."""

import hashlib
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")


def one_ahead(items: Iterator[Item]) -> Iterator[Item]:
    """The same items in order; the next one is made in a thread while the last one is in use."""
    with ThreadPoolExecutor(1, thread_name_prefix="tracekit-ahead") as pool:
        coming: Future[Item | None] = pool.submit(next, items, None)
        while (item := coming.result()) is not None:
            coming = pool.submit(next, items, None)
            yield item


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
