"""What was decided about a log, as the channels of a station file."""

from tracekit.model.station import Channel
from tracekit.read.multiples import find_multiple
from tracekit.read.plan import Plan, StationPlan
from tracekit.units import TIME_UNITS


def settled_channels(plan: Plan, first: StationPlan) -> dict[str, Channel]:
    """The channels of one station of a plan, such that a station file with them gives the same plan."""
    found: dict[str, Channel] = {}
    if plan.time.columns:
        clock = next((n for n in plan.time.columns if _has_clock(plan, n)), plan.time.columns[0])
        units = {u.seconds: u.symbol for u in TIME_UNITS}
        unit = units.get(plan.time.unit_s) if plan.time.kind == "number" else None
        found["time"] = Channel(column=clock, unit=unit)
    pressure = first.pressure
    multiple = find_multiple(pressure.unit)
    found["pressure"] = Channel(
        column=None if pressure.beside else pressure.column,
        unit=(pressure.unit or None) if multiple is None else None,
        sense=pressure.sense or None,
        scale=pressure.points if multiple is None else ((0.0, 0.0), (1000.0, round(1000.0 * multiple[0].kpa, 9))),
    )
    for role, level in first.digitals.items():
        off = first.off_coil.name if role == "supply" and first.off_coil is not None else None
        signal = plan.supply_signal if role == "supply" else "valve"
        found[role] = Channel(column=level.name, on_level=plan.on_level.get(role), signal=signal, off_column=off)
    if plan.station_column is not None:
        found["station"] = Channel(column=plan.station_column)
    return found


def _has_clock(plan: Plan, name: str) -> bool:
    column = plan.columns.get(name)
    return column is not None and column.profile.stamp is not None and column.profile.stamp.has_clock
