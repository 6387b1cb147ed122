"""The columns of cycles, periods and edges: name, type, unit and meaning, once.

A `Table` holds NumPy arrays only. Text columns are codes into `categories`, so that a table of a
million rows needs no Python strings. Missing is NaN in a float column and -1 in all others.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass

Kind = Literal["float", "int", "bool", "category", "time"]

OUTCOMES = ("held", "dropped", "missed", "incomplete")
DROP_KINDS = ("sudden", "gradual")
PERIOD_KINDS = ("idle", "open", "evacuate", "coast", "recharge", "steady", "release")
SIGNALS = ("supply", "release", "part_present")


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table."""

    name: str
    kind: Kind
    unit: str
    meaning: str
    values: tuple[str, ...] = ()


_ID = (
    Column("log_id", "category", "", "hash of the source"),
    Column("station", "category", "", "name of the station"),
    Column("cycle", "int", "", "0, 1, 2 … within the log and station"),
)

CYCLES: tuple[Column, ...] = (
    *_ID,
    Column("start_s", "float", "s", "first supply-on command of the attempt"),
    Column("end_s", "float", "s", "start of the next cycle"),
    Column("start_time", "time", "UTC", "start as a date, where the log has dates and their zone is known"),
    Column("outcome", "category", "", "held, dropped, missed or incomplete", OUTCOMES),
    Column("set_point_reached", "bool", "", "vacuum reached the set point in force"),
    Column("attempts", "int", "", "tries of this cycle without a release between them"),
    Column("response_delay_s", "float", "s", "supply command to first change of pressure"),
    Column("contact_s", "float", "s", "when the cup closes on the part, where it shows"),
    Column("open_cup_vacuum_kpa", "float", "kPa", "vacuum with the generator on and the cup still open"),
    Column("evacuation_time_s", "float", "s", "supply command of the last try to vacuum first at the set point"),
    Column("seal_time_s", "float", "s", "contact to vacuum first at the set point"),
    Column("pump_time_constant_s", "float", "s", "time constant of the evacuation with the cup closed"),
    Column("ultimate_vacuum_kpa", "float", "kPa", "vacuum that the evacuation tends to"),
    Column("ultimate_extrapolated", "bool", "", "the supply was cut before the ultimate vacuum showed"),
    Column("peak_vacuum_kpa", "float", "kPa", "highest vacuum of the filtered pressure"),
    Column("hold_vacuum_kpa", "float", "kPa", "time-weighted mean vacuum of the hold"),
    Column("hold_min_vacuum_kpa", "float", "kPa", "lowest vacuum in the hold, filtered"),
    Column("hold_start_s", "float", "s", "set point reached"),
    Column("hold_end_s", "float", "s", "the drop, else the supply-off that ends suction, else the release command"),
    Column("decay_rate_kpa_s", "float", "kPa/s", "leak as the isothermal dp/dt at the reference vacuum"),
    Column("decay_rate_lower_kpa_s", "float", "kPa/s", "lower end of its 95 % interval"),
    Column("decay_rate_upper_kpa_s", "float", "kPa/s", "upper end of its 95 % interval"),
    Column("decay_local_kpa_s", "float", "kPa/s", "the slope as observed"),
    Column("decay_local_vacuum_kpa", "float", "kPa", "the vacuum where that slope was observed"),
    Column("leak_rate_pa_m3_s", "float", "Pa·m³/s", "volume times isothermal decay rate, at ambient temperature"),
    Column("leak_rate_lower_pa_m3_s", "float", "Pa·m³/s", "lower end of its 95 % interval"),
    Column("leak_rate_upper_pa_m3_s", "float", "Pa·m³/s", "upper end of its 95 % interval"),
    Column("coasts", "int", "", "supply-off stretches in the hold"),
    Column("supply_switches", "int", "", "supply changes from set point to end of suction, each edge one"),
    Column("supply_on_time_s", "float", "s", "time during which air is used"),
    Column("output_edges", "int", "", "edges of part present in the cycle"),
    Column("chatter_edges", "int", "", "edges beyond the one on and one off that belong there"),
    Column("chatter_frequency_hz", "float", "Hz", "full on-off cycles per second while chattering"),
    Column("drop_s", "float", "s", "when the part was lost"),
    Column("drop_kind", "category", "", "sudden or gradual, empty between the two", DROP_KINDS),
    Column("release_time_s", "float", "s", "release command to 10 % of the way left to idle"),
    Column("residual_vacuum_kpa", "float", "kPa", "vacuum left at the end of the release command"),
    Column("release_peak_kpa", "float", "kPa", "highest over-pressure in the release"),
    Column("idle_vacuum_kpa", "float", "kPa", "reading with nothing on: the zero of the sensor"),
    Column("noise_kpa", "float", "kPa", "robust standard deviation about a smooth curve, quantisation included"),
)

