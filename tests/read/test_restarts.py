"""Lines between the rows that tell a restart: counted, and a pause, whether time has a column, starts again, or is counted."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.options.read import ReadOptions
from tracekit.read.restarts import RESTART, tells_restart

RECORDING = make_recording(cycles=8)
N = len(RECORDING.time_s)
PAUSE_S = ReadOptions().restart_gap_s
STEP_S = float(np.median(np.diff(RECORDING.time_s)))
HEAD = "time [s];pressure [kPa];suction;blow-off;part present"
LEVELS = [RECORDING.digital >> bit & 1 for bit in range(3)]
VALUES = [
    ";".join(map(str, row)) for row in zip(RECORDING.pressure_kpa.round(2), *(v.tolist() for v in LEVELS), strict=True)
]
PART = 400


def starting_again(between: list[str], *, timed: bool = True) -> list[str]:
    """Rows in parts, each with times from 0 where `timed`, and lines between the parts."""
    lines = []
    for k, value in enumerate(VALUES):
        lines += between if k and k % PART == 0 else []
        lines.append(f"{k % PART * STEP_S:.3f};{value}" if timed else value)
    return lines


def in_parts(found) -> np.ndarray:
    """Times of the recording with the pause that is assumed before each later part."""
    return RECORDING.time_s + np.arange(N) // PART * PAUSE_S


LINES = (["*** restart ***"], ["Recording stopped 11.03.2025", "Recording started 11.03.2025"], ["# Neustart; Batterie"])


@pytest.mark.parametrize("between", LINES)
@pytest.mark.parametrize("options", [ReadOptions(), ReadOptions(block_bytes=3000)], ids=["whole", "pieces"])
def test_times_that_start_again_where_a_line_says_so(tmp_path, between, options):
    """However often times start again, each line that tells it is counted, and a pause is assumed and told."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join([HEAD, *starting_again(between)]) + "\n", encoding="utf-8")
    found = read(path, options=options)
    assert np.abs(found.time_s - in_parts(found)).max() < 1e-6
    parts = (N - 1) // PART
    assert len(found.facts.gaps) == parts
    assert {r.reason: r.rows for r in found.facts.rejections} == {RESTART: parts * len(between)}
    assert sum("time starts again" in w for w in found.facts.warnings) == min(parts, 5)


@pytest.mark.parametrize("options", [ReadOptions(), ReadOptions(block_bytes=3000)], ids=["whole", "pieces"])
@pytest.mark.parametrize("between", [*LINES, ["Logger started", "Interval: 10 ms", HEAD.partition(";")[2]]])
def test_counted_rows_pause_where_a_line_tells_a_restart(tmp_path, options, between):
    """Without a column of time a restart is a pause too, and the header once more is no sample."""
    path = tmp_path / "log.csv"
    head = [f"Interval: {STEP_S * 1000:g} ms", HEAD.partition(";")[2]]
    path.write_text("\n".join([*head, *starting_again(between, timed=False)]) + "\n", encoding="utf-8")
    found = read(path, options=options)
    assert np.abs(found.time_s - in_parts(found)).max() < 1e-6
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa.round(2))
    assert len(found.facts.gaps) == (N - 1) // PART


def test_a_line_at_the_very_end_or_before_all_rows_is_no_pause(tmp_path):
    """Nothing pauses before the first row or after the last one."""
    path = tmp_path / "log.csv"
    lines = [f"Interval: {STEP_S * 1000:g} ms", HEAD.partition(";")[2], *VALUES, "Recording stopped by operator"]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = read(path)
    assert np.abs(found.time_s - RECORDING.time_s).max() < 1e-6
    assert found.facts.gaps == ()


@pytest.mark.parametrize(
    ("line", "told"),
    [("*** RESTART ***", True), ("power failure", True), ("Aufzeichnung gestartet 12:00", True),
     ("redemarrage", True), ("ALARM 17: part lost", False), ("operator: Miller", False), ("Page 2 of 9", False)],
)  # fmt: skip
def test_words_of_a_restart(line, told):
    """Alarms and titles tell no restart."""
    assert tells_restart(line) is told
