"""Cells with blanks in them, between signs that stand equally often in every line."""

import datetime as dt

import numpy as np
import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import read

RECORDING = make_recording(cycles=8)
TAGS = ("A.pression_bar", "A.vanne aspiration", "A.soufflage", "A.pièce présente")


@pytest.mark.parametrize("mark", ["\t", ";", "|"])
def test_a_sign_that_parts_every_line_beats_blanks(tmp_path, mark):
    """Names of two words and of one stand below each other: blanks part lines differently, the sign does not."""
    rows, before = [], None
    for k, d in enumerate(RECORDING.digital.astype(int)):
        stamp = (START + dt.timedelta(seconds=k / 100)).strftime("%Y/%m/%d %H:%M:%S.%f")[:-3]
        rows.append((stamp, TAGS[0], f"{RECORDING.pressure_kpa[k] / 100:.5f}", "Good"))
        if d != before:
            rows += [(stamp, tag, str(d >> bit & 1), "Good") for bit, tag in enumerate(TAGS[1:])]
        before = d
    path = tmp_path / "log.txt"
    lines = [("Horodatage", "Variable", "Valeur", "Qualité"), *rows]
    path.write_bytes(("\r\n".join(map(mark.join, lines)) + "\r\n").encode("cp1252"))
    found = read(path)
    assert np.allclose(found.pressure_kpa, RECORDING.pressure_kpa, atol=0.001)
    assert np.array_equal(found.digital, RECORDING.digital)
    assert found.facts.rows_rejected == 0
