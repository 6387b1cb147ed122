"""Healthy stations that several files of tests begin from."""

import pytest
from segment.made_traces import KNOWN, PLAIN, SAVING, data_of

from tracekit.model.cycle import StationData


@pytest.fixture(scope="module")
def saving() -> StationData:
    """A healthy station that saves air: band 63 to 70 kPa, two recharges in 2.4 s."""
    return data_of(SAVING * 12, noise=0.03, settings=KNOWN)


@pytest.fixture(scope="module")
def plain() -> StationData:
    """A healthy station without air saving: ultimate vacuum 75, set point 56, reset point 51 kPa."""
    return data_of(PLAIN * 12, noise=0.03, settings=KNOWN)
