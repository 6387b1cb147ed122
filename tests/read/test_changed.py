"""Rows that are written otherwise from some row on without a word of it are refused, with the row or the time."""

import numpy as np
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions

RECORDING = make_recording(cycles=25)
COUNT = len(RECORDING.time_s)


def put(folder, kpa: np.ndarray, digital: np.ndarray = RECORDING.digital, digits: int = 2):
    """A file by whose names nothing is in doubt."""
    path = folder / "log.csv"
    rows = zip(RECORDING.time_s, kpa, digital.tolist(), strict=True)
    lines = [f"{t:.2f},{p:.{digits}f},{bits & 1},{bits >> 1 & 1},{bits >> 2 & 1}" for t, p, bits in rows]
    path.write_text("\n".join(["time_s,pressure_kpa,supply,release,part_present", *lines]) + "\n")
    return path


def changed(share: float, how) -> np.ndarray:
    """The pressures with those from some share of the rows on written otherwise."""
    kpa = RECORDING.pressure_kpa.copy()
    at = int(share * COUNT)
    kpa[at:] = how(kpa[at:])
    return kpa


@pytest.mark.parametrize("share", [0.5, 0.9])
@pytest.mark.parametrize(
    ("how", "told"),
    [
        (lambda kpa: -kpa, "pressure above ambient from about"),
        (lambda kpa: 100.9 + kpa, "pressure above ambient from about"),
        (lambda kpa: 10.0 * kpa, "deeper than any|in another unit"),
    ],
    ids=["vacuum", "absolute", "mbar"],
)
@pytest.mark.parametrize("first_bytes", [None, 30_000])
def test_another_sense_or_unit_from_some_row_on_is_refused(tmp_path, share, how, told, first_bytes):
    """What was a vacuum is over-pressure, or is deeper than any, whether or not the first rows show it."""
    path = put(tmp_path, changed(share, how))
    options = ReadOptions() if first_bytes is None else ReadOptions(head_bytes=first_bytes)
    with pytest.raises(LogReadError, match=told) as refused:
        read(path, options=options)
    if "from about" in told:
        at_s = float(str(refused.value).partition("from about ")[2].partition(" s")[0])
        assert at_s == pytest.approx(share * RECORDING.time_s[-1], abs=2.0)


@pytest.mark.parametrize("over_kpa", [15.0, 60.0])
def test_blow_off_is_no_other_sense(tmp_path, over_kpa):
    """Over-pressure in blow-off, or for good in a log that sucks on, is read."""
    blown = np.where(RECORDING.digital & 2 > 0, RECORDING.pressure_kpa + over_kpa, RECORDING.pressure_kpa)
    blown[: COUNT // 2] = RECORDING.pressure_kpa[: COUNT // 2]
    assert len(read(put(tmp_path, blown)).time_s) == COUNT


def test_marks_of_no_reading_are_missing(tmp_path):
    """The same impossible number in many rows is a mark, and only these readings are missing."""
    kpa = np.where(np.arange(COUNT) % 20 == 7, -500.0, RECORDING.pressure_kpa)
    found = read(put(tmp_path, kpa))
    assert np.isnan(found.pressure_kpa).sum() == pytest.approx(COUNT / 20, abs=1)


@pytest.mark.parametrize("share", [0.5, 0.9])
@pytest.mark.parametrize("places", [(1, 2), (1, 4)])
def test_columns_that_change_their_places_are_refused(tmp_path, share, places):
    """Levels stand where readings were from some row on, and the reverse: the row is told."""
    path = put(tmp_path, RECORDING.pressure_kpa)
    lines = path.read_text().splitlines()
    at = int(share * len(lines))
    first, second = places

    def turned(line: str) -> str:
        cells = line.split(",")
        cells[first], cells[second] = cells[second], cells[first]
        return ",".join(cells)

    path.write_text("\n".join(lines[:at] + [turned(line) for line in lines[at:]]))
    with pytest.raises(LogReadError, match=r"exchanged from row") as refused:
        read(path)
    assert int(str(refused.value).partition("from row ")[2].split()[0]) == pytest.approx(at, abs=30)


def exchanged(one: int, other: int):
    """Levels with two signals in the place of each other."""
    return lambda bits: (bits & ~(one | other)) | np.where(bits & one, other, 0) | np.where(bits & other, one, 0)


@pytest.mark.parametrize("share", [0.4, 0.6, 0.8])
@pytest.mark.parametrize(
    ("how", "told"),
    [
        (exchanged(1, 2), "supply and release exchanged"),
        (exchanged(1, 4), "supply and part_present exchanged"),
        (exchanged(2, 4), "release and part_present exchanged"),
        (lambda bits: bits ^ 1, "supply turned over"),
        (lambda bits: bits ^ 4, "part_present turned over"),
    ],
)
def test_signals_that_mean_something_else_from_some_row_on_are_refused(tmp_path, share, how, told):
    """The edges of a signal stand where those of another one, or of its other level, stood: the time is told."""
    digital = RECORDING.digital.astype(int)
    at = int(share * COUNT)
    digital[at:] = how(digital[at:])
    with pytest.raises(LogReadError, match=told) as refused:
        read(put(tmp_path, RECORDING.pressure_kpa, digital))
    at_s = float(str(refused.value).partition("from about ")[2].partition(" s")[0])
    assert at_s == pytest.approx(share * RECORDING.time_s[-1], abs=4.0)


@pytest.mark.parametrize("kpa", [100.0, 6.894757], ids=["bar", "psi"])
def test_a_unit_in_which_no_vacuum_is_too_deep_is_refused_too(tmp_path, kpa):
    """All picks, and the vacuum at which the part comes, are smaller by the factor between two units."""
    pressure = RECORDING.pressure_kpa.copy()
    pressure[COUNT // 2 :] /= kpa
    with pytest.raises(LogReadError, match="pressure in another unit"):
        read(put(tmp_path, pressure, RECORDING.digital, digits=4))


def test_picks_that_become_shallow_are_read(tmp_path):
    """A loss of vacuum by half, at once and for good, is a fault and no unit."""
    pressure = RECORDING.pressure_kpa.copy()
    pressure[COUNT // 2 :] /= 2.0
    assert len(read(put(tmp_path, pressure, RECORDING.digital)).time_s) == COUNT


@pytest.mark.parametrize("share", [0.5, 0.9])
@pytest.mark.parametrize("factor", [1000.0, 0.001])
def test_another_unit_of_time_from_some_row_on_is_refused(tmp_path, share, factor):
    """Times go on where they were, in another unit, and so do the steps between them: the row is told."""
    path = put(tmp_path, RECORDING.pressure_kpa, RECORDING.digital)
    header, *lines = path.read_text().splitlines()
    at = int(share * len(lines))
    late = [line.partition(",") for line in lines[at:]]
    rest = [f"{float(time_s) * factor:.5f},{cells}" for time_s, _, cells in late]
    path.write_text("\n".join([header, *lines[:at], *rest]) + "\n")
    with pytest.raises(LogReadError, match=f"in another unit of time from row {at + 1} on"):
        read(path)


def test_a_pause_is_no_other_unit_of_time(tmp_path):
    """After a pause the steps are the same."""
    path = put(tmp_path, RECORDING.pressure_kpa, RECORDING.digital)
    header, *lines = path.read_text().splitlines()
    late = [line.partition(",") for line in lines[COUNT // 2 :]]
    rest = [f"{float(time_s) + 999 * float(late[0][0]):.3f},{cells}" for time_s, _, cells in late]
    path.write_text("\n".join([header, *lines[: COUNT // 2], *rest]) + "\n")
    assert len(read(path).time_s) == COUNT
