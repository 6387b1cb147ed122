"""Signs that a judgement takes from single cycles."""

from dataclasses import replace

import numpy as np
from segment.made_traces import blow_off, coast, evacuate, idle, recharge, table_of, trace_of

from tracekit.judge.signs import pulsation_sign
from tracekit.pipeline import measure

CYCLE = (idle(), evacuate(0.3, to=72.0), coast(0.5, 69.5), recharge(), coast(0.5, 69.0), recharge(), blow_off())


def test_pressure_that_never_bends_is_no_pulsation():
    """A recording whose averaged pressure moves in straight lines, or not at all, shows no ripple."""
    data = measure(table_of(trace_of(CYCLE * 6, noise=0.03))).stations[0]
    still = replace(data, bins=replace(data.bins, pressure_kpa=np.zeros_like(data.bins.pressure_kpa)))
    assert len(data.bins.time_s) >= 50
    assert pulsation_sign(still).present <= 0.01
