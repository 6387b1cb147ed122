"""Times count from the first sample, and what is not known about them is told."""

import datetime as dt

import numpy as np
import pytest

from tests.read.dialects import START, make_recording
from tests.read.plant_more import MORE
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=8)
PAIRS = list(zip(RECORDING.time_s, RECORDING.pressure_kpa, strict=True))


def put(folder, head: str, rows) -> str:
    """A file of a header and rows."""
    (folder / "log.csv").write_text("\n".join([head, *rows]) + "\n")
    return str(folder / "log.csv")


@pytest.mark.parametrize("early_s", [0.0, 0.25, 0.97])
@pytest.mark.parametrize("numbered", [False, True])
def test_times_count_from_the_first_sample(tmp_path, early_s, numbered):
    """Where stamps are rounded to 1 s and the log begins within a second, the first sample still is at zero."""
    at = [START + dt.timedelta(seconds=early_s + float(t)) for t in RECORDING.time_s]
    rows = [
        f"{f'{i},' * numbered}{a:%Y-%m-%dT%H:%M:%SZ},{k}" for i, (a, (_, k)) in enumerate(zip(at, PAIRS, strict=True))
    ]
    found = read(put(tmp_path, "No," * numbered + "Time,Pressure [kPa]", rows))
    assert found.time_s[0] == 0.0
    assert np.abs(found.time_s - RECORDING.time_s).max() < 0.0151
    assert found.facts.start_time_us == pytest.approx((START.timestamp() + early_s) * 1e6, abs=15_100)


def test_clocks_of_different_rates_are_told(tmp_path):
    """Two clocks that run apart by 1 % are told, with the one in use and the line that takes the other."""
    rows = [f"{1.01 * t:.4f},{t:.2f},{k}" for t, k in PAIRS]
    found = read(put(tmp_path, "logger time s,controller time s,pressure kPa", rows))
    (told,) = (w for w in found.facts.warnings if "two clocks" in w)
    assert "runs 9901 ppm slower" in told
    assert 'are those of "logger time s"' in told
    assert 'time = { column = "controller time s" }' in told


@pytest.mark.parametrize(("rate", "told"), [(1.004, "398"), (0.99, "1.01 % faster"), (1.0002, "")])
def test_a_clock_that_is_read_once_a_cycle_shows_drift(tmp_path, rate, told):
    """The controller's time at which each cycle began is compared with the logger's by the rhythm of the cycles."""
    supply = RECORDING.digital & 1
    start = np.maximum.accumulate(np.where(np.diff(supply, prepend=np.uint8(0)) == 1, np.arange(len(supply)), 0))
    long = [(t + n * (PAIRS[-1][0] + 0.01), k, RECORDING.time_s[start[i]] + n * (PAIRS[-1][0] + 0.01))
            for n in range(3) for i, (t, k) in enumerate(PAIRS)]  # fmt: skip
    rows = [f"{rate * t:.4f},{k},{c:.3f}" for t, k, c in long]
    found = read(put(tmp_path, "time_s,pressure kPa,plc_cycle_time_s", rows))
    said = [w for w in found.facts.warnings if "two clocks" in w]
    assert [told in w for w in said] == [True] * bool(told)


def test_clocks_of_the_same_rate_are_not_told(tmp_path):
    """What crystals differ by needs no warning."""
    rows = [f"{1.0001 * t:.6f},{t:.2f},{k}" for t, k in PAIRS]
    found = read(put(tmp_path, "logger time s,controller time s,pressure kPa", rows))
    assert not [w for w in found.facts.warnings if "two clocks" in w]


def test_a_pause_of_unknown_length_is_told(tmp_path):
    """Where a counter starts again the length of the gap is an assumption, and the warning says so."""
    path = put(tmp_path, "time_s,pressure_kpa", [f"{t if t < 11 else t - 11:.2f},{k}" for t, k in PAIRS])
    found = read(path)
    assert len(found.facts.gaps) == 1
    (told,) = (w for w in found.facts.warnings if "not known" in w)
    assert "after 10.99 s" in told
    assert "a gap of 5.01 s is assumed" in told


