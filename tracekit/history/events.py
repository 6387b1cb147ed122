"""Repairs and other events noted by hand: one small file each, named by content, so that noting twice counts once."""

import json
import re
from datetime import UTC, datetime, timedelta

from tracekit.errors import UsageError, message
from tracekit.history.place import Place
from tracekit.history.schema import EVENTS, SCHEMA, digest
from tracekit.model.trend import Event

_FORM = re.compile(
    r"\s*(\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(?::\d\d(?:\.\d+)?)?)?\s?(?:Z|[+-]\d\d:?\d\d)?)\s+([^:]{1,200}):\s*(\S.*)",
    re.DOTALL,
)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_LONGEST = 500


def parse_time(text: str, where: str) -> tuple[int, bool]:
    """UTC microseconds since 1970 of an ISO 8601 date or date and time, and whether it is a date alone.

    Without a zone it is UTC. Raises UsageError where it is no such time.
    """
    try:
        moment = datetime.fromisoformat(text.strip().replace(" Z", "Z"))
    except ValueError as error:
        expected = "a date as 2025-03-02, or a time as 2025-03-02T06:00+00:00"
        raise UsageError(message(where, f'"{text[:60]}" is no date', expected, "Correct it.")) from error
    aware = moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
    return (aware - _EPOCH) // timedelta(microseconds=1), len(text.strip()) <= len("2025-03-02")


def parse_event(text: str) -> Event:
    """An event from `2025-03-02 Loader 2: cups changed`. Raises UsageError where it has another form."""
    found = _FORM.fullmatch(text)
    if found is None:
        expected = "a date, a station, a colon and what was done"
        example = 'For example --event "2025-03-02 Loader 2: cups changed".'
        raise UsageError(message("--event", f'"{text[:80]}"', expected, example))
    time_us, whole_day = parse_time(found[1], "--event")
    return Event(time_us=time_us, station=found[2].strip(), text=found[3].strip()[:_LONGEST], whole_day=whole_day)


def note_event(place: Place, event: Event) -> bool:
    """Write an event into the history; False where it is noted already."""
    body = {
        "schema": f"tracekit.event/{SCHEMA}", "time": iso(event.time_us), "station": event.station, "text": event.text,
        "whole_day": event.whole_day,
    }  # fmt: skip
    name = f"{digest(body, 24)}.json"
    if name in place.names(EVENTS) and read_event(place, name) is not None:
        return False  # a damaged one is written anew
    place.put(f"{EVENTS}/{name}", json.dumps(body, indent=1, ensure_ascii=False).encode("utf-8", "replace"))
    return True


def read_events(place: Place) -> tuple[Event, ...]:
    """All noted events in order of time; a damaged one is left out (`history --check` names it)."""
    found = (read_event(place, name) for name in place.names(EVENTS) if name.endswith(".json"))
    return tuple(sorted((e for e in found if e is not None), key=lambda e: (e.time_us, e.station, e.text)))


def read_event(place: Place, name: str) -> Event | None:
    """One event, or None where its file is damaged or gone. Raises UsageError where the store cannot be read."""
    try:
        data = place.read(f"{EVENTS}/{name}")
    except OSError:
        return None
    try:
        body = json.loads(data)
        time_us, _ = parse_time(str(body["time"]), name)
        return Event(
            time_us=time_us, station=str(body["station"]), text=str(body["text"]), whole_day=bool(body["whole_day"])
        )
    except (ValueError, KeyError, TypeError, RecursionError):
        return None


def iso(time_us: int) -> str:
    """A time as ISO 8601 in UTC, to the second."""
    return (_EPOCH + timedelta(microseconds=time_us)).isoformat(timespec="seconds").replace("+00:00", "Z")
