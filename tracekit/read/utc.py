"""From stamps without a zone to UTC, and between two files of which one has a zone."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from tracekit.errors import StationFileError, message
from tracekit.model.station import Station
from tracekit.read.plan import Plan


def utc_us(local_us: int | None, plan: Plan, station: Station) -> int | None:
    """UTC of the start [µs], None where the stamps have no date or their zone is unknown.

    Raises StationFileError where the station file names a zone that does not exist.
    """
    if local_us is None or plan.time.zoned or (plan.time.start_us is not None and not plan.time.start_local):
        return local_us
    zone = station.station.timezone or plan.zone
    if not zone:
        return None
    if zone[0] in "+-":
        return local_us - int(f"{zone[0]}1") * (int(zone[1:3]) * 60 + int(zone[4:6])) * 60_000_000
    try:
        known = ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError) as error:
        if station.station.timezone is None:
            return None
        found = f'timezone is "{zone}"'
        raise StationFileError(
            message(station.source or "station file", found, "a zone such as Europe/Lisbon", "Correct it.")
        ) from error
    local = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=local_us)
    offset = local.replace(tzinfo=known).utcoffset() or timedelta(0)
    return local_us - round(offset.total_seconds() * 1e6)


def ahead_s(plan: Plan, start_s: float, beside: Plan, beside_start_s: float, station: Station) -> float | None:
    """How far stamps of one file are ahead of those of a file beside it by their zones alone [s].

    `start_s` are Unix times as the stamps give them. None where one has a zone and that of the other is unknown.
    """
    if plan.time.zoned == beside.time.zoned or not (plan.time.dated and beside.time.dated):
        return 0.0
    local, start = (beside, beside_start_s) if plan.time.zoned else (plan, start_s)
    known_us = utc_us(round(start * 1e6), local, station)
    if known_us is None:
        return None
    offset_s = round(start - known_us / 1e6, 3)
    return -offset_s if plan.time.zoned else offset_s
