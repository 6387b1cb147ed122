"""Rows of several stations under the same stamps, told apart by numbers or letters in a column of any name."""

import json

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read

ONE, OTHER = make_recording(cycles=8), make_recording(cycles=8, seed=9)
N = min(len(ONE.time_s), len(OTHER.time_s))


def rows(words: tuple[str, str], left_out: int = -1) -> list[str]:
    """Lines of both stations by turns; one line may be left out."""
    found = []
    for k in range(N):
        for word, rec in zip(words, (ONE, OTHER), strict=True):
            levels = ",".join(str(rec.digital[k] >> b & 1) for b in range(3))
            found.append(f"{ONE.time_s[k]:.2f},{word},{rec.pressure_kpa[k]:.3f},{levels}")
    return [line for place, line in enumerate(found) if place != left_out]


@pytest.mark.parametrize("name", ["Nest", "Node", "x", "Gripper"])
@pytest.mark.parametrize("words", [("1", "2"), ("1.0", "2.0"), ("L", "R")])
@pytest.mark.parametrize("left_out", [-1, 301])
def test_two_stations_by_turns(tmp_path, name, words, left_out):
    """Whatever the column is called, and where a row lacks so that the turns change."""
    head = f"time_s,{name},pressure kPa,suction,release,part present"
    (tmp_path / "log.csv").write_text("\n".join([head, *rows(words, left_out), ""]))
    found = read(tmp_path / "log.csv")
    assert found.layout.stations == tuple(word.removesuffix(".0") for word in words)
    assert np.array_equal(found.pressure_kpa[found.station == 0], ONE.pressure_kpa[:N])
    assert (found.station == 1).sum() == N - (left_out > 0)


def test_records_with_a_stamp_in_quotes(tmp_path):
    """A record per line whose stamp is a text."""
    lines = []
    for t, p, d in zip(ONE.time_s, ONE.pressure_kpa, ONE.digital, strict=True):
        stamp = f"2026-03-18T13:{int(t // 60):02d}:{t % 60:06.3f}Z"
        levels = {name: bool(d >> b & 1) for b, name in enumerate(("supply", "release", "part"))}
        lines.append(json.dumps({"ts": stamp, "pressure_kPa": float(p), **levels}))
    (tmp_path / "log.jsonl").write_text("\n".join([*lines, ""]))
    found = read(tmp_path / "log.jsonl")
    assert np.array_equal(found.pressure_kpa, ONE.pressure_kpa)
    assert np.array_equal(found.digital, ONE.digital)
    assert found.facts.start_time_us is not None
