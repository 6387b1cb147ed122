"""Counts of any size, states as numbers, words of bits, dates that stand once, rows on change: read right, or asked."""

import datetime as dt

import numpy as np
import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import read
from tracekit.errors import LogReadError
from tracekit.model.station import Channel, Station
from tracekit.read.inspection import inspect_log
from tracekit.read.timemultiples import find_time_multiple

RECORDING = make_recording(cycles=8)
TIME, KPA = RECORDING.time_s, RECORDING.pressure_kpa.round(2)
SUPPLY, RELEASE, PART = (RECORDING.digital >> bit & 1 for bit in range(3))
HEAD = "time [s],pressure [kPa],suction,blow-off,part present"


def log(folder, head: str, *columns, name: str = "log.csv"):
    """A log of some columns."""
    path = folder / name
    rows = [",".join(map(str, row)) for row in zip(*columns, strict=True)]
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def as_recorded(found) -> bool:
    """Times, pressures and levels are those of the recording."""
    late = np.abs(found.time_s - TIME).max()
    return bool(
        late < 1e-4 and np.array_equal(found.pressure_kpa, KPA) and np.array_equal(found.digital, RECORDING.digital)
    )


@pytest.mark.parametrize(
    ("unit", "seconds"),
    [("x100us", 1e-4), ("0.1 ms", 1e-4), ("1e-4 s", 1e-4), ("100 µs/count", 1e-4), ("x10 ms", 1e-2), ("10^-4 s", 1e-4)],
)
def test_counts_whose_size_the_name_tells(tmp_path, unit, seconds):
    """A factor beside a unit of time is the size of a count; a unit alone is none."""
    multiple = find_time_multiple(unit)
    assert multiple is not None
    assert multiple.seconds == pytest.approx(seconds)
    counts = np.rint(TIME / seconds).astype(int)
    head = HEAD.replace("time [s]", f"Time ({unit})")
    assert as_recorded(read(log(tmp_path, head, counts, KPA, SUPPLY, RELEASE, PART)))
    assert find_time_multiple("ms") is None
    assert find_time_multiple("x100 rpm") is None


def test_a_counter_in_milliseconds_that_wraps(tmp_path):
    """A counter whose name tells its unit is the time, though it starts again at 16 bits."""
    counts = (np.rint(TIME * 1000).astype(int) + 60_000) % 65_536
    assert as_recorded(
        read(log(tmp_path, HEAD.replace("time [s]", "Counter (ms)"), counts, KPA, SUPPLY, RELEASE, PART))
    )


def test_days_before_a_point_in_elapsed_time(tmp_path):
    """Elapsed time with its days before a point."""
    stamps = [f"3.{23 + int(t // 3600):02d}:{int(t // 60):02d}:{t % 60:06.3f}" for t in TIME]
    assert as_recorded(read(log(tmp_path, HEAD.replace("time [s]", "Elapsed"), stamps, KPA, SUPPLY, RELEASE, PART)))


def test_stations_that_are_numbers_stand_in_blocks(tmp_path):
    """A column named Station tells the stations, also as numbers, one below the other."""
    twice = [np.concatenate([a, a]) for a in (TIME.round(4), KPA, SUPPLY, RELEASE, PART)]
    number = np.repeat([1, 2], len(TIME))
    path = log(tmp_path, "t [s],Station,p [kPa],Suction,Blow,Part", twice[0], number, *twice[1:])
    found = read(path)
    assert found.layout.stations == ("1", "2")
    assert [np.array_equal(found.pressure_kpa[found.station == k], KPA) for k in (0, 1)] == [True, True]
    assert found.facts.gaps == ()


def test_a_valve_with_three_numbers_is_asked_and_the_answer_reads_right(tmp_path):
    """A valve of 1, 0 and -1 is no pair of levels: asked, with a line for both of its sides."""
    valve = SUPPLY.astype(int) - RELEASE.astype(int)
    path = log(tmp_path, "time [s],pressure [kPa],Valve,part present", TIME.round(4), KPA, valve, PART)
    with pytest.raises(LogReadError, match="holds the states") as asked:
        read(path)
    assert 'supply = "Valve.1"' in str(asked.value)
    assert 'release = "Valve.-1"' in str(asked.value)
    answer = {"supply": Channel(column="Valve.1"), "release": Channel(column="Valve.-1")}
    found = read(path, Station(channels=answer))
    assert np.array_equal(found.digital & 1, (valve == 1).astype(np.uint8))
    assert np.array_equal(found.digital >> 1 & 1, (valve == -1).astype(np.uint8))
    assert np.array_equal(found.digital >> 2, PART)


@pytest.mark.parametrize("name", ["DI[7..0]", "STAT"])
def test_a_word_in_figures_of_base_two(tmp_path, name):
    """Figures 0 and 1 of one width are bits, though the first never is 0."""
    words = [f"1{0:04b}{p}{r}{s}" for s, r, p in zip(SUPPLY, RELEASE, PART, strict=True)]
    assert as_recorded(read(log(tmp_path, f"time [s],pressure [kPa],{name}", TIME.round(4), KPA, words)))


