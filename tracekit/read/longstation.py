"""Which column of a log with a row per reading names the station."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column
from tracekit.read.quality import is_quality
from tracekit.read.values import word_codes


def parts_readings(column: Column, tag: Column, times: Sequence[Column]) -> bool:
    """True for words, whatever the column is called, that part readings of one tag at one time.

    A tag has one reading at a time on one station; where most have several, each under another word, the words are
    stations. An operator or a recipe changes with time and parts nothing.
    """
    if column.kind != "text" or not 1 < len(column.words) <= EVIDENCE.most_named or is_quality(column):
        return False
    codes, _ = word_codes(tag.array)
    own, _ = word_codes(column.array)
    for time in times:
        single = np.stack([_codes(time), codes])
        alone = np.unique(single, axis=1).shape[1] / max(len(codes), 1)
        parted = np.unique(np.vstack([single, own]), axis=1).shape[1] / max(len(codes), 1)
        if alone < 1.0 - EVIDENCE.shared_readings and parted > EVIDENCE.alike_lines:
            return True
    return False


def _codes(time: Column) -> NDArray[np.int64]:
    """The times of rows as numbers that are equal where they are, shape (n,)."""
    if time.kind == "number":
        return np.unique(time.values, return_inverse=True)[1].astype(np.int64)
    return word_codes(time.array)[0]
