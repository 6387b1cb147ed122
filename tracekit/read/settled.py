"""What was decided about a log, as the channels of a station file."""

from collections.abc import Mapping

from tracekit.model.station import Channel
from tracekit.read.clockcolumns import is_date
from tracekit.read.columns import Column
from tracekit.read.multiples import find_multiple
from tracekit.read.plan import Plan, StationPlan
from tracekit.read.pressure import PressurePlan
from tracekit.read.timeplan import TimePlan
from tracekit.units import TIME_UNITS


def settled_channels(plan: Plan, first: StationPlan) -> dict[str, Channel]:
    """The channels of one station of a plan, such that a station file with them gives the same plan."""
    found: dict[str, Channel] = {}
    found |= time_channel(plan.time, plan.columns)
    found |= pressure_channel(first.pressure)
    for role, level in first.digitals.items():
        off = first.off_coil.name if role == "supply" and first.off_coil is not None else None
        signal = plan.supply_signal if role == "supply" else "valve"
        found[role] = Channel(column=level.name, on_level=plan.on_level.get(role), signal=signal, off_column=off)
    if plan.station_column is not None:
        found["station"] = Channel(column=plan.station_column)
    return found


def pressure_channel(pressure: PressurePlan) -> dict[str, Channel]:
    """The channel of the pressure of a plan, under its name."""
    multiple = find_multiple(pressure.unit)
    channel = Channel(
        column=None if pressure.beside else pressure.column,
        unit=(pressure.unit or None) if multiple is None else None,
        sense=pressure.sense or None,
        scale=pressure.points if multiple is None else ((0.0, 0.0), (1000.0, round(1000.0 * multiple[0].kpa, 9))),
    )
    return {"pressure": channel}


def time_channel(time: TimePlan, columns: Mapping[str, Column]) -> dict[str, Channel]:
    """The channel of time of a plan, under its name; empty where rows are counted or columns make a time together."""
    clock = next((n for n in time.columns if _has_clock(columns.get(n))), None)
    if not time.columns or (clock is None and len(time.columns) > 1 and time.kind == "stamp"):
        return {}
    clock = clock or time.columns[0]
    units = {u.seconds: u.symbol for u in TIME_UNITS}
    return {"time": Channel(column=clock, unit=units.get(time.unit_s) if time.kind == "number" else None)}


def _has_clock(column: Column | None) -> bool:
    if column is None or column.kind == "moment":
        return column is not None and not is_date(column)
    return column.profile.stamp is not None and column.profile.stamp.has_clock
