"""What is worked on at once is bounded: results are the same to the bit, and memory grows with what is kept alone."""

import tracemalloc

import numpy as np
import pytest

from tracekit.measure import leak_mixture

PROBABILITIES = (0.025, 0.5, 0.975)


def mixtures(count: int, order: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Means, deviations and weights of so many mixtures of twenty components."""
    draw = np.random.default_rng(5)
    middle = np.asarray(draw.normal(0.05, 0.05, (20, count)), order=order)
    return middle, draw.uniform(0.01, 0.1, count), draw.dirichlet(np.ones(20))[:, None]


@pytest.mark.parametrize("order", ["C", "F"])
@pytest.mark.parametrize("count", [1, 2, 7, 64, 65, 66, 130])
def test_mixtures_in_groups(monkeypatch: pytest.MonkeyPatch, count: int, order: str) -> None:
    """Quantiles do not depend on how many mixtures are worked on at once, with weights for all or for each."""
    middle, sd, weight = mixtures(count, order)
    for own in (weight, np.asarray(np.repeat(weight, count, axis=1), order=order)):
        whole = leak_mixture.positive_quantiles(middle, sd, own, PROBABILITIES)
        below = leak_mixture.share_negative(middle, sd, own)
        monkeypatch.setattr(leak_mixture, "_TOGETHER", 64)
        for one, other in zip(whole, leak_mixture.positive_quantiles(middle, sd, own, PROBABILITIES), strict=True):
            assert one.tobytes() == other.tobytes()
        assert below.tobytes() == leak_mixture.share_negative(middle, sd, own).tobytes()
        monkeypatch.undo()


def test_memory_of_mixtures() -> None:
    """The quantiles of very many mixtures take less memory than their means do."""
    middle, sd, weight = mixtures(50_000, "C")
    tracemalloc.start()
    try:
        leak_mixture.positive_quantiles(middle, sd, weight, PROBABILITIES)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < middle.nbytes
