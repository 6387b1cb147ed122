"""Which cycles of a long log are kept sample by sample."""

from itertools import pairwise

import numpy as np
import pytest

from tracekit.measure.excerpts import ExcerptKeeper
from tracekit.model.cycle import Excerpt, Wiring
from tracekit.options.segment import SegmentOptions
from tracekit.segment.hold import DROPPED, HELD, MISSED
from tracekit.segment.samples import make_samples

CYCLES, LENGTH = 1309, 12


def columns_of_a_log(seed: int) -> dict[str, np.ndarray]:
    """Columns of many cycles, some of which are lost, missed or retried."""
    rng = np.random.default_rng(seed)
    outcome = rng.choice([HELD, DROPPED, MISSED], CYCLES, p=[0.95, 0.03, 0.02])
    return {
        "outcome": outcome,
        "attempts": 1 + (rng.random(CYCLES) < 0.02),
        "chatter_edges": np.where(rng.random(CYCLES) < 0.05, rng.integers(1, 9, CYCLES), 0),
        "hold_min_vacuum_kpa": np.where(outcome == MISSED, np.nan, rng.normal(60.0, 2.0, CYCLES)),
        "evacuation_time_s": np.where(outcome == MISSED, np.nan, rng.normal(0.3, 0.02, CYCLES)),
    }


def kept(columns: dict[str, np.ndarray], bounds: list[int]) -> tuple[Excerpt, ...]:
    """What a keeper holds that meets cycles in stretches between these numbers; a sample's reading is its row."""
    keeper = ExcerptKeeper()
    for first, last in pairwise(bounds):
        row = np.arange(first * LENGTH, last * LENGTH, dtype=np.float64)
        wiring = Wiring(supply_on_level=1, release_on_level=1, present_on_level=1, evidence={})
        nothing = np.zeros(len(row), np.uint8)
        samples = make_samples(row, -row, nothing, wiring, interval=1.0, noise=1.0, options=SegmentOptions())
        starts = np.arange(0, len(row), LENGTH)
        keeper.take(samples, starts, len(row), {k: v[first:last] for k, v in columns.items()}, first)
    return keeper.excerpts


def numbers(excerpts: tuple[Excerpt, ...], *why: str) -> list[int]:
    """Numbers of the cycles kept for these reasons."""
    return [e.cycle for e in excerpts if e.why in why]


@pytest.mark.parametrize("seed", range(5))
def test_cycles_that_matter_are_kept(seed: int) -> None:
    """Losses, misses, retries, the worst chatter, the weakest hold and the slowest evacuation, and usual ones all along."""
    columns = columns_of_a_log(seed)
    excerpts = kept(columns, [0, CYCLES])
    lost = np.flatnonzero(columns["outcome"] == DROPPED)
    have = {e.cycle for e in excerpts}
    assert numbers(excerpts, "chatter") == [int(np.argmax(columns["chatter_edges"]))]
    assert {*lost[:8].tolist(), *lost[-4:].tolist()} <= have
    assert set(np.flatnonzero(columns["outcome"] == MISSED)[:2].tolist()) <= have
    assert set(np.flatnonzero(columns["attempts"] > 1)[:2].tolist()) <= have
    weak = np.where(columns["outcome"] == HELD, columns["hold_min_vacuum_kpa"], np.inf)
    assert set(np.argsort(weak)[:2].tolist()) <= have
    slow = columns["evacuation_time_s"]
    assert set(np.argsort(-np.where(np.isnan(slow), -np.inf, slow))[:2].tolist()) <= have
    assert {0, 1, 2, 256, 512, 768, 1024, 1280} <= have
    assert len(excerpts) == len(have) <= 32


@pytest.mark.parametrize("seed", range(5))
def test_stretches_do_not_matter(seed: int) -> None:
    """The same cycles with the same samples are kept, in the same order, whatever stretches they come in."""
    columns = columns_of_a_log(seed)
    cuts = np.sort(np.random.default_rng(seed).choice(np.arange(1, CYCLES), 30, replace=False)).tolist()
    whole, parted = kept(columns, [0, CYCLES]), kept(columns, [0, *cuts, CYCLES])
    assert [(e.cycle, e.why) for e in whole] == [(e.cycle, e.why) for e in parted]
    for one, other in zip(whole, parted, strict=True):
        first = one.cycle * LENGTH
        assert one.time_s.tolist() == other.time_s.tolist() == list(range(first, first + LENGTH))
        assert one.pressure_kpa.tolist() == other.pressure_kpa.tolist() == [-t for t in one.time_s]


def test_nothing_is_kept_of_nothing() -> None:
    """A log without cycles has no excerpts."""
    assert ExcerptKeeper().excerpts == ()
