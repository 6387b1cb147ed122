"""What a history was told to forget. Readers heed it at once, the rows go at the next compaction."""

import json
import time

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.history.place import Place
from tracekit.history.schema import FORGOTTEN, SCHEMA, digest
from tracekit.model.tables import Table


@dataclass(frozen=True, slots=True, kw_only=True)
class Tombstone:
    """Rows of a station and log (None: any) that start in [from_us, to_us) and were added before `written_us`."""

    station: str | None
    from_us: int
    to_us: int
    written_us: int
    log_id: str | None = None

    def covers(self, rows: Table, added_us: NDArray[np.int64]) -> NDArray[np.bool_]:
        """True in rows to leave out, shape (n_rows,); `added_us` is when each row was added."""
        gone = self.spans(rows.codes("start_time")) & (added_us < self.written_us)
        for column, wanted in (("station", self.station), ("log_id", self.log_id)):
            if wanted is not None and gone.any():
                gone &= rows.where(column, wanted)
        return gone

    def covers_log(self, station: str, log_id: str, start_us: int, added_us: int) -> bool:
        """The same of one log of a station."""
        named = self.station in (None, station) and self.log_id in (None, log_id)
        return named and self.from_us <= start_us < self.to_us and added_us < self.written_us

    def spans(self, start_us: NDArray[np.int64]) -> NDArray[np.bool_]:
        """True for starts that lie in the span, shape (n_rows,)."""
        return (start_us >= self.from_us) & (start_us < self.to_us)


def forgotten_rows(
    rows: Table, stones: tuple[Tombstone, ...], added_us: NDArray[np.int64] | None = None
) -> NDArray[np.bool_]:
    """True in rows to leave out, shape (n_rows,); `added_us` where the rows do not say when that was."""
    gone = np.zeros(len(rows), np.bool_)
    for stone in stones:
        gone |= stone.covers(rows, rows.codes("added_time") if added_us is None else added_us)
    return gone


def write_tombstone(
    place: Place, station: str | None, from_us: int, to_us: int, *, log_id: str | None = None, after_us: int = 0
) -> Tombstone:
    """Note that a station, span or log is to be forgotten. Adding such a log again brings it back.

    `after_us` is when the newest of the rows was added: they are forgotten even where the clock was set back since.
    """
    written_us = max(time.time_ns() // 1000, after_us + 1)
    stone = Tombstone(station=station, from_us=from_us, to_us=to_us, written_us=written_us, log_id=log_id)
    body = {
        "schema": f"tracekit.forgotten/{SCHEMA}", "station": station, "log_id": log_id, "from_us": from_us,
        "to_us": to_us, "written_us": written_us,
    }  # fmt: skip
    place.put(f"{FORGOTTEN}/{digest(body, 24)}.json", json.dumps(body, indent=1).encode())
    return stone


def read_tombstones(place: Place) -> tuple[Tombstone, ...]:
    """All tombstones; a damaged one is left out (`history --check` names it)."""
    stones = (read_tombstone(place, name) for name in place.names(FORGOTTEN) if name.endswith(".json"))
    return tuple(stone for stone in stones if stone is not None)


def read_tombstone(place: Place, name: str) -> Tombstone | None:
    """One tombstone, or None where its file is damaged or gone. Raises UsageError where the store cannot be read."""
    try:
        data = place.read(f"{FORGOTTEN}/{name}")
    except OSError:
        return None
    try:
        body = json.loads(data)
        station, log_id = body["station"], body.get("log_id")
        return Tombstone(
            station=None if station is None else str(station),
            log_id=None if log_id is None else str(log_id),
            from_us=int(body["from_us"]),
            to_us=int(body["to_us"]),
            written_us=int(body["written_us"]),
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
