"""What is kept of each stretch until the log has ended takes few bytes: there may be very many."""

import numpy as np
import pytest
from segment import made_traces
from segment.made_traces import KNOWN, SAVING, data_of, idle

from tracekit import pipeline

BYTES = {
    "periods": {"cycle": 4, "kind": 1, "samples": 4, "used": 1, "reason": 1},
    "edges": {"cycle": 4, "signal": 1, "value": 1, "chatter": 1},
    "bins": {"cycle": 4, "period": 4, "samples": 1},
}
"""Bytes of each number that is counted or stands for a word, by table and column."""


@pytest.fixture
def kept(monkeypatch):
    """The tables of every stretch, taken as the log ends."""
    taken = []
    put_together = pipeline.station_data

    def watched(analyser, *more):
        taken.extend({name: dict(getattr(result, name)) for name in BYTES} for result in analyser.results)
        return put_together(analyser, *more)

    monkeypatch.setattr(pipeline, "station_data", watched)
    return taken


def test_counts_and_codes_take_few_bytes(kept):
    """Codes take a byte, numbers of samples in a bin one too where it is enough; what is told of them stays the same."""
    data = data_of((*SAVING * 4, idle()), settings=KNOWN)
    assert kept
    for tables in kept:
        for name, columns in BYTES.items():
            assert {column: tables[name][column].itemsize for column in columns} == columns
    for name in ("signal", "value"):
        assert np.array_equal(np.concatenate([t["edges"][name] for t in kept]), data.edges.data[name])
    assert np.array_equal(np.concatenate([t["periods"]["kind"] for t in kept]), data.periods.data["kind"])


def test_long_bins_keep_their_number_of_samples(kept):
    """A bin of more samples than a byte can tell has a wider number."""
    hold = (idle(), made_traces.evacuate(), made_traces.hold(400.0), made_traces.blow_off())
    data = data_of(hold * 2, rate_hz=1000)
    most = max(int(t["bins"]["samples"].max()) for t in kept)
    assert most > 255
    assert int(data.bins.samples.max()) == most
    held = data.periods.where("kind", "steady")
    counted = np.bincount(data.bins.period, data.bins.samples, len(held))
    assert np.array_equal(counted[held], data.periods.data["samples"][held])
