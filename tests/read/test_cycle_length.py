"""The length of cycles in a column of the first rows."""

from pathlib import Path

import numpy as np
import pytest
from cli.made_logs import write_log

from tracekit.read import cyclelength, open_log
from tracekit.read.head import cycle_rows


def walked(values: np.ndarray) -> float | None:
    """The same by walking: rows between two rises through the middle, the state before the first sure row being lower still."""
    low, high = np.quantile(values, [0.005, 0.995])
    state, rises = -1, []
    for row, value in enumerate(values.tolist()):
        now = 1 if value > low + 0.7 * (high - low) else 0 if value < low + 0.3 * (high - low) else state
        if now == state + 1 and row:
            rises.append(row - 1)
        state = now
    return float(np.median(np.diff(rises))) if len(rises) >= 4 else None


@pytest.mark.parametrize("seed", range(20))
def test_length_of_cycles(seed: int) -> None:
    """Noisy swings of some length have the length that a walk over them finds."""
    rng = np.random.default_rng(seed)
    values = np.sin(np.arange(600) * rng.uniform(0.05, 1.0) + rng.uniform(0, 6)) + 0.2 * rng.normal(size=600)
    assert cycle_rows(values) == walked(values)
    assert cycle_rows(values) is not None


def test_a_column_is_looked_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """However many units are weighed, the cycles of a column are counted once."""
    counted: list[int] = []
    count = cyclelength.cycle_rows

    def noted(values: np.ndarray) -> float | None:
        counted.append(id(values))
        return count(values)

    monkeypatch.setattr(cyclelength, "cycle_rows", noted)
    log = open_log(write_log(tmp_path / "log.csv", cycles=6))
    assert log.layout.has_supply
    assert counted
    assert len(counted) == len(set(counted))
