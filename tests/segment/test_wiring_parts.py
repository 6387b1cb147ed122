"""Parts of what finds the wiring, against their slow twins."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tracekit.segment.wiring import _before


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
