"""The Python API takes paths and tables alike, writes nothing by itself and shows itself."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
import stories
from made_logs import made_columns, write_log

import tracekit
from tracekit.errors import LogReadError, StationFileError, UsageError
from tracekit.model.tables import CYCLES
from tracekit.read.station_file import load_station
from tracekit.simulate.load import load_scenario


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_log(tmp_path_factory.mktemp("logs") / "loader.csv")


@pytest.fixture(scope="module")
def diagnosis(log: Path) -> tracekit.Diagnosis:
    return tracekit.diagnose(log)


def test_tables_as_frames(diagnosis: tracekit.Diagnosis) -> None:
    """Cycles, periods and edges are DataFrames with the columns of the contract."""
    assert list(diagnosis.cycles.columns)[: len(CYCLES)] == [column.name for column in CYCLES]
    assert len(diagnosis.cycles) == 20
    assert (diagnosis.cycles["outcome"] == "held").all()
    assert diagnosis.cycles["evacuation_time_s"].between(0.2, 0.3).all()
    assert set(diagnosis.periods["kind"]) >= {"coast", "recharge", "release"}
    assert set(diagnosis.edges["signal"]) == {"supply", "release", "part_present"}


def test_leak_and_findings(diagnosis: tracekit.Diagnosis) -> None:
    """The leak is an estimate with its interval, and the findings are those of the JSON."""
    leak = diagnosis.leak.decay_rate
    assert isinstance(leak, tracekit.Estimate)
    assert leak.lower < leak.value < leak.upper
    assert diagnosis.stations == ("loader",)
    shown = diagnosis.to_dict()["stations"][0]
    assert [f["code"] for f in shown["findings"]] == [f.code for f in diagnosis.findings]
    assert diagnosis.suggestion == diagnosis.record.stations[0].suggestion


def test_nothing_is_written(log: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`diagnose` writes nothing; `.write` makes the files and gives the page."""
    monkeypatch.chdir(tmp_path)
    diagnosis = tracekit.diagnose(str(log))
    assert list(tmp_path.iterdir()) == []
    page = diagnosis.write(tmp_path / "out", csv=True)
    assert page == tmp_path / "out" / "report.html"
    assert len(list((tmp_path / "out").iterdir())) == 8


@pytest.mark.parametrize("make", [pd.DataFrame, pa.table], ids=["DataFrame", "Arrow table"])
def test_tables_in_memory(make, diagnosis: tracekit.Diagnosis) -> None:
    """A DataFrame or an Arrow table of the same samples gives the same figures, and is not changed."""
    table = make(made_columns())
    before = {name: np.asarray(table[name]).copy() for name in made_columns()}
    given = tracekit.diagnose(table)
    assert given.findings == diagnosis.findings
    assert given.leak.decay_rate == diagnosis.leak.decay_rate
    pd.testing.assert_frame_equal(
        given.cycles.drop(columns=["log_id", "station"]), diagnosis.cycles.drop(columns=["log_id", "station"])
    )
    for name, values in before.items():
        np.testing.assert_array_equal(np.asarray(table[name]), values)


def test_station_in_every_form(log: Path, tmp_path: Path) -> None:
    """A station may be given as a record, as a file or as a folder of files."""
    (tmp_path / "s.toml").write_text('[station]\nname = "L7"\nvolume_ml = 60\n')
    station = load_station(tmp_path / "s.toml")
    for given in (station, [station], tmp_path / "s.toml", str(tmp_path)):
        assert tracekit.diagnose(log, station=given).stations == ("L7",)
    with pytest.raises(StationFileError, match=r"none\.toml: cannot be read"):
        tracekit.diagnose(log, station=tmp_path / "none.toml")


