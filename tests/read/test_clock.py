"""Time that jumps, repeats, stops and goes back."""

import datetime as dt
import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.read.dialects import START, Dialect, make_recording
from tests.read.reading import read, written
from tracekit.options.read import ReadOptions
from tracekit.read.clock import DOUBLE, Clock, Samples, join

OPTIONS = ReadOptions()


def samples(times) -> Samples:
    """Samples at some times, numbered by their pressure."""
    n = len(times)
    return Samples(
        time_s=np.array(times, float),
        pressure_kpa=np.arange(n, dtype=float),
        digital=np.zeros(n, np.uint8),
        lines=np.arange(1, n + 1),
    )


def run(times, cuts=(), typical=0.01):
    """What a clock makes of some times that come in pieces."""
    clock, parts = Clock(typical, OPTIONS), []
    whole = samples(times)
    edges = [0, *sorted(set(cuts)), len(times)]
    for a, b in itertools.pairwise(edges):
        parts.append(clock.feed(whole.take(slice(a, b))))
    parts.append(clock.feed(whole.take(slice(0, 0)), last=True))
    return clock, join(parts)


def regular(n, start=0.0):
    """Times every 10 ms."""
    return (start + np.arange(n) * 0.01).round(6).tolist()


def test_rising_time_passes_unchanged():
    """Rising times are kept as they are."""
    clock, out = run(regular(100))
    assert np.array_equal(out.time_s, regular(100))
    assert (clock.steps, clock.gaps, clock.losses.rejections()) == ([], [], ())


def test_a_stray_that_goes_back_is_rejected():
    """Three rows whose time goes back and returns are rejected with their line numbers."""
    times = regular(50)
    times[20:23] = [0.01, 0.02, 0.03]
    clock, out = run(times)
    assert len(out) == 47
    (loss,) = clock.losses.rejections()
    assert (loss.rows, loss.first_lines) == (3, (21, 22, 23))


def test_a_stray_that_runs_ahead_is_rejected():
    """Two rows with a time far ahead are rejected, and the rows after them keep their times."""
    times = regular(50)
    times[20:22] = [1000.0, 1000.01]
    clock, out = run(times)
    assert len(out) == 48
    assert np.array_equal(out.time_s, np.delete(regular(50), [20, 21]))
    assert (clock.steps, clock.gaps) == ([], [])


def test_a_clock_set_back_is_a_step():
    """Where time goes back for good the samples continue one interval later and the step is kept."""
    clock, out = run(regular(100) + regular(100, start=-5.0))
    assert len(out) == 200
    assert (np.diff(out.time_s) > 0).all()
    ((at, size),) = clock.steps
    assert at == pytest.approx(1.0)
    assert size == pytest.approx(-6.0)


def test_a_counter_that_starts_again_leaves_a_pause():
    """Where time starts again at its first value a pause is put between, so that no cycle spans it."""
    clock, out = run(regular(100) + regular(100))
    assert len(out) == 200
    assert np.diff(out.time_s).max() > OPTIONS.restart_gap_s
    assert len(clock.gaps) == len(clock.steps) == 1


def test_doubles_are_counted_apart():
    """Rows with the time of the row before are rejected as such."""
    times = regular(50)
    times[10] = times[9]
    clock, out = run(times)
    assert len(out) == 49
    assert clock.losses.rejections()[0].reason == "same time as the row before"


def test_gaps_are_listed():
    """An interval of more than five usual ones is a gap."""
    clock, out = run(regular(50) + regular(50, start=3.0))
    assert len(out) == 100
    assert clock.gaps == [(0.49, 3.0)]


faults = st.lists(
    st.tuples(st.integers(1, 110), st.sampled_from(["back", "ahead", "double", "step", "gap"])), max_size=5
)


@given(faults=faults, cuts=st.lists(st.integers(1, 119), max_size=6))
def test_pieces_do_not_matter(faults, cuts):
    """Faults of every kind give the same samples, steps and losses however the rows are cut into pieces."""
    times = np.array(regular(120))
    for place, kind in faults:
        times[place:] += {"step": -0.7, "gap": 2.0}.get(kind, 0.0)
        times[place] += {"back": -3.0, "ahead": 50.0, "double": -0.01}.get(kind, 0.0)
    one, whole = run(times)
    many, parts = run(times, cuts)
    assert np.array_equal(whole.time_s, parts.time_s)
    assert np.array_equal(whole.pressure_kpa, parts.pressure_kpa)
    assert (np.diff(whole.time_s) > 0).all()
    assert (one.steps, one.gaps) == (many.steps, many.gaps)
    assert one.losses.rejections() == many.losses.rejections()


def test_jitter_and_bursts_are_kept(tmp_path):
    """Uneven rising stamps are kept to the digit."""
    rec = make_recording(cycles=6)
    rng = np.random.default_rng(5)
    time_s = np.cumsum(rng.choice([0.001, 0.008, 0.03], len(rec.time_s))).round(3)
    time_s -= time_s[0]
    found = read(written(tmp_path, replace(rec, time_s=time_s.round(3)), Dialect(time="us")))
    assert np.abs(found.time_s - time_s).max() < 1e-6
    assert not found.facts.rejections