def test_a_status_word_with_a_bit_that_lives(tmp_path):
    """A whole number called a status is a word of bits, not two levels, though one of them beats."""
    beat = (TIME * 2).astype(int) % 2
    words = 4096 + 16 * SUPPLY.astype(int) + 32 * RELEASE.astype(int) + 256 * PART.astype(int) + beat
    assert as_recorded(read(log(tmp_path, "time [s],pressure [kPa],Status", TIME.round(4), KPA, words)))


def test_a_date_that_stands_in_the_first_row_alone(tmp_path):
    """The date of the first row dates the log, and no row is lost for lack of one."""
    clocks = [(START + dt.timedelta(seconds=float(t))).strftime("%H:%M:%S.%f")[:-3] for t in TIME]
    dates = [START.strftime("%Y-%m-%d"), *[""] * (len(TIME) - 1)]
    path = log(tmp_path, "Date," + HEAD.replace("time [s]", "Time"), dates, clocks, KPA, SUPPLY, RELEASE, PART)
    found = read(path, Station())
    assert as_recorded(found)
    assert found.facts.rows_rejected == 0


def test_times_in_few_rows_are_asked(tmp_path):
    """A column of times that most rows leave empty is no time: asked, with what is wrong with it."""
    times = [f"{t:.3f}" if k % 3 == 0 else "" for k, t in enumerate(TIME)]
    with pytest.raises(LogReadError, match=r'"time \[s\]" is empty in 67% of the first rows'):
        read(log(tmp_path, HEAD, times, KPA, SUPPLY, RELEASE, PART))


@pytest.mark.parametrize("least", [0.35, 1.0])
def test_rows_on_change_hold(tmp_path, least):
    """Where rows are written as the pressure moves by some amount, or a signal changes, the last one holds."""
    kept, last = [0], KPA[0]
    for k in range(1, len(TIME)):
        if abs(KPA[k] - last) >= least or RECORDING.digital[k] != RECORDING.digital[k - 1]:
            kept.append(k)
            last = KPA[k]
    found = read(log(tmp_path, HEAD, *(a[kept] for a in (TIME.round(4), KPA, SUPPLY, RELEASE, PART))))
    n = len(found.time_s)
    assert n > 0.95 * len(TIME)
    assert np.abs(found.time_s - TIME[:n]).max() < 1e-4
    assert np.abs(found.pressure_kpa - KPA[:n]).max() < least + 1e-6
    assert np.array_equal(found.digital, RECORDING.digital[:n])
    assert found.facts.gaps == ()
    assert found.facts.rows_used == len(kept)
    assert any("writes changes only" in w for w in found.facts.warnings)


