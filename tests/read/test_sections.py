"""Several tables in one file, each under its own header: one log, or refused with the place; the same header once more."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions

RECORDING = make_recording(cycles=8)
HEAD = "time [s];pressure [kPa];suction;blow-off;part present"
LEVELS = [RECORDING.digital >> bit & 1 for bit in range(3)]
ROWS = [
    ";".join(map(str, row))
    for row in zip(RECORDING.time_s.round(4), RECORDING.pressure_kpa.round(2), *LEVELS, strict=True)
]
EVENTS = [f"{k}.25;part lost;{k % 2}" for k in range(12)]
STEP_S = float(np.median(np.diff(RECORDING.time_s)))
WIDE = [f"{k}.25;part lost;{k % 2};gripper;low" for k in range(12)]


def written(folder, below: list[str]):
    """The recording with lines below it."""
    path = folder / "log.csv"
    path.write_text("\n".join([HEAD, *ROWS, *below]) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("blanks", "header", "rows"),
    [
        (0, "time;event;state", EVENTS),
        (2, "Time [s];Event;State", EVENTS),
        (0, "time;event;state;source;priority", WIDE),
        (1, "time;temperature;humidity;door;lamp", [f"{k}.5;21.5;44;0;1" for k in range(12)]),
    ],
)
@pytest.mark.parametrize("head_bytes", [ReadOptions().head_bytes, 20_000])
def test_second_table_without_a_channel_is_left_aside_row_by_row(tmp_path, blanks, header, rows, head_bytes):
    """A second table that adds nothing loses no sample; each of its rows is rejected with its line."""
    path = written(tmp_path, [""] * blanks + [header, *rows])
    found = read(path, options=ReadOptions(head_bytes=head_bytes))
    assert np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa.round(2))
    assert found.facts.rows_read == len(ROWS) + len(rows)
    (left,) = found.facts.rejections
    assert "another table" in left.reason
    assert left.rows == len(rows)
    assert left.first_lines[0] == len(ROWS) + 3 + blanks


SIGNALS = ("suction", "blow-off", "part present")
CHANGES = [
    f"{RECORDING.time_s[k]:.4f};{name};{LEVELS[bit][k]}"
    for k in range(len(ROWS))
    for bit, name in enumerate(SIGNALS)
    if k == 0 or LEVELS[bit][k] != LEVELS[bit][k - 1]
]
BARE = [";".join(row.split(";")[:2]) for row in ROWS]


def as_recorded(found, tolerance_s: float = 1e-4) -> bool:
    """Times, pressures and levels are those of the recording."""
    late = np.abs(found.time_s - RECORDING.time_s).max()
    same = np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa.round(2))
    return bool(late < tolerance_s and same and np.array_equal(found.digital, RECORDING.digital))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("order", ["below", "above"])
@pytest.mark.parametrize("title", [[], ["", "Events of the cell", "Printed by: line 4"]])
def test_events_in_a_table_of_their_own(tmp_path, order, end, encoding, title):
    """Samples and changes of digitals under two headers are one log, whichever stands first."""
    samples, events = ["time [s];pressure [kPa]", *BARE], ["time [s];signal;state", *CHANGES]
    lines = [*samples, *title, *events] if order == "below" else [*events, "", *samples]
    path = tmp_path / "log.csv"
    path.write_bytes((end.join(lines) + end).encode(encoding))
    found = read(path)
    assert as_recorded(found)
    assert found.facts.rows_rejected == 0
    assert found.facts.rows_read == len(ROWS) + len(CHANGES)


def test_columns_in_another_order_below(tmp_path):
    """Rows below a header that names the same channels in another order are read by that header."""
    half = len(ROWS) // 2
    turned = [";".join(row.split(";")[k] for k in (0, 2, 3, 4, 1)) for row in ROWS[half:]]
    path = tmp_path / "log.csv"
    header = ";".join(HEAD.split(";")[k] for k in (0, 2, 3, 4, 1))
    path.write_text("\n".join([HEAD, *ROWS[:half], "", header, *turned]) + "\n", encoding="utf-8")
    found = read(path)
    assert as_recorded(found)
    assert found.facts.gaps == ()


@pytest.mark.parametrize("begins_again", [False, True])
def test_another_recording_below_with_other_units(tmp_path, begins_again):
    """A second recording below keeps its own units and columns; where its times begin again a pause is assumed and told."""
    half = len(ROWS) // 2
    start = RECORDING.time_s[half] if begins_again else 0.0
    rows = [
        f"{(t - start) * 1000:.1f};21.5;{kpa * 10:.1f};{a};{b};{c}"
        for t, kpa, a, b, c in zip(
            RECORDING.time_s[half:], RECORDING.pressure_kpa[half:].round(2), *(v[half:] for v in LEVELS), strict=True
        )
    ]
    header = "time [ms];temperature [C];pressure [mbar];suction;blow-off;part present"
    path = tmp_path / "log.csv"
    path.write_text("\n".join([HEAD, *ROWS[:half], "Recording 2", header, *rows]) + "\n", encoding="utf-8")
    found = read(path)
    pause = np.arange(len(ROWS)) >= half
    expected = RECORDING.time_s + pause * (ReadOptions().restart_gap_s if begins_again else 0.0)
    assert np.abs(found.time_s - expected).max() < 2e-4
    assert np.abs(found.pressure_kpa - RECORDING.pressure_kpa.round(2)).max() < 1e-9
    assert np.array_equal(found.digital, RECORDING.digital)
    assert len(found.facts.gaps) == begins_again
    assert any("second table begins" in w for w in found.facts.warnings) is begins_again


def test_a_table_that_lacks_a_signal_is_refused_in_one_message(tmp_path):
    """Two tables of samples with different signals are no one recording: lines and reason are told."""
    half = len(ROWS) // 2
    path = tmp_path / "log.csv"
    less = [";".join(row.split(";")[:4]) for row in ROWS[half:]]
    lines = [HEAD, *ROWS[:half], HEAD.rpartition(";")[0], *less]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(LogReadError, match=f"from line 1 and from line {half + 2} on, with other signals"):
        read(path)


def test_lines_of_rejected_rows_are_those_of_the_file(tmp_path):
    """A bad row in the second table is told by its line in the file, and a cut one too."""
    path = tmp_path / "log.csv"
    lines = ["time [s];pressure [kPa]", *BARE, "", "time [s];signal;state", *CHANGES[:5], "1;2", *CHANGES[5:]]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    (bad,) = read(path).facts.rejections
    assert bad.first_lines == (len(BARE) + 9,)


def test_pages_of_two_tables_that_take_turns(tmp_path):
    """Tables that alternate, each under its header again, are put together."""
    lines: list[str] = []
    for k in range(0, len(BARE), 500):
        lines += ["time [s];pressure [kPa]", *BARE[k : k + 500]]
        inside = [c for c in CHANGES if k <= round(float(c.split(";")[0]) / STEP_S) < k + 500]
        lines += ["time [s];signal;state", *inside] if inside else []
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert as_recorded(read(path))


@pytest.mark.parametrize(
    "between",
    [
        [HEAD],
        ["", "log, page 2", HEAD, "s;kPa;on;on;on"],
        ["recorder;stopped", "recorder;started again"],
    ],
)
def test_lines_that_begin_no_table_are_only_left_out(tmp_path, between):
    """The header once more, page titles and remarks between the rows lose no row."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join([HEAD, *ROWS[:900], *between, *ROWS[900:]]) + "\n", encoding="utf-8")
    assert len(read(path).time_s) == len(ROWS)


