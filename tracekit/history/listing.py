"""What a history holds, in a few lines."""


import numpy as np

from tracekit.frozen import dataclass
from tracekit.history.collect import StationHistory, collect
from tracekit.history.events import iso
from tracekit.history.place import Place
from tracekit.history.read import read_shards
from tracekit.history.schema import SUMMARIES, SUMMARY
from tracekit.model.trend import Damage, Event
from tracekit.options.history import StoreOptions


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedStation:
    """One station: its logs and their first and last start [UTC microseconds since 1970]."""

    station: str
    logs: int
    cycles: int
    first_us: int
    last_us: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """A history's stations, files that could not be read, and files not yet merged."""

    stations: tuple[ListedStation, ...]
    damaged: tuple[Damage, ...]
    loose: int


def list_history(place: Place, options: StoreOptions | None = None) -> Listing:
    """List a history. Raises UsageError where there is none."""
    collected = collect(place, options)
    stations = tuple(_listed(record) for record in collected.histories() if len(record.start_us))
    return Listing(stations=stations, damaged=collected.damaged, loose=collected.loose)


def stations_of(place: Place, options: StoreOptions | None = None) -> set[str]:
    """Names of the stations of a history. Raises UsageError where there is none."""
    wanted = tuple(c for c in SUMMARY if c.name == "station")
    names: set[str] = set()
    for part in read_shards(place, wanted, SUMMARIES, options):
        codes = np.unique(part.table.codes("station"))
        names.update(part.table.categories["station"][code] for code in codes[codes >= 0].tolist())
    return names


def _listed(record: StationHistory) -> ListedStation:
    fact = record.followed.get("cycles")
    cycles = 0 if fact is None else int(fact.n.sum())
    return ListedStation(
        station=record.station, logs=len(record.start_us), cycles=cycles,
        first_us=int(record.start_us[0]), last_us=int(record.start_us[-1]),
    )  # fmt: skip


def listing_lines(listing: Listing, events: tuple[Event, ...], options: StoreOptions | None = None) -> list[str]:
    """The listing as lines for a terminal."""
    opts = options or StoreOptions()
    logs = sum(s.logs for s in listing.stations)
    counted = ((len(listing.stations), "station"), (logs, "log"), (len(events), "event"))
    lines = [", ".join(f"{n} {word}{'s' if n != 1 else ''}" for n, word in counted) + " noted."]
    width = max((len(s.station) for s in listing.stations), default=0)
    for s in listing.stations:
        span = f"{iso(s.first_us)[:10]} to {iso(s.last_us)[:10]}"
        lines.append(f"{s.station:<{width}}  {s.logs:>6} logs  {s.cycles:>9} cycles  {span}")
    lines += [f"{iso(e.time_us)[:10]} {e.station}: {e.text}" for e in events]
    lines += [f"damaged: {d.name}: {d.reason}" for d in listing.damaged]
    if listing.loose > opts.loose_hint:
        lines.append(f"{listing.loose} files are not merged yet; --compact makes reading faster.")
    return lines


def listing_json(listing: Listing, events: tuple[Event, ...]) -> dict[str, object]:
    """The listing as JSON."""
    return {
        "schema": "tracekit.history/1",
        "stations": [
            {"station": s.station, "logs": s.logs, "cycles": s.cycles, "first": iso(s.first_us), "last": iso(s.last_us)}
            for s in listing.stations
        ],
        "events": [{"time": iso(e.time_us), "station": e.station, "text": e.text} for e in events],
        "damaged": [{"file": d.name, "reason": d.reason} for d in listing.damaged],
        "loose_files": listing.loose,
    }
