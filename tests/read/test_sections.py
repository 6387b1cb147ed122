"""A second table below the samples: refused with its place, unless it is the same header once more."""

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
def test_second_table_is_refused_with_its_line_and_header(tmp_path, blanks, header, rows, head_bytes):
    """A second table below the samples is refused by line and header, however many fields it has and wherever it stands."""
    path = written(tmp_path, [""] * blanks + [header, *rows])
    line = len(ROWS) + 2 + blanks
    with pytest.raises(LogReadError, match=f"line {line} below the samples.*{header[:4]}") as refused:
        read(path, options=ReadOptions(head_bytes=head_bytes))
    assert header.split(";")[1] in str(refused.value)
    assert "file of its own" in str(refused.value)


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
def test_second_table_above_the_samples_is_refused(tmp_path, free):
    """A table of events above the samples is refused too."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join([*free, "time;event;state", *EVENTS, "", HEAD, *ROWS]) + "\n")
    with pytest.raises(LogReadError, match=f'line {len(free) + 1} above the samples, .*: "time;event;state"'):
        read(path)


def test_table_of_channels_above_the_samples_is_none_in_time(tmp_path):
    """A list of channels above the header is no table in time."""
    channels = ["channel;name;sample time [ms]", *(f"{k};AI{k};10" for k in range(5))]
    path = tmp_path / "log.csv"
    path.write_text("\n".join([*channels, "", HEAD, *ROWS]) + "\n")
    assert len(read(path).time_s) == len(ROWS)