def test_statistics_below_are_no_table_in_time(tmp_path):
    """Statistics below the samples are left out."""
    path = written(tmp_path, ["", "channel;lowest;highest", "pressure;-60.1;0.2", "suction;0;1"])
    assert len(read(path).time_s) == len(ROWS)


@pytest.mark.parametrize("free", [[], ["recorder 4", ""]])
def test_second_table_above_the_samples_is_left_aside_too(tmp_path, free):
    """A table of events above the samples that adds nothing is accounted for, and no sample is lost."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join([*free, "time;event;state", *EVENTS, "", HEAD, *ROWS]) + "\n")
    found = read(path)
    assert as_recorded(found)
    (left,) = found.facts.rejections
    assert (left.rows, left.first_lines[0]) == (len(EVENTS), len(free) + 2)


@pytest.mark.parametrize("every", [1, 4])
def test_slow_digitals_below_are_told(tmp_path, every):
    """Digitals in a table that is written more slowly than the pressure come late by up to its interval: it is told."""
    slow = [";".join(row.split(";")[k] for k in (0, 2, 3, 4)) for row in ROWS[::every]]
    path = tmp_path / "log.csv"
    lines = ["time [s];pressure [kPa]", *BARE, "", "time [s];suction;blow-off;part present", *slow]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = read(path)
    assert np.array_equal(found.digital[::every], RECORDING.digital[::every])
    told = [w for w in found.facts.warnings if "come up to" in w]
    assert len(told) == (every > 1)
    assert all(f"every {every * STEP_S:.3g} s" in w for w in told)


def test_table_of_channels_above_the_samples_is_none_in_time(tmp_path):
    """A list of channels above the header is no table in time."""
    channels = ["channel;name;sample time [ms]", *(f"{k};AI{k};10" for k in range(5))]
    path = tmp_path / "log.csv"
    path.write_text("\n".join([*channels, "", HEAD, *ROWS]) + "\n")
    assert len(read(path).time_s) == len(ROWS)


@pytest.mark.parametrize("block_bytes", [3000, 1 << 20])
@pytest.mark.parametrize(("unit", "factor"), [("mbar", 10.0), ("Pa", 1000.0), ("kPa", 1.0)])
@pytest.mark.parametrize(("count", "per_s"), [("s", 1.0), ("ms", 1000.0)])
def test_a_header_that_comes_again_with_other_units(tmp_path, unit, factor, count, per_s, block_bytes):
    """The same names above other units part the file: every reading and every time is read in its own unit."""
    half = len(RECORDING.time_s) // 2
    names = "Time,Pressure,Suction,Blow-off,Part present"
    rows = [
        f"{t * (per_s if k >= half else 1.0):.3f},{p * (factor if k < half else 1.0):.3f},{d & 1},{d >> 1 & 1},{d >> 2}"
        for k, (t, p, d) in enumerate(
            zip(RECORDING.time_s, RECORDING.pressure_kpa, RECORDING.digital.astype(int), strict=True)
        )
    ]
    path = tmp_path / "log.csv"
    parts = [names, f"s,{unit},,,", *rows[:half], names, f"{count},kPa,,,", *rows[half:]]
    path.write_text("\n".join(parts) + "\n")
    found = read(path, options=ReadOptions(block_bytes=block_bytes))
    assert np.allclose(found.pressure_kpa, RECORDING.pressure_kpa, atol=6e-4)
    assert np.allclose(found.time_s, RECORDING.time_s - RECORDING.time_s[0], atol=1e-6)
    assert np.array_equal(found.digital, RECORDING.digital)
