"""What a supply-off means in a log without release commands: the end of suction, or a cut that saves air."""

import numpy as np
import pytest
from segment.made_traces import Piece, blow_off, coast, data_of, evacuate, hold, idle, seconds_of


@pytest.mark.parametrize(
    "after", [(coast(0.05, 74.0), blow_off()), (Piece(seconds=2.0, to=0.0, tau_s=0.5),), (Piece(seconds=2.5, to=0.0),)]
)
def test_the_end_of_suction_without_release_channel(after: tuple[Piece, ...]) -> None:
    """A supply-off that a blow-off follows within a moment, or a slow fall to nothing, ends suction: no air is saved."""
    pieces = (idle(), evacuate(), hold(0.5), *after)
    data = data_of((*pieces * 5, idle()), drop=["release"])
    assert not data.air_saving
    assert data.cycles.codes("coasts").tolist() == [0] * 5
    off = 1.7 + seconds_of(pieces) * np.arange(5)
    np.testing.assert_allclose(data.cycles.floats("hold_end_s"), off, atol=0.011)
