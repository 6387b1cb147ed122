"""One process at a time puts its files into a folder, so that results of two never mix."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # Windows has none; there two processes that write one folder at the same instant may mix files
    fcntl = None  # type: ignore[assignment]


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Wait until no other process is inside for the same folder.

    The lock ends with the process, however that ends, and leaves no file. Where the system or the share cannot lock,
    nothing is waited for.
    """
    number = -1
    try:
        with suppress(OSError):
            number = os.open(folder, os.O_RDONLY) if fcntl is not None else -1
            if number >= 0:
                fcntl.flock(number, fcntl.LOCK_EX)
        yield
    finally:
        if number >= 0:
            os.close(number)
