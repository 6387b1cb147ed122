"""The averaged trace is held in as few bytes as its numbers need."""

from pathlib import Path

import numpy as np
from cli.made_logs import write_log

from tracekit.pipeline import measure


def test_numbers_of_samples_take_a_byte_each(tmp_path: Path) -> None:
    """A bin of some samples counts them in one byte, and all chunks together lose none of them."""
    log = str(write_log(tmp_path / "log.csv", cycles=6))
    whole, pieces = measure(log).stations[0].bins, measure(log, chunk_rows=900).stations[0].bins
    for bins in (whole, pieces):
        assert bins.samples.dtype == np.uint8
        assert len(bins.samples) == len(bins.time_s)
        assert bins.samples.min() >= 1
    assert np.array_equal(whole.samples, pieces.samples)
