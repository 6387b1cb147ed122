"""The last good log of every station, kept whole enough to serve as a baseline: `--baseline last-good`."""

import hashlib
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import UsageError, message
from tracekit.history.forgotten import Tombstone, read_tombstones
from tracekit.history.frozen import freeze, thaw
from tracekit.history.place import Place, open_place
from tracekit.history.schema import digest
from tracekit.model.cycle import StationData, Strip
from tracekit.model.estimate import Estimate
from tracekit.model.result import LeakResult, StationResult
from tracekit.options.history import StoreOptions

FOLDER = "good"
_ENDING = ".good"
_LEAST_HELD = 20
_WRONG_KINDS = ("cause", "setting", "sensor")
_SUM_DIGITS = 24
_MORE_SHARE = 0.25
_MORE_KPA_S = 0.5
"""A station whose leak or evacuation has grown by more is no longer in the state of its good log."""


class NoGoodLogError(UsageError):
    """The history has no good log of a station yet."""


def is_good(result: StationResult) -> bool:
    """Whether a station's log can be a baseline: nothing found above info that needs a repair, and cycles enough."""
    wrong = any(f.severity != "info" and f.kind in _WRONG_KINDS for f in result.findings)
    return not wrong and int(result.data.cycles.where("outcome", "held").sum()) >= _LEAST_HELD


def keep_good(place: Place, result: StationResult, log_id: str, start_us: int) -> bool:
    """Keep a station's log as its last good one, if it is good and newer than the one kept, which then goes.

    A log in which the station leaks or evacuates clearly worse than in the one kept does not take its place: a baseline
    that followed slow growth would hide it. What is usual after a change on purpose is learnt once the kept log is
    forgotten.
    """
    if not is_good(result):
        return False
    folder = _folder(result.data.station)
    kept = [name for name in place.names(folder) if name.endswith(_ENDING)]
    if any(_start_of(name) > start_us or log_id[:16] in name for name in kept):
        return False
    if any(_clearly_worse(result, *records) for records in _kept(place, folder, kept)):
        return False
    data = freeze({"data": _slim(result.data), "leak": result.leak}, _facts(result, log_id, start_us))
    place.put(f"{folder}/{max(start_us, 0):020d}-{log_id[:16]}-{_seal(data)}{_ENDING}", data)
    for name in kept:
        place.delete(f"{folder}/{name}")
    return True


def _kept(place: Place, folder: str, names: list[str]) -> list[tuple[StationData, LeakResult]]:
    """What is kept, as far as it can be read and is not forgotten."""
    stones, found = read_tombstones(place), []
    for name in names:
        data = _bytes(place, f"{folder}/{name}")
        with suppress(OSError, ValueError):
            records, facts = thaw(data)
            if not _is_forgotten(facts, stones):
                found.append((records["data"], records["leak"]))
    return found


def _clearly_worse(result: StationResult, data: StationData, leak: LeakResult) -> bool:
    """Whether a station leaks more, beyond both intervals, or evacuates more slowly than in an older log."""
    now, then = result.leak.decay_rate, leak.decay_rate
    if isinstance(now, Estimate) and isinstance(then, Estimate):
        allowed = max(_MORE_SHARE * then.value, _MORE_KPA_S)
        if now.lower > then.upper and now.value > then.value + allowed:
            return True
    took, before = _evacuations(result.data), _evacuations(data)
    if min(np.isfinite(took).sum(), np.isfinite(before).sum()) < _LEAST_HELD:
        return False
    return float(np.nanmedian(took)) > (1.0 + _MORE_SHARE) * float(np.nanmedian(before))


def _evacuations(data: StationData) -> NDArray[np.float64]:
    """Evacuation times of held cycles [s]."""
    return data.cycles.floats("evacuation_time_s")[data.cycles.where("outcome", "held")]


def last_good(history: str | Path, station: str, before_us: int | None = None) -> tuple[StationData, LeakResult, str]:
    """The newest good log of a station before a time: its data, its leak, and the log's id.

    While another program puts a newer one in the place of the one kept, a listing may miss both; so it is done again
    until nothing has changed meanwhile.

    Raises NoGoodLogError where the history has none.
    """
    place, opts = open_place(history), StoreOptions()
    folder, stones = _folder(station), read_tombstones(place)
    for _ in range(opts.read_tries):
        names = place.names(folder)
        for name in reversed(names):
            early = before_us is None or _start_of(name) < before_us
            if name.endswith(_ENDING) and early and (found := _sound(place, f"{folder}/{name}", stones)) is not None:
                return found
        if place.names(folder) == names:
            break
        time.sleep(opts.retry_s)
    missing = f'no good log of "{station}" that this version can use'
    raise NoGoodLogError(message(place.where, missing, "a log without faults, added before", "Give --baseline LOG."))


def _sound(place: Place, path: str, stones: tuple[Tombstone, ...]) -> tuple[StationData, LeakResult, str] | None:
    """What a file keeps; None where it is gone, damaged, of another version, or forgotten."""
    data = _bytes(place, path)
    with suppress(OSError, ValueError):
        if path.endswith(f"-{_seal(data)}{_ENDING}"):
            records, facts = thaw(data)
            if not _is_forgotten(facts, stones):
                return records["data"], records["leak"], str(facts["log_id"])
    return None


def _bytes(place: Place, name: str) -> bytes:
    """A file, empty where it is gone or damaged. Raises UsageError where the store cannot be read."""
    try:
        return place.read(name)
    except OSError:
        return b""


def _folder(station: str) -> str:
    return f"{FOLDER}/{digest(station, 24)}"


def _seal(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:_SUM_DIGITS]


def _start_of(name: str) -> int:
    head = name.split("-", 1)[0]
    return int(head) if head.isdigit() else -1


def _facts(result: StationResult, log_id: str, start_us: int) -> Mapping[str, object]:
    return {
        "schema": "tracekit.good/1", "station": result.data.station, "log_id": log_id, "start_us": start_us,
        "added_us": time.time_ns() // 1000,
    }  # fmt: skip


def _slim(data: StationData) -> StationData:
    """Without what only pictures of the log itself need."""
    nothing = np.empty(0)
    return replace(data, strip=Strip(time_s=nothing, lowest_kpa=nothing, highest_kpa=nothing), excerpts=())


def _is_forgotten(facts: Mapping[str, object], stones: tuple[Tombstone, ...]) -> bool:
    station, log_id = str(facts["station"]), str(facts["log_id"])
    start_us, added_us = int(str(facts["start_us"])), int(str(facts["added_us"]))
    return any(stone.covers_log(station, log_id, start_us, added_us) for stone in stones)
