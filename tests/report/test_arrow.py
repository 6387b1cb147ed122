"""Tables become Arrow tables, CSV tables and DataFrames without loss."""

import io

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.model.outside import disarmed, visible
from tracekit.model.tables import CYCLES, EDGES, PERIODS, Column, Table, make_table
from tracekit.report.arrow import arrow_table, column_metadata, csv_table, table_frame

KINDS = (
    Column("f", "float", "kPa", "a float"),
    Column("i", "int", "", "an int"),
    Column("b", "bool", "", "a bool"),
    Column("c", "category", "", "a text"),
    Column("t", "time", "UTC", "a date"),
)


def _table(rows: int, texts: tuple[str, ...], seed: int) -> Table:
    rng = np.random.default_rng(seed)
    missing = rng.random((5, rows)) < 0.3
    return make_table(
        KINDS,
        {
            "f": np.where(missing[0], np.nan, rng.normal(size=rows)),
            "i": np.where(missing[1], -1, rng.integers(0, 9, rows)),
            "b": np.where(missing[2], -1, rng.integers(0, 2, rows)),
            "c": np.where(missing[3] | (len(texts) == 0), -1, rng.integers(0, max(len(texts), 1), rows)),
            "t": np.where(missing[4], -1, 1_709_247_599_999_000 + rng.integers(0, 10**12, rows)),
        },
        {"c": texts},
    )


def _expected(table: Table) -> list[dict]:
    """A slow twin: the rows as Python values."""
    rows = []
    for at in range(len(table)):
        codes = {name: int(table.codes(name)[at]) for name in "ibct"}
        value = float(table.floats("f")[at])
        rows.append({
            "f": None if np.isnan(value) else value,
            "i": None if codes["i"] < 0 else codes["i"],
            "b": None if codes["b"] < 0 else codes["b"] == 1,
            "c": table.texts("c")[at],
            "t": None if codes["t"] < 0 else codes["t"],
        })  # fmt: skip
    return rows


@given(
    rows=st.integers(0, 40),
    texts=st.lists(st.text(st.characters(codec="utf-8"), max_size=4), max_size=4, unique=True).map(tuple),
    seed=st.integers(0, 99),
)
def test_arrow_holds_what_the_table_holds(rows: int, texts: tuple[str, ...], seed: int) -> None:
    """Every value and every gap of a table arrives in Arrow and survives Parquet."""
    table = _table(rows, texts, seed)
    made = arrow_table(table, "cycles")
    made.validate(full=True)
    sink = io.BytesIO()
    pyarrow.parquet.write_table(made, sink)
    back = pyarrow.parquet.read_table(io.BytesIO(sink.getvalue()))
    at = back.schema.get_field_index("t")
    back = back.set_column(at, "t", back["t"].cast(pa.int64()))
    back = back.set_column(3, "c", back["c"].cast(pa.string()))
    assert back.to_pylist() == _expected(table)


def test_units_and_meanings_travel() -> None:
    """The Parquet schema carries unit and meaning of every column."""
    for name, columns in (("cycles", CYCLES), ("periods", PERIODS), ("edges", EDGES)):
        empty = make_table(columns, {columns[0].name: np.empty(0)}, {})
        sink = io.BytesIO()
        pyarrow.parquet.write_table(arrow_table(empty, name), sink)
        schema = pyarrow.parquet.read_schema(io.BytesIO(sink.getvalue()))
        assert column_metadata(schema) == {c.name: (c.unit, c.meaning) for c in columns}
        assert schema.metadata[b"tracekit"] == f"{name}/1".encode()


def test_csv_reads_back() -> None:
    """The CSV form holds the same values, dates as ISO 8601."""
    table = _table(50, ("a", 'quote " and , comma', "line\nbreak"), 3)
    sink = io.BytesIO()
    pyarrow.csv.write_csv(csv_table(table), sink)
    back = pyarrow.csv.read_csv(
        io.BytesIO(sink.getvalue()),
        parse_options=pyarrow.csv.ParseOptions(newlines_in_values=True),
        convert_options=pyarrow.csv.ConvertOptions(
            column_types={"t": pa.string(), "c": pa.string()}, strings_can_be_null=True, quoted_strings_can_be_null=False
        ),
    ).to_pylist()
    wanted = _expected(table)
    assert [row["f"] for row in back] == [row["f"] for row in wanted]
    assert [row["c"] for row in back] == [row["c"] for row in wanted]
    first = next(at for at, row in enumerate(wanted) if row["t"] is not None)
    stamp = np.datetime64(back[first]["t"].removesuffix("Z"), "us")
    assert back[first]["t"].endswith("Z")
    assert stamp.astype(np.int64) == wanted[first]["t"]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\t=1", "\r=1"])
def test_formulas_are_disarmed(text: str) -> None:
    """A text that a spreadsheet would run gets an apostrophe; other texts and numbers stay."""
    table = make_table(KINDS, {"f": np.array([-1.5, 2.0]), "c": np.array([0, 1])}, {"c": (text, "fine")})
    assert csv_table(table)["c"].to_pylist() == [f"'{visible(text)}", "fine"]
    assert csv_table(table)["f"].to_pylist() == [-1.5, 2.0]
    assert disarmed("a=1") == "a=1"
    assert arrow_table(table, "cycles")["c"].to_pylist() == [text, "fine"]


@pytest.mark.parametrize("rows", [0, 25])
def test_data_frames(rows: int) -> None:
    """A DataFrame holds the same values, gaps as missing."""
    table = _table(rows, ("a", "b"), 5)
    frame = table_frame(table)
    wanted = _expected(table)
    assert list(frame.columns) == ["f", "i", "b", "c", "t"]
    for name in "fibc":
        assert [None if x else y for x, y in zip(frame[name].isna(), frame[name], strict=True)] == [row[name] for row in wanted]
    stamps = [None if x else y.value // 1000 for x, y in zip(frame["t"].isna(), frame["t"], strict=True)]
    assert stamps == [row["t"] for row in wanted]
