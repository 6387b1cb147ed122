"""What each stage of a diagnosis took."""

import time

SAMPLES = "samples"
"""The stage that touches every sample: reading, cutting, measuring, all in one pass."""


class StageClock:
    """Adds up wall-clock seconds by stage; calling it says that a stage has just ended."""

    def __init__(self) -> None:
        """Start now."""
        self._last = time.perf_counter()
        self._seconds: dict[str, float] = {}

    def __call__(self, stage: str) -> None:
        """The time since the last call belongs to this stage."""
        now = time.perf_counter()
        self._seconds[stage] = self._seconds.get(stage, 0.0) + now - self._last
        self._last = now

    @property
    def seconds(self) -> tuple[tuple[str, float], ...]:
        """Stages in the order in which they first ended, with their seconds."""
        return tuple(self._seconds.items())


def timing_line(seconds: tuple[tuple[str, float], ...], rows: int) -> str:
    """One line for the screen: every stage, their sum, and the rows per second of the pass over the samples."""
    parts = [f"{stage} {spent:.2f} s" for stage, spent in seconds]
    total = sum(spent for _, spent in seconds)
    line = "  ".join([*parts, f"total {total:.2f} s"])
    passed = dict(seconds).get(SAMPLES, 0.0)
    return f"{line}  {rows} rows, {rows / passed / 1e6:.1f} million per second in samples" if passed > 0 else line