PERIODS: tuple[Column, ...] = (
    *_ID,
    Column("kind", "category", "", "what acts on the pressure", PERIOD_KINDS),
    Column("start_s", "float", "s", "start"),
    Column("end_s", "float", "s", "end"),
    Column("samples", "int", "", "samples in the period"),
    Column("vacuum_start_kpa", "float", "kPa", "vacuum at the start"),
    Column("vacuum_end_kpa", "float", "kPa", "vacuum at the end"),
    Column("slope_kpa_s", "float", "kPa/s", "dp/dt of pressure, positive while vacuum is lost"),
    Column("slope_se_kpa_s", "float", "kPa/s", "its standard error"),
    Column("used", "bool", "", "false where a fit had to leave the period out"),
    Column("reason", "category", "", "why a period was left out"),
)

EDGES: tuple[Column, ...] = (
    *_ID,
    Column("time_s", "float", "s", "first sample at the new level"),
    Column("signal", "category", "", "supply, release or part_present", SIGNALS),
    Column("value", "int", "", "1 = logically on"),
    Column("chatter", "bool", "", "an edge beyond those that belong there"),
)

_DTYPE: dict[Kind, str] = {"float": "f8", "int": "i4", "bool": "i1", "category": "i4", "time": "i8"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Columns of equal length. `time` columns hold UTC microseconds since 1970."""

    columns: tuple[Column, ...]
    data: Mapping[str, NDArray[np.generic]]
    categories: Mapping[str, tuple[str, ...]]

    def __len__(self) -> int:
        """Number of rows."""
        return len(next(iter(self.data.values())))

    def floats(self, name: str) -> NDArray[np.float64]:
        """A float column, shape (n_rows,)."""
        return np.asarray(self.data[name], np.float64)

    def codes(self, name: str) -> NDArray[np.int64]:
        """An int, bool, time or category column as integers, -1 where missing, shape (n_rows,)."""
        return np.asarray(self.data[name], np.int64)

    def where(self, name: str, value: str) -> NDArray[np.bool_]:
        """True in rows whose category `name` equals `value`, shape (n_rows,)."""
        known = self.categories[name]
        return np.asarray(self.codes(name) == (known.index(value) if value in known else -2), np.bool_)

    def texts(self, name: str) -> list[str | None]:
        """A category column as Python strings."""
        known = self.categories[name]
        return [known[c] if c >= 0 else None for c in self.codes(name).tolist()]

    def with_columns(self, **columns: NDArray[np.generic]) -> "Table":
        """The same table with some columns replaced."""
        return replace(self, data={**self.data, **columns})


def make_table(
    columns: tuple[Column, ...],
    data: Mapping[str, NDArray[np.generic]],
    categories: Mapping[str, tuple[str, ...]],
) -> Table:
    """A table with every column of `columns`, in order and in its type; absent ones are all missing.

    `data` gives arrays of shape (n_rows,) by column name, at least one of them.
    """
    rows = len(next(iter(data.values())))
    filled: dict[str, NDArray[np.generic]] = {}
    for column in columns:
        dtype = np.dtype(_DTYPE[column.kind])
        given = data.get(column.name)
        missing = np.nan if column.kind == "float" else -1
        filled[column.name] = np.full(rows, missing, dtype) if given is None else np.asarray(given).astype(dtype)
        filled[column.name].flags.writeable = False
    known = {c.name: tuple(categories.get(c.name, c.values)) for c in columns if c.kind == "category"}
    return Table(columns=columns, data=filled, categories=known)


def join_tables(tables: tuple[Table, ...]) -> Table:
    """One table below the other; categories are merged. A column that only some have is missing in the others' rows.

    A station without cycles has no context columns, for example.
    """
    columns = tuple({column.name: column for table in tables for column in table.columns}.values())
    whole = tuple(make_table(columns, {"": np.empty(len(t)), **t.data}, t.categories) for t in tables)
    data: dict[str, NDArray[np.generic]] = {}
    categories: dict[str, tuple[str, ...]] = {}
    for column in columns:
        if column.kind != "category":
            data[column.name] = np.concatenate([t.data[column.name] for t in whole])
            continue
        place: dict[str, int] = {}
        maps = [[place.setdefault(v, len(place)) for v in t.categories[column.name]] for t in whole]
        categories[column.name] = tuple(place)
        codes = [np.array([*m, -1])[t.codes(column.name)] for m, t in zip(maps, whole, strict=True)]
        data[column.name] = np.concatenate(codes)
    return make_table(columns, data, categories)
