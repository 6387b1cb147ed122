"""Files of one channel each: a time, a value, and what the value is in the name of the file alone."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from tracekit.errors import LogReadError, message
from tracekit.model.station import Channel, Station
from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column
from tracekit.read.digitals import ROLES
from tracekit.read.head import Head
from tracekit.read.opened import Opened
from tracekit.read.plan import Plan
from tracekit.read.rising import rises
from tracekit.read.settled import time_channel
from tracekit.read.words import NameHints, hints, tokens_of


def named_by_file(opened: Opened) -> Opened:
    """A file of one channel with the channel named as the file is; as it is where it is none, or names it itself."""
    value = _only_value(opened.head)
    said = hints(Path(opened.head.name).stem)
    if value is None or _says(value.hints) or not _says(said) or _reads(value) is not _says_pressure(said):
        return opened
    name = Path(opened.head.name).stem
    renamed = replace(value, name=name, source=value.source or value.name, hints=hints(name, value.unit))
    columns = tuple(renamed if c is value else c for c in opened.head.columns)
    return replace(opened, head=replace(opened.head, columns=columns), channel=name)


def _only_value(head: Head) -> Column | None:
    """The only column beside those of time and quality, None where there are others or none."""
    held = [c for c in head.columns if c.kind != "empty" and c.hints.weight("quality") < EVIDENCE.name_weight]
    times = [c for c in held if c.kind in ("stamp", "moment") or c.hints.weight("time") >= EVIDENCE.name_weight]
    if not times and held and held[0].kind == "number" and rises(held[0].values, wraps=False):
        times = held[:1]
    values = [c for c in held if c not in times]
    return values[0] if times and len(values) == 1 and values[0].item is None else None


def _reads(value: Column) -> bool:
    """True for readings, of more than the two levels of a signal."""
    return value.kind == "number" and value.levels > EVIDENCE.signal_levels


def _says_pressure(known: NameHints) -> bool:
    return known.weight("pressure") >= EVIDENCE.name_weight or known.pressure_unit is not None


def _says(known: NameHints) -> bool:
    """True for a name that tells a pressure or one signal of a station."""
    if known.weight("other") > max(known.weight("pressure"), 1.0):
        return False
    likely = [known.weight("pressure"), *(known.weight(role) for role in ROLES)]
    return known.pressure_unit is not None or max(likely) >= EVIDENCE.name_weight


def goes_with(channel: str, other: str) -> bool:
    """Whether two channels may be of one station: the words with figures in their names are the same."""

    def numbered(name: str) -> list[str]:
        return [token for token in tokens_of(name) if any(map(str.isdigit, token))]

    return not channel or not other or numbered(channel) == numbered(other)


def with_time_of(station: Station, plan: Plan, head: Head) -> Station:
    """The station file with time read as in the file of the pressure, where a file has the same column of numbers."""
    found = time_channel(plan.time, plan.columns).get("time")
    column = head.column(found.column or "") if found is not None else None
    if found is None or plan.time.kind != "number" or column is None or column.kind != "number":
        return station
    channels: dict[str, Channel] = {"time": found, **station.channels}
    return replace(station, channels=channels)


def told_once(refused: Sequence[tuple[Opened, LogReadError]]) -> list[LogReadError]:
    """The errors of files, those of signals beside a pressure that leaves something open in a few words."""
    asked = next((one for one, _ in refused if one.channel and _is_pressure(one)), None)
    if asked is None:
        return [error for _, error in refused]
    return [_waits(one, asked) if one.channel and not _is_pressure(one) else error for one, error in refused]


def _is_pressure(one: Opened) -> bool:
    return _says_pressure(hints(one.channel))


def _waits(one: Opened, asked: Opened) -> LogReadError:
    found = f'one signal, which goes with the pressure in "{asked.head.name}", and that leaves something open'
    return LogReadError(message(one.head.name, found, "a pressure that is known", "Answer what is asked there first."))
