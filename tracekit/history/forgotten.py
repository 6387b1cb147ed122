"""What a history was told to forget. Readers heed it at once, the rows go at the next compaction."""

import json
import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracekit.history.place import Place
from tracekit.history.schema import FORGOTTEN, SCHEMA, digest


@dataclass(frozen=True, slots=True, kw_only=True)
class Tombstone:
    """Rows of `station` (None: every station) that start in [from_us, to_us) and were added before `written_us`."""

    station: str | None
    from_us: int
    to_us: int
    written_us: int

    def covers(
        self, stations: NDArray[np.bool_], start_us: NDArray[np.int64], added_us: NDArray[np.int64]
    ) -> NDArray[np.bool_]:
        """True in rows to leave out; `stations` is True in rows of the tombstone's station. Shapes (n_rows,)."""
        named = np.ones(len(start_us), np.bool_) if self.station is None else stations
        return named & (start_us >= self.from_us) & (start_us < self.to_us) & (added_us < self.written_us)


def write_tombstone(place: Place, station: str | None, from_us: int, to_us: int) -> Tombstone:
    """Note that a station or span is to be forgotten. Adding such a log again brings it back."""
    stone = Tombstone(station=station, from_us=from_us, to_us=to_us, written_us=time.time_ns() // 1000)
    body = {
        "schema": f"tracekit.forgotten/{SCHEMA}", "station": station, "from_us": from_us, "to_us": to_us,
        "written_us": stone.written_us,
    }  # fmt: skip
    place.put(f"{FORGOTTEN}/{digest(body, 24)}.json", json.dumps(body, indent=1).encode())
    return stone


def read_tombstones(place: Place) -> tuple[Tombstone, ...]:
    """All tombstones; a damaged one is left out (`history --check` names it)."""
    stones = (read_tombstone(place, name) for name in place.names(FORGOTTEN) if name.endswith(".json"))
    return tuple(stone for stone in stones if stone is not None)


def read_tombstone(place: Place, name: str) -> Tombstone | None:
    """One tombstone, or None where its file is damaged or gone."""
    try:
        body = json.loads(place.read(f"{FORGOTTEN}/{name}"))
        station = body["station"]
        return Tombstone(
            station=None if station is None else str(station),
            from_us=int(body["from_us"]),
            to_us=int(body["to_us"]),
            written_us=int(body["written_us"]),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None
