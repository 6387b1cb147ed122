"""Parts of what finds the wiring, against their slow twins."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.segment.wiring import _before, _present_level, _release_level


@given(st.lists(st.booleans(), min_size=1, max_size=80))
def test_vacuum_before_each_release(blown: list[bool]) -> None:
    """During a release the vacuum is that of the sample before it; a release at the start has its own first sample's."""
    vacuum = np.random.default_rng(len(blown)).normal(40.0, 9.0, len(blown))
    expected = vacuum.tolist()
    for k in range(1, len(blown)):
        if blown[k]:
            expected[k] = expected[k - 1]
    assert _before(vacuum, np.array(blown)).tolist() == expected
    assert vacuum.tolist() == np.random.default_rng(len(blown)).normal(40.0, 9.0, len(blown)).tolist()


@pytest.mark.parametrize("seed", range(6))
def test_noise_tells_no_polarity(seed: int) -> None:
    """Where the pressure hardly moves, release is on for the shorter time, and which level means a part is not told."""
    noise = np.random.default_rng(seed).normal(0.0, 0.1, 2000)
    level = np.arange(2000) % 100 < 30
    assert _release_level(noise, level)[0] == 1
    assert _release_level(noise, ~level)[0] == 0
    assert _present_level(noise, level) == (None, "pressure does not answer it")


@pytest.mark.parametrize("seed", range(6))
def test_a_part_that_the_vacuum_does_not_follow(seed: int) -> None:
    """An output that switches at any time has no level that means a part; one that follows the vacuum has."""
    random = np.random.default_rng(seed)
    held = np.arange(20_000) % 200 < 100
    vacuum = np.where(held, 60.0, 0.0) + random.normal(0.0, 0.1, len(held))
    assert _present_level(vacuum, np.arange(20_000) % 100 < 50)[0] is None
    assert _present_level(vacuum, held)[0] == 1
    assert _present_level(vacuum, ~held)[0] == 0