def test_limits_of_the_station_file_are_known_to_notebook_and_page(log: Path, tmp_path: Path) -> None:
    """A limit of the station file that is passed stands in the notebook's picture and on the page that is written."""
    (tmp_path / "s.toml").write_text('[station]\nname = "L7"\n[limits]\nevacuation_time_s = { max = 0.001 }\n')
    limited = tracekit.diagnose(log, station=tmp_path / "s.toml")
    assert [passed.measure for passed in limited.limits] == ["evacuation_time_s"]
    said = limited.limits[0].text
    assert said in limited._repr_html_()
    assert said in limited.write(tmp_path / "out").read_text(encoding="utf-8")


def test_baseline(log: Path) -> None:
    """A baseline is a log in any form that a log may have."""
    base = tracekit.diagnose(log, baseline=pd.DataFrame(made_columns(seed=3)))
    assert base.station().baseline is not None


def test_unusable_logs_raise() -> None:
    """What cannot be read raises an error of the family, with the message that the command prints."""
    with pytest.raises(LogReadError, match=r"none\.csv"):
        tracekit.diagnose("none.csv")
    with pytest.raises(tracekit.TracekitError, match="DataFrame"):
        tracekit.diagnose(3.5)


def test_many_stations_are_named() -> None:
    """A log of several stations has a result each; the short ways need a name."""
    many = tracekit.Diagnosis(stories.many())
    assert len(many.stations) > 1
    assert many.station(many.stations[1]).data.station == many.stations[1]
    with pytest.raises(UsageError, match=r"station: no station named; expected one of the log's \d"):
        many.findings  # noqa: B018
    with pytest.raises(UsageError, match='"Nowhere"'):
        many.station("Nowhere")


def test_it_shows_itself() -> None:
    """In a notebook a diagnosis shows verdict, first step, settings and findings; what the log says cannot act."""
    shown = tracekit.Diagnosis(stories.torn_cup())._repr_html_()
    for words in ("Loader 2: Very likely a leak", "First: Blank the cup", "Caution: Nobody under", "Settings: leave them."):
        assert words in shown
    assert "Settings to enter: Set point" in tracekit.Diagnosis(stories.chattering())._repr_html_()
    assert "leak_steady" in shown
    hostile = tracekit.Diagnosis(stories.hostile())._repr_html_()
    assert "<script" not in hostile
    assert "<img" not in hostile


def test_read(log: Path) -> None:
    """`read` gives the samples in canonical columns without judging them."""
    recording = tracekit.read(log)
    frame = recording.frame()
    made = made_columns()
    assert list(frame.columns) == list(made)
    np.testing.assert_allclose(frame["time_s"], made["time_s"], atol=1e-9)
    np.testing.assert_allclose(frame["pressure_kpa"], made["pressure_kpa"], atol=1e-9)
    np.testing.assert_array_equal(frame["supply"], made["supply"])
    assert recording.facts.rows_used == len(frame) == 8000


def test_read_without_digitals() -> None:
    """Digitals that the log lacks are left out."""
    made = made_columns(cycles=2)
    recording = tracekit.read(pd.DataFrame({name: made[name] for name in ("time_s", "pressure_kpa")}))
    assert list(recording.frame().columns) == ["time_s", "pressure_kpa"]
    with pytest.raises(UsageError, match='"X"; expected one of the log'):
        recording.frame("X")


def test_simulate() -> None:
    """A scenario gives a log with its truth; equal seeds give equal logs, and an unknown name is refused."""
    short = replace(load_scenario("loader_2_healthy"), cycles=2)
    first, again, other = (tracekit.simulate(short, seed=seed) for seed in (1, 1, 2))
    np.testing.assert_array_equal(first.pressure_kpa, again.pressure_kpa)
    assert first.pressure_kpa.shape != other.pressure_kpa.shape or (first.pressure_kpa != other.pressure_kpa).any()
    assert first.truth["summary"]["cycles"] == 2
    with pytest.raises(UsageError, match=r'"loader_2_helthy".*Did you mean'):
        tracekit.simulate("loader_2_helthy")
