"""The rows of a history, sorted into one record per station, compact enough for hundreds of stations over years."""

from collections.abc import Iterator, Mapping
from dataclasses import field, replace

import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.history.measures import MEASURES
from tracekit.history.place import Place
from tracekit.history.read import read_shards
from tracekit.history.schema import KINDS, SUMMARIES, SUMMARY
from tracekit.model.tables import Table
from tracekit.model.trend import EXACT, LOWER_BOUND, UPPER_BOUND, Damage
from tracekit.options.history import StoreOptions

FACTS = ("cycles", "held", "dropped", "missed", "ambient", "temperature", "duration")
NUMBERS = (*(m.name for m in MEASURES), *FACTS)
_WANTED = ("log_id", "station", "part", "start_time", "kind", "name", "context", "value", "lower", "upper", "n", "text")
_NUMBER = np.dtype([
    ("station", "i4"), ("name", "i2"), ("bound", "i1"), ("log", "i4"), ("start", "i8"),
    ("value", "f8"), ("lower", "f8"), ("upper", "f8"), ("n", "i4"),
])  # fmt: skip
_GROUP = np.dtype([("station", "i4"), ("name", "i2"), ("log", "i4"), ("context", "i4"), ("value", "f8"), ("n", "i4")])


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """One measure of a station over its logs, NaN where a log lacks it; arrays of shape (n_logs,).

    bound   EXACT; or LOWER_BOUND, UPPER_BOUND where only a bound is known, which `value` then holds
    groups  median and cycles per part type, each (n_logs, n_groups)
    """

    value: NDArray[np.float64]
    lower: NDArray[np.float64]
    upper: NDArray[np.float64]
    n: NDArray[np.float64]
    bound: NDArray[np.int8]
    group_names: tuple[str, ...] = ()
    group_value: NDArray[np.float64] = field(default_factory=lambda: np.empty((0, 0)))
    group_n: NDArray[np.float64] = field(default_factory=lambda: np.empty((0, 0)))


