"""Lines of names and values, some quoted, and headers with a name more than there are columns."""

import time

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.read.quotedpairs import find_quoted_pairs

RECORDING = make_recording(cycles=8)
LEVELS = [(RECORDING.digital >> b & 1).astype(int) for b in range(3)]
FORMS = {
    "some quoted": 'ts=2025-03-18T09:14:{t:09.6f}Z level=info msg="sample taken" station="Line 3" pressure_kpa={p} '
    "supply={a} release={b} part={c}",
    "all quoted": 'time="2025-03-18 09:14:{t:09.6f}" pressure="{p} kPa" supply="{a}" release="{b}" part_present="{c}"',
    "with commas": 'time="2025-03-18 09:14:{t:09.6f}", pressure="{p} kPa", supply={a}, release={b}, part_present="{c}"',
}


def rows() -> list[tuple]:
    """Time, pressure and levels."""
    columns = (RECORDING.time_s, RECORDING.pressure_kpa, *(level.tolist() for level in LEVELS))
    return list(zip(*columns, strict=True))


@pytest.mark.parametrize("name", FORMS)
def test_values_by_quoted_names(tmp_path, name):
    """Names go, quotes go, and what has blanks in it stays one value."""
    lines = [FORMS[name].format(t=t, p=p, a=a, b=b, c=c) for t, p, a, b, c in rows()]
    (tmp_path / "log.log").write_text("\n".join(lines) + "\n")
    found = read(tmp_path / "log.log")
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
    assert np.array_equal(found.digital, RECORDING.digital)
    assert found.facts.rows_rejected == 0


def test_long_lines_cost_their_length():
    """Lines that nearly fit are given up soon."""
    bad = ["a=" + 'x="' * 20_000] * 10 + ["pressure=" + " " * 60_000 + '="'] * 10
    begun = time.process_time()
    assert find_quoted_pairs(bad) is None
    assert time.process_time() - begun < 1.0


def head(names: str) -> str:
    """A log with these names above five columns."""
    lines = [f"{t:.2f},{p},{a},{b},{c}" for t, p, a, b, c in rows()]
    return "\n".join([names, *lines])


def test_a_name_too_many(tmp_path):
    """The last name of a header may stand above nothing, where all the others fit what is below them."""
    path = tmp_path / "log.csv"
    path.write_text(head("time_s,pressure [kPa],vacuum valve,blow-off,part present,comment"))
    assert np.array_equal(read(path).digital, RECORDING.digital)
    for names in (
        "time_s,pressure [kPa],position,vacuum valve,blow-off,part present",
        "time_s,position,pressure [kPa],vacuum valve,blow-off,comment",
    ):
        path.write_text(head(names))
        with pytest.raises(LogReadError, match=r"\.(csv|log|txt)"):
            read(path)
