"""A known recording in stretches: events apart from samples, a channel after the other, digitals where they change."""

from collections.abc import Callable, Sequence

from tests.read.dialects import Recording
from tests.read.unusual_logs import levels, stamp

NAMES = ("supply", "release", "part_present")
HEAD = "time_s,pressure_kpa,supply,release,part_present"
Change = tuple[int, int, int]


def changes(rec: Recording) -> list[Change]:
    """Row, signal and level of each change, the first row among them."""
    bits = levels(rec)
    rows = range(len(rec.time_s))
    return [(i, k, bits[k][i]) for i in rows for k in range(3) if i == 0 or bits[k][i] != bits[k][i - 1]]


def before(rec: Recording, row: int) -> str:
    """A time just before that of a row."""
    return f"{rec.time_s[row] - 0.001 * (row > 0):.3f}"


def samples(rec: Recording, rest: str) -> list[str]:
    """Rows of samples, with something behind."""
    return [f"{t:.3f},{k:.3f}{rest}" for t, k in zip(rec.time_s, rec.pressure_kpa, strict=True)]


def cells(own: Sequence[tuple[int, int]], words: Sequence[str] = ("0", "1")) -> str:
    """The cells of three signals, empty where one does not change."""
    return ",".join(next((words[v] for k, v in own if k == place), "") for place in range(3))


def worded(rec: Recording) -> list[str]:
    """Rows of events such as "supply ON"."""
    return [f"{before(rec, i)},,{NAMES[k]} {('OFF', 'ON')[v]}" for i, k, v in changes(rec)]


def events_below(rec: Recording) -> list[str]:
    """Events behind all samples."""
    return ["time_s,pressure_kpa,event", *samples(rec, ","), *worded(rec)]


def events_above(rec: Recording) -> list[str]:
    """Events before all samples."""
    return ["time_s,pressure_kpa,event", *worded(rec), *samples(rec, ",")]


def events_by_signal(rec: Recording) -> list[str]:
    """All events of a signal before those of the next, behind all samples; the level stands first."""
    rows = [f"{before(rec, i)},,{('off', 'on')[v]} {NAMES[k]}" for i, k, v in sorted(changes(rec), key=lambda c: c[1])]
    return ["time_s,pressure_kpa,event", *samples(rec, ","), *rows]


def events_between(rec: Recording) -> list[str]:
    """Events among the samples."""
    rows = [(float(row.partition(",")[0]), row) for row in [*worded(rec), *samples(rec, ",")]]
    return ["time_s,pressure_kpa,event", *(row for _, row in sorted(rows, key=lambda r: r[0]))]


def events_beside(rec: Recording) -> list[str]:
    """Events in a column beside the samples, several in one cell."""
    own: dict[int, list[str]] = {}
    for i, k, v in changes(rec):
        own.setdefault(i, []).append(f"{NAMES[k]}={v}")
    rows = [f"{row},{' + '.join(own.get(i, []))}" for i, row in enumerate(samples(rec, ""))]
    return ["time_s,pressure_kpa,event", *rows]


def events_listed(rec: Recording) -> list[str]:
    """Names of signals and their levels in columns of their own, behind all samples."""
    rows = [f"{before(rec, i)},,{NAMES[k]},{v}" for i, k, v in changes(rec)]
    return ["time_s,pressure_kpa,signal,state", *samples(rec, ",,"), *rows]


def digitals_below(rec: Recording) -> list[str]:
    """Changes of the digitals in their columns, behind all samples."""
    rows = [f"{before(rec, i)},,{cells([(k, v)])}" for i, k, v in changes(rec)]
    return [HEAD, *samples(rec, ",,,"), *rows]


def digitals_between(rec: Recording) -> list[str]:
    """Changes of the digitals in rows of their own, with the time of the next sample."""
    rows = samples(rec, ",,,")
    for i, k, v in reversed(changes(rec)):
        rows.insert(i, f"{rec.time_s[i]:.3f},,{cells([(k, v)])}")
    return [HEAD, *rows]


def digitals_on_change(rec: Recording) -> list[str]:
    """Cells of the digitals are empty but where they change; the first level is not written."""
    own: dict[int, list[tuple[int, int]]] = {}
    for i, k, v in changes(rec):
        own.setdefault(i, []).append((k, v))
    return [
        HEAD,
        *(f"{row},{cells(own.get(i, []) if i else [], ('OFF', 'ON'))}" for i, row in enumerate(samples(rec, ""))),
    ]


def channels_apart(rec: Recording) -> list[str]:
    """All readings of a channel, then all changes of the next, the pressure in the middle."""
    rows = ["time,tag,value"]
    for k in (1, 3, 0, 2):
        if k == 3:
            own = enumerate(rec.pressure_kpa)
            rows += [f"{stamp(rec.time_s[i]).isoformat(timespec='milliseconds')},Pressure_kPa,{p:.3f}" for i, p in own]
        else:
            own_changes = [(i, v) for i, place, v in changes(rec) if place == k]
            rows += [
                f"{stamp(rec.time_s[i]).isoformat(timespec='milliseconds')},{NAMES[k]},{v}" for i, v in own_changes
            ]
    return rows


def channels_whole(rec: Recording) -> list[str]:
    """All readings of a channel, then all of the next, with a time of day alone."""
    clock = [f"{stamp(t):%H:%M:%S.%f}"[:-3] for t in rec.time_s + 49_335]  # passes midnight
    bits = levels(rec)
    channels = zip(("p [kPa]", *NAMES), ([f"{p:.3f}" for p in rec.pressure_kpa], *bits), strict=True)
    return ["channel;clock;value"] + [f"{n};{c};{v}" for n, own in channels for c, v in zip(clock, own, strict=True)]


STRETCHED: dict[str, Callable[[Recording], list[str]]] = {
    f.__name__: f
    for f in (
        events_below, events_above, events_by_signal, events_between, events_beside, events_listed, digitals_below,
        digitals_between, digitals_on_change, channels_apart, channels_whole,
    )
}  # fmt: skip
