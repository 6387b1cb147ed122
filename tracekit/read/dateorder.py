"""What the station file gives of the stamps: the order of the numbers of a date, what follows the seconds."""

from dataclasses import replace

from tracekit.model.station import Channel
from tracekit.read.columns import Column
from tracekit.read.fractions import as_given
from tracekit.read.head import Head
from tracekit.read.stampform import Field
from tracekit.read.stamps import DATE_FIELDS

_ORDERS: dict[str, tuple[Field, ...]] = {
    "day first": ("day", "month", "year"),
    "month first": ("month", "day", "year"),
    "year first": ("year", "month", "day"),
}


def with_date_order(head: Head, given: Channel | None) -> Head:
    """The first rows with their stamps read as is given; as they are where nothing is."""
    if given is not None and given.unit is not None:
        head = replace(head, columns=tuple(_with_unit(c, given.unit) for c in head.columns))
    if given is None or given.date_order is None:
        return head
    order = _ORDERS[given.date_order]
    return replace(head, columns=tuple(_ordered(c, order) for c in head.columns))


def _with_unit(column: Column, unit: str) -> Column:
    stamp = column.profile.stamp
    if stamp is None or not stamp.counted:
        return column
    return replace(column, profile=replace(column.profile, stamp=as_given(stamp, unit)))


def _ordered(column: Column, order: tuple[Field, ...]) -> Column:
    stamp = column.profile.stamp
    first = next((k for k, field in enumerate(stamp.fields) if field in DATE_FIELDS), 0) if stamp is not None else 0
    if stamp is None or stamp.worded or set(stamp.fields[first : first + 3]) != set(DATE_FIELDS):
        return column
    fields = (*stamp.fields[:first], *order, *stamp.fields[first + 3 :])
    told = replace(stamp, fields=fields, ambiguous=False, evidence="order of the station file")
    return replace(column, profile=replace(column.profile, stamp=told))
