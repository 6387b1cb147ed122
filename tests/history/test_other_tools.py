"""Other tools read a history as it is: the files are plain Parquet with the columns that the schema names."""

from pathlib import Path

import pytest
from history.made_up_records import simple_record

from tracekit.history.add import add_record
from tracekit.history.place import open_place
from tracekit.history.read import read_rows
from tracekit.history.schema import SUMMARY
from tracekit.history.upkeep import compact


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A history of 30 logs of two stations, partly merged, one log in two analyses."""
    for number in range(20):
        add_record(tmp_path, simple_record(number, stations=("Glaze 1", "Press 2"), decay=1.0 + 0.01 * number))
    compact(open_place(tmp_path))
    for number in range(20, 30):
        add_record(tmp_path, simple_record(number, stations=("Glaze 1", "Press 2"), decay=1.0 + 0.01 * number))
    add_record(tmp_path, simple_record(3, stations=("Glaze 1", "Press 2"), decay=7.0, version="0.2.0"))
    return tmp_path


def test_duckdb_reads_a_history(folder: Path) -> None:
    """One query gives what tracekit reads: the newest analysis of each log, once, with its dates and units."""
    duckdb = pytest.importorskip("duckdb", reason="duckdb is not installed")
    query = f"""
        select log_id, station, value, unit, start_time from read_parquet('{folder.as_posix()}/summaries/*/*.parquet', union_by_name = true)
        where kind = 'measure' and name = 'decay_rate_kpa_s'
        qualify row_number() over (partition by log_id, station, part order by version desc, added_time desc) = 1
        order by station, start_time
    """
    with duckdb.connect() as connection:
        found = connection.execute(query).fetchall()
    rows = read_rows(open_place(folder)).table
    here = rows.where("name", "decay_rate_kpa_s") & rows.where("kind", "measure")
    columns = (rows.texts("log_id"), rows.texts("station"), rows.floats("value").tolist(), here.tolist())
    ours = {(log_id, station): value for log_id, station, value, wanted in zip(*columns, strict=True) if wanted}
    assert len(found) == 60
    assert {(log_id, station): value for log_id, station, value, _, _ in found} == ours
    assert {unit for *_, unit, _ in found} == {"kPa/s"}
    assert [when for *_, when in found[:30]] == sorted(when for *_, when in found[:30])
    assert 7.0 in {value for _, _, value, _, _ in found}


def test_polars_reads_a_history(folder: Path) -> None:
    """Polars finds the same columns and rows in the files."""
    polars = pytest.importorskip("polars", reason="polars is not installed")
    frame = polars.read_parquet(f"{folder.as_posix()}/summaries/*/*.parquet")
    assert set(frame.columns) == {column.name for column in SUMMARY}
    assert frame.filter(polars.col("kind") == "measure")["log_id"].n_unique() == 30