def test_a_clock_that_is_set_back_assumes_no_pause(tmp_path):
    """A clock set back by less than it has run hides no pause that could be told."""
    (tmp_path / "log.csv").write_bytes(MORE["set_clock"](RECORDING)["log.csv"])
    assert not [w for w in read(tmp_path / "log.csv").facts.warnings if "not known" in w]


@pytest.mark.parametrize("stations", ["", "[channels]"])
def test_rows_in_no_order_of_time_are_sorted(tmp_path, stations):
    """Rows whose times are all there but in no order are sorted, also where the column is named; shared ones are not."""
    order = np.random.default_rng(4).permutation(len(PAIRS))
    at = [START + dt.timedelta(seconds=float(t)) for t in RECORDING.time_s]
    rows = [f"{at[i].isoformat(timespec='milliseconds')},{PAIRS[i][1]}" for i in order]
    given = parse_station('[channels]\ntime = "when"\n', "s.toml") if stations else None
    assert np.array_equal(read(put(tmp_path, "when,pressure kPa", rows), given).pressure_kpa, RECORDING.pressure_kpa)
    numbers = [f"{PAIRS[i][0]:.2f},{PAIRS[i][1]}" for i in order]
    given = parse_station('[channels]\ntime = { column = "when", unit = "s" }\n', "s.toml")
    assert np.array_equal(read(put(tmp_path, "when,pressure kPa", numbers), given).pressure_kpa, RECORDING.pressure_kpa)
    shared = [f"{PAIRS[i - i % 9][0]:.2f},{PAIRS[i][1]}" for i in order]
    with pytest.raises(LogReadError, match=r"time goes back|not in the order of"):
        read(put(tmp_path, "when,pressure kPa", shared), given)


def events_behind() -> list[str]:
    """Samples without levels, then the edges of the levels as words."""
    rows = ["time_s,pressure_kpa,event", *(f"{t:.2f},{k}," for t, k in PAIRS)]
    for bit, name in enumerate(("supply", "release")):
        level = (RECORDING.digital >> bit & 1).astype(int)
        edges = np.nonzero(np.diff(level))[0] + 1
        rows += [f"{RECORDING.time_s[i]:.2f},,{name} {('OFF', 'ON')[level[i]]}" for i in edges] if bit == 0 else []
    return rows


def test_events_in_a_file_of_their_own_are_read(tmp_path):
    """Events in a second file give the levels."""
    head, *rest = events_behind()
    samples = [head.removesuffix(",event"), *(r.removesuffix(",") for r in rest if r.endswith(","))]
    events = ["time_s,signal,level", *(r.replace(",,", ",").replace(" ", ",") for r in rest if not r.endswith(","))]
    (tmp_path / "a.csv").write_text("\n".join(samples) + "\n")
    (tmp_path / "b.csv").write_text("\n".join(events) + "\n")
    found = read([str(tmp_path / "a.csv"), str(tmp_path / "b.csv")])
    assert np.array_equal(found.digital & 1, RECORDING.digital & 1)


@pytest.mark.parametrize(
    ("options", "compared"), [(ReadOptions(), "over all rows"), (ReadOptions(head_bytes=20_000), "over the first ")]
)
def test_what_of_the_file_was_compared_is_told(tmp_path, options, compared):
    """A ratio of two clocks says over which rows it was found: all, or the first ones of a long file."""
    rows = [f"{1.01 * t:.4f},{t:.2f},{k}" for t, k in PAIRS]
    found = read(put(tmp_path, "logger time s,controller time s,pressure kPa", rows), options=options)
    (told,) = (w for w in found.facts.warnings if "two clocks" in w)
    assert compared in told
