"""Two pieces of work on arrays at once: NumPy lets other threads go on while it reckons."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Here = TypeVar("Here")
Beside = TypeVar("Beside")


def together(here: Callable[[], Here], beside: Callable[[], Beside]) -> tuple[Here, Beside]:
    """The results of two acts that do not depend on one another, the second done in a thread of its own.

    An error of either is raised once both have ended.
    """
    with ThreadPoolExecutor(1, thread_name_prefix="tracekit-beside") as pool:
        other = pool.submit(beside)
        own = here()
        return own, other.result()