def local_clock(rec, jump_s: float, after_s: float) -> str:
    """The recording with local stamps that start at 01:59:50 and jump once."""
    start = dt.datetime(2024, 3, 31, 1, 59, 50, tzinfo=dt.UTC)
    lines = ["Time,Pressure [kPa],Suction,Blow-off,Part present"]
    for t, p, d in zip(rec.time_s.tolist(), rec.pressure_kpa.tolist(), rec.digital.tolist(), strict=True):
        stamp = start + dt.timedelta(seconds=t + (jump_s if t >= after_s - 1e-9 else 0.0))
        lines.append(f"{stamp:%Y-%m-%d %H:%M:%S.%f},{p},{d & 1},{d >> 1 & 1},{d >> 2 & 1}")
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("jump_s", [3600.0, -3600.0])
def test_summer_time_is_a_step_of_the_clock(tmp_path, jump_s):
    """A local clock set by one hour at the full hour makes a step and no gap, whichever way."""
    rec = make_recording(cycles=6)
    (tmp_path / "log.csv").write_text(local_clock(rec, jump_s, 10.0))
    found = read(tmp_path / "log.csv")
    assert np.abs(found.time_s - rec.time_s).max() < 1e-6
    assert found.facts.gaps == ()
    ((at, size),) = found.facts.clock_steps
    assert at == pytest.approx(10.0, abs=0.02)
    assert size == pytest.approx(jump_s, abs=0.02)


def test_an_hour_lost_at_another_time_is_a_gap(tmp_path):
    """A jump of one hour that is not at a full hour is a gap."""
    rec = make_recording(cycles=6)
    (tmp_path / "log.csv").write_text(local_clock(rec, 3600.0, 6.0))
    found = read(tmp_path / "log.csv")
    assert len(found.facts.gaps) == 1
    assert found.facts.clock_steps == ()


@pytest.mark.parametrize("absurd", [1e6, 99_999, -5, 1e30])
def test_an_absurd_cell_of_milliseconds_costs_its_row_alone(tmp_path, absurd):
    """Beside a date and a clock one cell of milliseconds that is none is rejected with its row, and no other."""
    rec = make_recording(cycles=8)
    rows = ["Date;Time;ms;Pressure [kPa];Suction;Blow-off;Part present"]
    for k, (t, p, d) in enumerate(zip(rec.time_s, rec.pressure_kpa, rec.digital, strict=True)):
        at = START + dt.timedelta(seconds=float(t))
        millis = absurd if k == 700 else at.microsecond // 1000
        rows.append(f"{at:%d.%m.%Y};{at:%H:%M:%S};{millis:.0f};{p:.2f};{d & 1};{d >> 1 & 1};{d >> 2 & 1}")
    (tmp_path / "log.csv").write_text("\n".join(rows) + "\n")
    found = read(tmp_path / "log.csv")
    assert np.abs(found.time_s - np.delete(rec.time_s, 700)).max() < 2e-3
    assert [(r.rows, r.first_lines) for r in found.facts.rejections] == [(1, (702,))]
    assert found.facts.clock_steps == ()


def twice(first, stop, repeats_s=0.0):
    """Regular samples of which some are written once more, the copy after it; `repeats_s` moves the copy's times."""
    whole = samples(regular(300))
    copy = whole.take(slice(first, stop))
    copy = replace(copy, time_s=copy.time_s + repeats_s)
    return join([whole.take(slice(0, stop)), copy, whole.take(slice(stop, None))])


def fed(whole: Samples, cuts) -> tuple[Clock, Samples]:
    """What a clock makes of samples that come in pieces."""
    clock, edges = Clock(0.01, OPTIONS), [0, *sorted(cuts), len(whole)]
    parts = [clock.feed(whole.take(slice(a, b))) for a, b in itertools.pairwise(edges)]
    return clock, join([*parts, clock.feed(whole.take(slice(0, 0)), last=True)])


@given(st.sets(st.integers(1, 335), max_size=6), st.integers(0, 200))
def test_rows_that_are_written_twice_are_duplicates(cuts, first):
    """A stretch that stands twice is dropped and counted as such, wherever the pieces end; the clock was not set."""
    clock, out = fed(twice(first, first + 40), cuts)
    assert np.array_equal(out.time_s, regular(300))
    assert np.array_equal(out.pressure_kpa, np.arange(300))
    assert [(r.reason, r.rows) for r in clock.losses.rejections()] == [(DOUBLE, 40)]
    assert (clock.steps, clock.gaps) == ([], [])


@given(st.sets(st.integers(1, 335), max_size=6))
def test_other_readings_at_the_same_times_are_a_clock_set_back(cuts):
    """One other reading in the stretch, or times between those before, and nothing is dropped."""
    whole = twice(100, 140)
    readings = whole.pressure_kpa.copy()
    readings[170] += 0.5
    for changed in (replace(whole, pressure_kpa=readings), twice(100, 140, 0.001)):
        clock, out = fed(changed, cuts)
        assert len(out) == 340
        assert len(clock.steps) == 1
