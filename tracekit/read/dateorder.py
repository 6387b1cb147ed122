"""The order of the numbers of a date, where the station file gives it."""

from dataclasses import replace

from tracekit.model.station import Channel
from tracekit.read.columns import Column
from tracekit.read.head import Head
from tracekit.read.stamps import DATE_FIELDS, Field

_ORDERS: dict[str, tuple[Field, ...]] = {
    "day first": ("day", "month", "year"),
    "month first": ("month", "day", "year"),
    "year first": ("year", "month", "day"),
}


def with_date_order(head: Head, given: Channel | None) -> Head:
    """The first rows with their dates read in the order that is given; as they are where none is."""
    if given is None or given.date_order is None:
        return head
    order = _ORDERS[given.date_order]
    return replace(head, columns=tuple(_ordered(c, order) for c in head.columns))


def _ordered(column: Column, order: tuple[Field, ...]) -> Column:
    stamp = column.profile.stamp
    if stamp is None or stamp.worded or set(stamp.fields[:3]) != set(DATE_FIELDS):
        return column
    fields = (*order, *stamp.fields[3:])
    told = replace(stamp, fields=fields, ambiguous=False, evidence="order of the station file")
    return replace(column, profile=replace(column.profile, stamp=told))
