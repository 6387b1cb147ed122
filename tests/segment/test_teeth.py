"""Teeth between two levels, against a walk through the samples one by one."""

import numpy as np
import pytest

from tracekit.segment.teeth import find_teeth

CUT, RESUME = 72.0, 64.0
INWARDS = 0.15 * (CUT - RESUME)


def saw(rng: np.random.Generator, interval: float) -> np.ndarray:
    """A rise to the first cut, then falls and rises of 0.2 and 0.08 s, read at `interval` with 0.1 kPa of noise."""
    ends = np.cumsum(np.concatenate([[0.0, 0.4], np.tile([0.2, 0.08], 12) * rng.uniform(0.9, 1.1, 24)]))
    levels = np.concatenate([[0.0, 74.0], np.tile([62.0, 74.0], 12)])
    time = np.arange(rng.uniform(0.0, interval), ends[-1], interval)
    return np.interp(time, ends, levels) + rng.normal(0.0, 0.1, len(time))


def walk(vacuum: np.ndarray, start: int, stop: int) -> list[tuple[int, int]]:
    """Sample at the cut and at the resumption of each tooth, -1 where the stretch ends before."""
    teeth: list[list[int]] = []
    high = False
    for i in range(start, stop):
        if not high and vacuum[i] >= CUT - INWARDS:
            high = True
            teeth.append([i, -1])
        elif high and vacuum[i] <= RESUME + INWARDS:
            high = False
    out = []
    for n, (begin, _) in enumerate(teeth):
        end = teeth[n + 1][0] if n + 1 < len(teeth) else stop
        inside = vacuum[begin:end]
        under = np.flatnonzero(inside <= RESUME + INWARDS)
        run = inside[: under[0]] if len(under) else inside
        if begin + int(np.argmax(run)) == stop - 1:
            continue
        top = begin + int(np.flatnonzero(run >= min(run.max(), CUT))[0])
        rest = vacuum[top:end]
        passed = np.flatnonzero(rest <= RESUME)
        at = int(passed[0]) if len(passed) else int(np.argmin(rest))
        lost = rest.min() < RESUME - 0.5 * (CUT - RESUME)
        turns = end < stop or (len(passed) > 0 and (lost or int(np.argmin(rest)) < len(rest) - 1))
        out.append((top, top + at if turns else -1))
    return out


@pytest.mark.parametrize("interval", [0.005, 0.02, 0.05, 0.08])
@pytest.mark.parametrize("seed", range(8))
def test_teeth_are_those_of_a_walk(interval: float, seed: int) -> None:
    """In stretches of many teeth, of one, and of none that lie beside one another, whatever the phase of the samples."""
    rng = np.random.default_rng(seed)
    parts = [saw(rng, interval), np.full(7, 80.0), saw(rng, interval)[: int(0.7 / interval)], np.zeros(3)]
    vacuum = np.concatenate(parts)
    stop = np.cumsum([len(part) for part in parts])
    start = np.concatenate([[0], stop[:-1]])
    found = find_teeth(vacuum, start, stop, CUT, RESUME)
    expected = [tooth for a, b in zip(start, stop, strict=True) for tooth in walk(vacuum, int(a), int(b))]
    assert list(zip(found.top.tolist(), found.resumed.tolist(), strict=True)) == expected
    assert np.all((found.top >= start[found.stretch]) & (found.top < stop[found.stretch]))
    # with a sample for each rise a top may lie between two of them, far under the cut
    assert int(np.sum(found.stretch == 0)) >= (12 if interval < 0.05 else 11 if interval < 0.08 else 8)


def test_a_part_that_is_lost_turns_where_vacuum_passes_the_lower_level() -> None:
    """The device asks for vacuum again as it passes, not where what is left is lowest."""
    vacuum = np.array([0.0, 40.0, 70.0, 73.0, 70.0, 63.0, 40.0, 10.0, 3.0, 2.0, 2.5, 3.0])
    found = find_teeth(vacuum, np.array([0]), np.array([len(vacuum)]), CUT, RESUME)
    assert (found.top.tolist(), found.resumed.tolist()) == ([3], [5])