def test_tags_that_are_paths(tmp_path):
    """Names of channels that are paths are told apart by their last parts, under any names of the columns."""
    path = tmp_path / "log.csv"
    ends = ("pressure_kpa", "suction_cmd", "blow_cmd", "part_ok")
    lines = ["t,topic,payload"]
    for t, *values in zip(
        np.rint(TIME * 1000).astype(int) + 1_742_289_247_005, KPA, SUPPLY, RELEASE, PART, strict=True
    ):
        lines += [f"{t},/plant/glaze/st3/vacuum/{end},{value}" for end, value in zip(ends, values, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert as_recorded(read(path))


def test_an_interval_in_every_row_is_added_up(tmp_path):
    """A column with the time from row to row in all of them tells the time."""
    path = log(
        tmp_path, "dt (ms),pressure [kPa],suction,blow-off,part present", [10.0] * len(KPA), KPA, SUPPLY, RELEASE, PART
    )
    assert np.allclose(np.diff(read(path).time_s), 0.01)


def test_a_start_in_two_lines(tmp_path):
    """Date and time of day of the start in a line each date the elapsed times below."""
    path = log(tmp_path, HEAD, TIME.round(4), KPA, SUPPLY, RELEASE, PART)
    text = path.read_text(encoding="utf-8")
    path.write_text(f"Start date: 18.03.2025\nStart time: 09:14:07\nUTC offset: +01:00\n{text}", encoding="utf-8")
    (seen,) = inspect_log(path)
    assert seen.facts is not None
    began = dt.datetime(2025, 3, 18, 8, 14, 7, tzinfo=dt.UTC)
    assert seen.facts.start_time_us == pytest.approx(began.timestamp() * 1e6, abs=2e4)


@pytest.mark.parametrize("name", ["Nest No.", "Id"])
def test_numbers_that_alternate_under_each_stamp_are_stations(tmp_path, name):
    """Rows of two stations that share every stamp are told by the column that alternates, whatever its name."""
    both = [np.repeat(a, 2) for a in (TIME.round(4), KPA, SUPPLY, RELEASE, PART)]
    number = np.tile([1, 2], len(TIME))
    both[1][1::2] = np.roll(KPA, 300)
    found = read(log(tmp_path, f"t [s],{name},p [kPa],Suction,Blow,Part", both[0], number, *both[1:]))
    assert found.layout.stations == ("1", "2")
    assert np.array_equal(found.pressure_kpa[found.station == 0], KPA)


def test_a_factor_behind_the_unit_of_time_is_asked(tmp_path):
    """A factor behind the unit may be meant either way round: asked, with the seconds from row to row filled in."""
    path = log(
        tmp_path, HEAD.replace("time [s]", "Time (ms*10)"), np.rint(TIME * 1e4).astype(int), KPA, SUPPLY, RELEASE, PART
    )
    with pytest.raises(LogReadError, match=r'column = "Time \(ms\*10\)", interval_s = 0.01 '):
        read(path)
    answer = {"time": Channel(column="Time (ms*10)", interval_s=0.01)}
    assert as_recorded(read(path, Station(channels=answer)))


@pytest.mark.parametrize("kind", ["sign bit", "counter above", "groups"])
def test_words_of_bits_beside_other_things(tmp_path, kind):
    """A sign bit that is set, a counter in the upper half, figures in groups: the bits of the signals are found."""
    bits = SUPPLY.astype(int) + 2 * RELEASE + 4 * PART
    words = {
        "sign bit": bits - 32_768,
        "counter above": bits + 256 * ((TIME * 4).astype(int) % 200),
        "groups": [f'"0000 0{b:03b}"' for b in bits],
    }[kind]
    assert as_recorded(read(log(tmp_path, "time [s],pressure [kPa],Status word", TIME.round(4), KPA, words)))


@pytest.mark.parametrize(
    ("states", "suction", "blowing"), [((10, 20, 40), 20, 40), (("REPOS", "VIDE", "SOUFFLAGE"), "VIDE", "SOUFFLAGE")]
)
def test_states_are_asked_with_the_one_first_in_which_the_pressure_falls(tmp_path, states, suction, blowing):
    """Numbers of steps are states and no bits; the question begins with what the pressure shows."""
    state = np.array(states)[np.where(RELEASE == 1, 2, SUPPLY)]
    path = log(tmp_path, "time [s],pressure [kPa],Step,part present", TIME.round(4), KPA, state, PART)
    with pytest.raises(LogReadError, match="holds the states") as asked:
        read(path)
    assert f'supply = "Step.{suction}"' in str(asked.value)
    assert f'release = "Step.{blowing}"' in str(asked.value)


def test_a_share_without_a_name_is_asked(tmp_path):
    """Per cent of a column whose name does not say vacuum may be of a sensor's span: asked."""
    path = log(tmp_path, "time [s],AI1 (%),suction,blow-off,part present", TIME.round(4), -KPA, SUPPLY, RELEASE, PART)
    with pytest.raises(LogReadError, match=r"scale = \[\[0.0, 0.0\], \[100.0, -100.0\]\]"):
        read(path)


def test_a_station_file_names_columns_of_both_files(tmp_path):
    """Signals that stand in a second file may be named in the station file."""
    first = log(tmp_path, "time [s],AI1", TIME.round(4), KPA, name="analog.csv")
    second = log(tmp_path, "time [s],K1,K2,K3", TIME.round(4), SUPPLY, RELEASE, PART, name="digital.csv")
    channels = {
        "pressure": Channel(column="AI1", unit="kPa", sense="gauge"),
        "supply": Channel(column="K1"), "release": Channel(column="K2"), "part_present": Channel(column="K3"),
    }  # fmt: skip
    assert as_recorded(read([str(first), str(second)], Station(channels=channels)))
    with pytest.raises(LogReadError, match='supply = "K9"'):
        read([str(first), str(second)], Station(channels={**channels, "supply": Channel(column="K9")}))


def test_a_factor_behind_a_stroke_is_the_size_of_a_count(tmp_path):
    """A unit with its factor behind a stroke, without brackets."""
    head = HEAD.replace("time [s]", "Time/10 ms")
    assert as_recorded(read(log(tmp_path, head, np.rint(TIME * 100).astype(int), KPA, SUPPLY, RELEASE, PART)))


def test_letters_at_fixed_places_are_asked(tmp_path):
    """A text that changes with the pressure never vanishes: its states are asked, the one of suction first."""
    flags = [f"{'-S'[s]}{'-B'[r]}-" for s, r in zip(SUPPLY, RELEASE, strict=True)]
    path = log(tmp_path, "time [s],pressure [kPa],Flags,part present", TIME.round(4), KPA, flags, PART)
    with pytest.raises(LogReadError, match='"Flags" holds the states') as asked:
        read(path)
    assert 'supply = "Flags.S--"' in str(asked.value)


def test_a_recipe_is_no_state(tmp_path):
    """Words that go on through whole cycles hold no signal, though no supply is there."""
    recipe = [f"TILE-{int(t // 5) % 3}" for t in TIME]
    found = read(log(tmp_path, "time [s],pressure [kPa],Recipe,part present", TIME.round(4), KPA, recipe, PART))
    assert not found.layout.has_supply
