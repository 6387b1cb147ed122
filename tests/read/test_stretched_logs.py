"""Logs that stand in stretches, and digitals that are written where they change, give the recording sample by sample."""

import numpy as np
import pyarrow.csv as pcsv
import pyarrow.parquet as pq
import pytest

from tests.read.dialects import make_recording
from tests.read.reading import read
from tests.read.stretched_logs import NAMES, STRETCHED, channels_apart, digitals_on_change, events_below
from tracekit.errors import LogReadError
from tracekit.options.read import ReadOptions
from tracekit.read.station_file import parse_station

RECORDING = make_recording(cycles=40)
PIECES = ReadOptions(head_bytes=1 << 16, block_bytes=1 << 14)


def same(found) -> bool:
    """True where every sample is that of the recording."""
    times = len(found.time_s) == len(RECORDING.time_s) and np.abs(found.time_s - RECORDING.time_s).max() < 2e-4
    return (
        times
        and np.array_equal(found.pressure_kpa, RECORDING.pressure_kpa)
        and np.array_equal(found.digital, RECORDING.digital)
        and not found.facts.warnings[1:]
    )


@pytest.mark.parametrize("options", [ReadOptions(), PIECES], ids=["whole", "pieces"])
@pytest.mark.parametrize("name", STRETCHED)
def test_the_recording_comes_back(name, options, tmp_path):
    """Also where the first bytes show one stretch alone; no row is lost, no step of the clock told."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join(STRETCHED[name](RECORDING)) + "\n")
    found = read(path, options=options)
    assert same(found), found.facts.warnings
    assert found.facts.rows_rejected == 0
    assert found.facts.clock_steps == ()
    assert not any("no level" in w or "no pressure" in w for w in found.facts.warnings)


@pytest.mark.parametrize("name", ["events_below", "events_listed", "channels_apart"])
def test_typed_columns_come_back_too(name, tmp_path):
    """The same rows as Parquet."""
    text, path = tmp_path / "log.csv", tmp_path / "log.parquet"
    text.write_text("\n".join(STRETCHED[name](RECORDING)) + "\n")
    options = pcsv.ConvertOptions(strings_can_be_null=True)
    pq.write_table(pcsv.read_csv(text, convert_options=options), path)
    assert same(read(path, options=ReadOptions(batch_rows=500)))


def test_what_was_put_in_order_is_told(tmp_path):
    """The layout says in which stretches the rows stood and how digitals are written."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join(events_below(RECORDING)) + "\n")
    facts = {a.what: a.value for a in read(path).layout.assumptions}
    assert facts["order of rows"] == 'events apart from "pressure_kpa", put in the order of time'
    assert "hold from the next sample on" in facts["rows of changes"]
    assert facts["supply"].startswith("event.supply, written on change")


def test_the_station_file_names_a_signal_of_events(tmp_path):
    """A column of events with a dot and the signal is a channel of the station file."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join(events_below(RECORDING)) + "\n")
    station = parse_station('[channels]\nsupply = "event.release"\nrelease = "event.supply"\n', "s.toml")
    found = read(path, station)
    assert np.array_equal(found.digital & 1, RECORDING.digital >> 1 & 1)
    assert np.array_equal(found.digital >> 1 & 1, RECORDING.digital & 1)


def test_a_channel_that_comes_again_is_refused(tmp_path):
    """Channels that stand one after another at the top and by turns below are in no order that could be told."""
    rows = channels_apart(RECORDING)
    again, middle = [row for row in rows if NAMES[1] in row][:20], 6000
    path = tmp_path / "log.csv"
    path.write_text("\n".join([*rows[:middle], *again, *rows[middle:]]) + "\n")
    with pytest.raises(LogReadError, match="neither in the order of time nor in a few stretches"):
        list(read(path, options=PIECES).time_s)


def test_events_behind_the_samples_and_among_them_are_refused(tmp_path):
    """What is half in order is never read as a clock that was set back."""
    rows = events_below(RECORDING)
    among = [*rows[:500], *rows[-40:-30], *rows[500:]]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(among) + "\n")
    with pytest.raises(LogReadError, match=r'rows that hold "event" and no "pressure_kpa".*in the order of time'):
        read(path)


def test_the_level_before_the_first_change_is_the_other_one(tmp_path):
    """A signal whose first change is to 0 was at 1 before, though no row says so."""
    head, *rows = digitals_on_change(RECORDING)
    first = next(i for i, row in enumerate(rows) if row.split(",")[2] == "ON") + 5
    path = tmp_path / "log.csv"
    path.write_text("\n".join([head, *rows[first:]]) + "\n")
    assert np.array_equal(read(path).digital & 1, RECORDING.digital[first:] & 1)


def test_a_level_that_is_lost_is_told(tmp_path):
    """Where digitals stand in every row an empty cell is a loss, where they are written on change another word is."""
    head, *rows = digitals_on_change(RECORDING)
    place = next(i for i, row in enumerate(rows) if row.split(",")[2] == "ON") + 5
    rows[place] = ",".join([*rows[place].split(",")[:2], "??x", "", ""])
    path = tmp_path / "log.csv"
    path.write_text("\n".join([head, *rows]) + "\n")
    (told,) = read(path).facts.warnings
    assert told.startswith("1 rows: no level of supply")