@dataclass(frozen=True, slots=True, kw_only=True)
class StationHistory:
    """Everything the history holds of one station; `start_us` (n_logs,) rises.

    latest    newest text and number of (kind, name, context)
    findings  (start_us, code, severity, confidence) of the findings above info
    """

    station: str
    start_us: NDArray[np.int64]
    followed: Mapping[str, Followed]
    latest: Mapping[tuple[str, str, str], tuple[str | None, float]]
    findings: tuple[tuple[int, str, str, float], ...]

    def number(self, kind: str, name: str, context: str = "") -> float | None:
        """The newest number of that kind and name, None where there is none."""
        found = self.latest.get((kind, name, context))
        return None if found is None or not np.isfinite(found[1]) else found[1]

    def text(self, kind: str, name: str) -> str | None:
        """The newest text of that kind and name, None where there is none."""
        found = self.latest.get((kind, name, ""))
        return None if found is None else found[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Collected:
    """Stations in order of name, and what could not be read."""

    stations: tuple[str, ...]
    damaged: tuple[Damage, ...]
    loose: int
    logs: int
    _gathered: "_Gathered"

    def histories(self, only: frozenset[str] | None = None) -> Iterator[StationHistory]:
        """The stations' records, one at a time; with `only` those of these stations and of their supply groups."""
        groups = [self._group(code) for code in range(len(self.stations))]
        mine = {group for group, station in zip(groups, self.stations, strict=True) if only and station in only}
        for code in sorted(range(len(self.stations)), key=lambda c: self.stations[c]):
            station, group = self.stations[code], groups[code]
            if only is None or station in only or (group is not None and group in mine):
                yield _station_history(self._gathered, code, station)

    def _group(self, code: int) -> str | None:
        """The supply group of a station, where one is known."""
        return self._gathered.latest.get(code, {}).get(("fact", "supply_group", ""), (0, None, 0.0))[1]


@dataclass(frozen=True, slots=True)
class _Gathered:
    """Sorted pieces: rows of numbers and groups by station, and the rest by station code."""

    numbers: NDArray[np.void]
    groups: NDArray[np.void]
    contexts: tuple[str, ...]
    latest: Mapping[int, dict[tuple[str, str, str], tuple[int, str | None, float]]]
    findings: Mapping[int, list[tuple[int, str, str, float]]]


def collect(place: Place, options: StoreOptions | None = None, until_us: int | None = None) -> Collected:
    """Read a history for a trend, logs that began after `until_us` left out.

    Raises UsageError where there is none or a newer tracekit wrote it.
    """
    gather = _Gather()
    damaged: list[Damage] = []
    loose = 0
    wanted = tuple(c for c in SUMMARY if c.name in _WANTED)
    for shard in read_shards(place, wanted, SUMMARIES, options):
        damaged.extend(shard.damaged)
        loose += shard.loose
        table = shard.table if until_us is None else _until(shard.table, until_us)
        if len(table):
            gather.add(table)
    return Collected(
        stations=tuple(gather.stations), damaged=tuple(damaged), loose=loose, logs=gather.logs, _gathered=gather.done()
    )


def _until(table: Table, until_us: int) -> Table:
    """The rows of logs that had begun by then."""
    here = table.codes("start_time") <= until_us
    return replace(table, data={name: values[here] for name, values in table.data.items()})


class _Gather:
    """Collects the shards' rows as small structured arrays."""

    def __init__(self) -> None:
        self.stations: dict[str, int] = {}
        self.logs = 0
        self._contexts: dict[str, int] = {}
        self._numbers: list[NDArray[np.void]] = []
        self._groups: list[NDArray[np.void]] = []
        self._latest: dict[int, dict[tuple[str, str, str], tuple[int, str | None, float]]] = {}
        self._findings: dict[int, list[tuple[int, str, str, float]]] = {}

    def add(self, table: Table) -> None:
        """Take in the rows of one shard."""
        station = _global(self.stations, table, "station")
        log_part = table.codes("log_id") * 4096 + np.maximum(table.codes("part"), 0)
        found, log = np.unique(log_part, return_inverse=True)
        log = log + self.logs
        self.logs += len(found)
        name = np.array([*(NUMBERS.index(n) if n in NUMBERS else -1 for n in table.categories["name"]), -1])[
            table.codes("name")
        ]
        kind = _kinds(table)
        plain = ((kind == KINDS.index("measure")) | (kind == KINDS.index("fact"))) & (name >= 0)
        self._numbers.append(_number_rows(table, plain, station, name, log))
        grouped = (kind == KINDS.index("group")) & (name >= 0)
        self._groups.append(self._group_rows(table, grouped, station, name, log))
        self._note_latest(table, station)
        self._note_findings(table, station)

    def _group_rows(
        self,
        table: Table,
        here: NDArray[np.bool_],
        station: NDArray[np.int64],
        name: NDArray[np.int64],
        log: NDArray[np.int64],
    ) -> NDArray[np.void]:
        context = _global(self._contexts, table, "context")
        rows = np.empty(int(here.sum()), _GROUP)
        for key, values in (("station", station), ("name", name), ("log", log), ("context", context)):
            rows[key] = values[here]
        value, bound = table.floats("value")[here], table.floats("lower")[here]
        rows["value"], rows["n"] = np.where(np.isfinite(value), value, bound), table.codes("n")[here]
        return rows

    def _note_latest(self, table: Table, station: NDArray[np.int64]) -> None:
        """Keep the newest row of every fact, setting and limit."""
        kind = _kinds(table)
        here = np.flatnonzero(np.isin(kind, [KINDS.index(k) for k in ("fact", "setting", "limit")]))
        if here.size == 0:
            return
        start = table.codes("start_time")[here]
        keys = np.stack([station[here], kind[here], table.codes("name")[here], table.codes("context")[here], start])
        order = np.lexsort(keys[::-1])
        ordered = keys[:, order]
        last = np.append(np.any(np.diff(ordered[:4], axis=1) != 0, axis=0), True)
        values, texts = table.floats("value")[here[order[last]]], table.codes("text")[here[order[last]]]
        words = (*table.categories["text"], None)
        for column, text, value in zip(ordered[:, last].T.tolist(), texts.tolist(), values.tolist(), strict=True):
            code, kind_code, name, context, at = column
            key = (
                KINDS[kind_code],
                table.categories["name"][name],
                table.categories["context"][context] if context >= 0 else "",
            )
            mine = self._latest.setdefault(code, {})
            if key not in mine or mine[key][0] <= at:
                mine[key] = (at, words[text], value)

    def _note_findings(self, table: Table, station: NDArray[np.int64]) -> None:
        here = np.flatnonzero(table.where("kind", "finding"))
        start, value = table.codes("start_time"), table.floats("value")
        for row in here.tolist():
            code = table.categories["name"][int(table.codes("name")[row])]
            text = int(table.codes("text")[row])
            severity = table.categories["text"][text] if text >= 0 else ""
            found = (int(start[row]), code, severity, float(value[row]))
            self._findings.setdefault(int(station[row]), []).append(found)

    def done(self) -> _Gathered:
        """All of it, sorted by station."""
        numbers = np.concatenate(self._numbers) if self._numbers else np.empty(0, _NUMBER)
        self._numbers.clear()
        numbers = numbers[np.argsort(numbers["station"], kind="stable")]
        groups = np.concatenate(self._groups) if self._groups else np.empty(0, _GROUP)
        self._groups.clear()
        groups = groups[np.argsort(groups["station"], kind="stable")]
        return _Gathered(numbers, groups, tuple(self._contexts), self._latest, self._findings)


def _kinds(table: Table) -> NDArray[np.int64]:
    """The kind of every row as its place in KINDS, -1 for one that is not known."""
    local = [KINDS.index(kind) if kind in KINDS else -1 for kind in table.categories["kind"]]
    return np.array([*local, -1], np.int64)[table.codes("kind")]


def _global(words: dict[str, int], table: Table, column: str) -> NDArray[np.int64]:
    """Codes of a text column in a dictionary that grows over the shards."""
    local = [words.setdefault(word, len(words)) for word in table.categories[column]]
    return np.array([*local, -1], np.int64)[table.codes(column)]


def _number_rows(
    table: Table,
    here: NDArray[np.bool_],
    station: NDArray[np.int64],
    name: NDArray[np.int64],
    log: NDArray[np.int64],
) -> NDArray[np.void]:
    rows = np.empty(int(here.sum()), _NUMBER)
    rows["station"], rows["name"], rows["log"] = station[here], name[here], log[here]
    rows["start"], rows["n"] = table.codes("start_time")[here], table.codes("n")[here]
    for key in ("value", "lower", "upper"):
        rows[key] = table.floats(key)[here]
    low, high = table.where("text", "lower_bound")[here], table.where("text", "upper_bound")[here]
    rows["bound"] = np.where(low, LOWER_BOUND, np.where(high, UPPER_BOUND, EXACT))
    return rows


def _station_history(gathered: _Gathered, code: int, station: str) -> StationHistory:
    numbers = _slice(gathered.numbers, code)
    order = np.lexsort((numbers["log"], numbers["start"]))
    _, first = np.unique(numbers["log"][order], return_index=True)
    logs = numbers["log"][order][np.sort(first)]
    start = numbers["start"][order][np.sort(first)]
    place = np.zeros(int(logs.max()) + 1 if logs.size else 1, np.int64)
    place[logs] = np.arange(len(logs))
    groups = _slice(gathered.groups, code)
    groups = groups[np.isin(groups["log"], logs)]
    followed = {}
    for index, name in enumerate(NUMBERS):
        rows = numbers[numbers["name"] == index]
        if rows.size:
            mine = groups[groups["name"] == index]
            followed[name] = _followed(rows, place[rows["log"]], len(logs), mine, place[mine["log"]], gathered.contexts)
    latest = {key: (text, value) for key, (_, text, value) in gathered.latest.get(code, {}).items()}
    findings = tuple(sorted(gathered.findings.get(code, ())))
    return StationHistory(station=station, start_us=start, followed=followed, latest=latest, findings=findings)


def _slice(rows: NDArray[np.void], code: int) -> NDArray[np.void]:
    first, last = np.searchsorted(rows["station"], [code, code + 1])
    return rows[first:last]


def _followed(
    rows: NDArray[np.void],
    place: NDArray[np.int64],
    logs: int,
    groups: NDArray[np.void],
    group_place: NDArray[np.int64],
    contexts: tuple[str, ...],
) -> Followed:
    value, lower, upper = (_aligned(rows[key], place, logs) for key in ("value", "lower", "upper"))
    bound = np.zeros(logs, np.int8)
    bound[place] = rows["bound"]
    value = np.where(bound == LOWER_BOUND, lower, np.where(bound == UPPER_BOUND, upper, value))
    known, which = np.unique(groups["context"], return_inverse=True)
    group_value = np.full((logs, len(known)), np.nan)
    group_n = np.zeros((logs, len(known)))
    group_value[group_place, which] = groups["value"]
    group_n[group_place, which] = groups["n"]
    names = tuple(contexts[c] for c in known.tolist())
    return Followed(
        value=value, lower=lower, upper=upper, n=np.nan_to_num(_aligned(rows["n"], place, logs)), bound=bound,
        group_names=names, group_value=group_value, group_n=group_n,
    )  # fmt: skip


def _aligned(values: NDArray[np.generic], place: NDArray[np.int64], logs: int) -> NDArray[np.float64]:
    out = np.full(logs, np.nan)
    out[place] = values
    return out
