"""Parquet files and tables with the types that writers use: nested, dictionaries, zones, decimals."""

import datetime as dt
import decimal

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tests.read.dialects import START, make_recording
from tests.read.reading import read

RECORDING = make_recording(cycles=8)
KPA = RECORDING.pressure_kpa.tolist()
LEVELS = [(RECORDING.digital >> k & 1).tolist() for k in range(3)]
STAMPS = [START + dt.timedelta(milliseconds=round(t * 1000)) for t in RECORDING.time_s.tolist()]
NAMES = ("Suction", "Blow-off", "Part present")
WORDS = [[("off", "on")[v] for v in level] for level in LEVELS]


def levels(kind: pa.DataType) -> dict[str, pa.Array]:
    """The digitals in some type."""
    if pa.types.is_string(kind):
        return {n: pa.array(w) for n, w in zip(NAMES, WORDS, strict=True)}
    if pa.types.is_dictionary(kind):
        return {n: pa.array(w).dictionary_encode() for n, w in zip(NAMES, WORDS, strict=True)}
    if pa.types.is_boolean(kind):
        return {n: pa.array([bool(v) for v in level]) for n, level in zip(NAMES, LEVELS, strict=True)}
    return {n: pa.array(level, kind) for n, level in zip(NAMES, LEVELS, strict=True)}


def moments(kind: pa.DataType) -> pa.Array:
    """The stamps in some type."""
    bare = pa.types.is_timestamp(kind) and kind.tz is None
    return pa.array([s.replace(tzinfo=None) if bare else s for s in STAMPS], kind)


TIMES = {
    "zone": moments(pa.timestamp("us", tz="Europe/Lisbon")), "utc_ns": moments(pa.timestamp("ns", tz="UTC")),
    "bare_ms": moments(pa.timestamp("ms")), "seconds": pa.array(RECORDING.time_s.tolist()),
    "clock": pa.array([s.time() for s in STAMPS], pa.time64("us")),
    "elapsed": pa.array([dt.timedelta(seconds=t) for t in RECORDING.time_s.tolist()], pa.duration("us")),
    "text": pa.array([s.isoformat() for s in STAMPS]),
}  # fmt: skip
PRESSURES = {
    "double": pa.array(KPA), "float": pa.array(KPA, pa.float32()),
    "decimal": pa.array([decimal.Decimal(str(k)) for k in KPA], pa.decimal128(12, 3)),
    "dictionary": pa.array(KPA).dictionary_encode(),
    "text": pa.array([str(k) for k in KPA]), "large_text": pa.array([str(k) for k in KPA], pa.large_string()),
}  # fmt: skip
KINDS = [
    pa.int8(),
    pa.uint8(),
    pa.int64(),
    pa.bool_(),
    pa.float64(),
    pa.string(),
    pa.dictionary(pa.int32(), pa.string()),
]


def right(found) -> bool:
    """True where a reading equals the recording."""
    return (
        np.abs(found.time_s - RECORDING.time_s).max() < 1e-6
        and np.abs(found.pressure_kpa - RECORDING.pressure_kpa).max() < 1e-5
        and np.array_equal(found.digital, RECORDING.digital)
    )


def put(folder, columns: dict[str, pa.Array], rows: int = 700):
    """Columns in a Parquet file of small groups of rows."""
    pq.write_table(pa.table(columns), folder / "log.parquet", row_group_size=rows)
    return folder / "log.parquet"


@pytest.mark.parametrize("time", TIMES)
def test_times_of_every_type(tmp_path, time):
    """Stamps of every type give the same samples; a date is known where there is a zone."""
    name = "Time [s]" if time == "seconds" else "Time"
    found = read(put(tmp_path, {name: TIMES[time], "Vacuum [kPa]": PRESSURES["double"], **levels(pa.int8())}))
    assert right(found)
    zoned = time in ("zone", "utc_ns", "text")
    assert found.facts.start_time_us == (round(START.timestamp() * 1e6) if zoned else None)


@pytest.mark.parametrize("pressure", PRESSURES)
@pytest.mark.parametrize("kind", KINDS, ids=str)
def test_values_of_every_type(tmp_path, pressure, kind):
    """Readings and levels of every type give the same samples."""
    columns = {"Time": TIMES["zone"], "Vacuum [kPa]": PRESSURES[pressure], **levels(kind)}
    assert right(read(put(tmp_path, columns)))


@pytest.mark.parametrize("from_file", [True, False])
def test_nested_columns(tmp_path, from_file):
    """Fields of structures, also of structures in structures, are columns of their own."""
    inner = pa.StructArray.from_arrays(list(levels(pa.int8()).values()), names=list(NAMES))
    outer = pa.StructArray.from_arrays([PRESSURES["double"], inner], names=["Vacuum [kPa]", "io"])
    columns = {"Time": TIMES["zone"], "station3": outer}
    assert right(read(put(tmp_path, columns) if from_file else pa.table(columns)))


@pytest.mark.parametrize(
    "kind", [pa.string(), pa.dictionary(pa.int32(), pa.string()), pa.dictionary(pa.int8(), pa.string())]
)
def test_a_station_column_of_every_type(tmp_path, kind):
    """A column of station names, also as a dictionary that each group of rows fills anew, parts the stations."""
    names = [n for _ in KPA for n in ("B", "A")]
    twice = {
        name: pa.array([v for v in column.to_pylist() for _ in range(2)], column.type)
        for name, column in {"Time": TIMES["utc_ns"], "Vacuum [kPa]": PRESSURES["double"], **levels(pa.int8())}.items()
    }
    found = read(put(tmp_path, {"Station": pa.array(names).cast(kind), **twice}, rows=501))
    assert found.layout.stations == ("B", "A")
    for station in (0, 1):
        own = found.station == station
        assert np.array_equal(found.pressure_kpa[own], RECORDING.pressure_kpa)
        assert np.array_equal(found.digital[own], RECORDING.digital)


def test_a_row_per_reading(tmp_path):
    """Rows of stamp, tag and value with a dictionary of tags give the recording."""
    rows = [(s, "Vacuum [kPa]", k) for s, k in zip(STAMPS, KPA, strict=True)]
    for name, level in zip(NAMES, LEVELS, strict=True):
        changes = np.nonzero(np.diff(level, prepend=-1))[0].tolist()
        rows += [(STAMPS[i], name, float(level[i])) for i in changes]
    rows.sort(key=lambda r: (r[0], r[1] != "Vacuum [kPa]"))
    stamps, tags, values = (list(c) for c in zip(*rows, strict=True))
    columns = {
        "time": pa.array(stamps, pa.timestamp("us", tz="UTC")),
        "tag": pa.array(tags).dictionary_encode(),
        "value": pa.array(values),
    }
    assert right(read(put(tmp_path, columns)))


def test_missing_values(tmp_path):
    """Null in a reading is missing, null in a level holds the last one, and both are told."""
    kpa, level = list(KPA), list(LEVELS[0])
    kpa[100:103] = [None] * 3
    level[200] = None
    columns = {
        "Time": TIMES["zone"],
        "Vacuum [kPa]": pa.array(kpa),
        **levels(pa.int8()),
        "Suction": pa.array(level, pa.int8()),
    }
    found = read(put(tmp_path, columns))
    assert np.nonzero(np.isnan(found.pressure_kpa))[0].tolist() == [100, 101, 102]
    assert np.array_equal(found.digital, RECORDING.digital)
    assert any("1 rows: no level of supply" in w for w in found.facts.warnings)
