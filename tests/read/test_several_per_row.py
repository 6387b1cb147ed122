"""Columns with running numbers: samples that follow one another in a row are refused, stations side by side are read."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=12)
PER_ROW = 4
TIME_S = RECORDING.time_s[: len(RECORDING.time_s) // PER_ROW * PER_ROW]


def written(folder, columns: np.ndarray, stride: int):
    """A log with a row per `stride` samples; columns (n, rows)."""
    rows = [",".join(["time s", *(f"p{k} kPa" for k in range(len(columns))), "supply", "release", "part present"])]
    for row, values in enumerate(columns.T):
        digital = int(RECORDING.digital[row * stride])
        levels = [digital >> bit & 1 for bit in range(3)]
        rows.append(",".join(map(str, [f"{TIME_S[row * stride]:.3f}", *(f"{v:.1f}" for v in values), *levels])))
    path = folder / "log.csv"
    path.write_text("\n".join(rows) + "\n")
    return path


@pytest.mark.parametrize("count", [2, 4])
def test_samples_that_follow_one_another_in_a_row_are_no_stations(tmp_path, count):
    """Several samples of one channel in a row are refused, with the line that takes one of them."""
    columns = RECORDING.pressure_kpa[: len(TIME_S)].reshape(-1, count).T
    path = written(tmp_path, columns, count)
    with pytest.raises(LogReadError, match=f"holds {count} samples of one channel") as refused:
        read(path)
    assert '"p0 kPa", "p1 kPa"' in str(refused.value)
    line = str(refused.value).partition("[channels] ")[2]
    found = read(path, parse_station(f"[channels]\n{line}\n", "s.toml"))
    assert np.abs(found.pressure_kpa - columns[0]).max() < 0.051
    assert len(found.layout.stations) == 1


@pytest.mark.parametrize("lag", [0, 1, 3])
def test_stations_side_by_side_stay_stations(tmp_path, lag):
    """Stations of one rhythm, side by side or a little apart, are read as stations."""
    kpa = RECORDING.pressure_kpa[: len(TIME_S)]
    noise = np.random.default_rng(3).normal(0, 0.1, (PER_ROW, len(kpa)))
    columns = np.stack([np.roll(kpa, k * lag) for k in range(PER_ROW)]) + noise
    assert len(read(written(tmp_path, columns, 1)).layout.stations) == PER_ROW
