"""Questions about the pressure: which column it is, in what unit, scale and sense."""

import re
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tracekit.model.station import Channel, Station
from tracekit.options.evidence import EVIDENCE
from tracekit.read.columns import Column
from tracekit.read.digitals import Digital, state_columns, together, usual_words
from tracekit.read.head import NO_PRESSURE, Head, Question, finite, joined, spread
from tracekit.read.levels import level_of_word, two_levels
from tracekit.read.multiples import other_way_round
from tracekit.read.values import word_codes
from tracekit.read.words import Role, hints, tokens_of
from tracekit.units import PRESSURE_UNITS, PressureUnit, Sense, pressure_unit

_RAW_UNITS = ("ma", "v", "mv", "volt", "volts", "counts", "count", "adc", "#", "digits", "raw", "lsb", "inc")
_RAW_NAMES = ("adc", "counts", "raw", "digits", "lsb")
_NO_UNITS = ("", "-", "–", "1", "abs", "absolute", "a", "real", "float", "int", "double", "word")
_FULL_COUNTS = (4095.0, 32767.0, 65535.0)  # of converters of 12 and 16 bits
_AMBIENT_KPA = 101.325
_OFFERED, _COMMON = ("kPa", "mbar", "bar", "Pa", "psi", "inHg", "mmHg"), 4
_BY_POINTS = 'scale = [[0.0, 0.0], ["...", "..."]], two points: reading, kPa of gauge pressure'
_EXAMPLES = {
    "ma": "[[4.0, 0.0], [20.0, -101.3]]", "v": "[[0.0, 0.0], [10.0, -101.3]]", "volt": "[[0.0, 0.0], [10.0, -101.3]]",
    "mv": "[[0.0, 0.0], [10000.0, -101.3]]",
}  # fmt: skip


def ask_unit(column: Column) -> Question:
    """The question in what unit, or on what scale, a column is a pressure."""
    low, high = spread(column.values)
    raw = raw_unit(column)
    if column.hints.percent:
        found = f'of what "{column.name}" is a share does not show (readings from {low:.4g} to {high:.4g} %)'
        line = f'pressure = {{ column = "{column.name}", scale = [[0.0, 0.0], [100.0, -100.0]] }}'
        return Question(found=found, line=line + '   # two points of the sensor: %, kPa; or unit = "%", of ambient')
    if not raw:
        found = f'the unit of "{column.name}" does not show (readings from {low:.4g} to {high:.4g})'
        likely = _possible(low, high, _rest(column))
        at_ambient = bool(likely) and _rests_at_ambient(_rest(column), *likely[0])
        scales = _raw_scales(column, volts=not at_ambient)
        if scales:
            return Question(found=found, line=_open_unit(column, likely, "; or ".join(f"scale = {s}" for s in scales)))
        others = _offer(likely, without=1)
        if not likely or not _usual_depth(low, high, *likely[0]) or _never_at_zero(column, likely[0][1]):
            points, end = _from_rest(column)
            line = f'pressure = {{ column = "{column.name}", scale = {points} }}'
            line += f"   # two points of the sensor: reading, kPa of gauge pressure, {end}"
            return Question(found=found, line=line + (f"; or {_offer(likely)}" if likely else ""))
        if not _rests_at_ambient(_rest(column), *likely[0]) and _nearly_as_likely(low, high, likely):
            return Question(found=found, line=_open_unit(column, likely))
        unit, sense = likely[0]
        line = f'pressure = {{ column = "{column.name}", unit = "{unit}", sense = "{sense}" }}'
        return Question(found=found, line=line + (f"   # or {others}" if others else ""))
    found = f'the scale of "{column.name}" from {raw} to kPa does not show (readings from {low:.4g} to {high:.4g})'
    points, end = _live_zero(column, raw.casefold()) or _EXAMPLES.get(raw.casefold(), ""), ""
    if not points:
        points, end = _from_rest(column)
    line = f'pressure = {{ column = "{column.name}", scale = {points} }}'
    return Question(found=found, line=line + f"   # two points of the sensor: {raw}, kPa" + (end and f", {end}"))


def _open_unit(column: Column, likely: Sequence[tuple[str, Sense]], otherwise: str = "") -> str:
    """A line with the unit left to fill in, and those that are worth trying; none is right without being known."""
    offered = _offer(likely)
    line = f'pressure = {{ column = "{column.name}", unit = "...", sense = "..." }}'
    return line + f"   # {'; or '.join(filter(None, (offered, otherwise)))}"


def _rests_at_ambient(rest: float, unit: str, sense: Sense) -> bool:
    """True where a unit makes ambient of the reading that comes most often, which few units do."""
    return sense == "absolute" and abs(rest * pressure_unit(unit).kpa - _AMBIENT_KPA) < EVIDENCE.ambient_off_kpa


def _never_at_zero(column: Column, sense: Sense) -> bool:
    """True where hardly any reading lies near zero, at which gauge pressure and vacuum rest: a raw signal."""
    low, high = spread(column.values)
    near = np.abs(column.values) < EVIDENCE.near_rest * (high - low)
    return sense != "absolute" and float(near.mean()) < EVIDENCE.rests_share


def _raw_scales(column: Column, *, volts: bool) -> list[str]:
    """Scales of raw signals that readings without a unit may be: 4 to 20 mA and 1 to 5 V rest there; 0 to 10 V."""
    known = finite(column.values)
    low, high = float(known.min()), float(known.max())
    found = []
    for rest, full in ((4.0 * EVIDENCE.live_zero, 20.0 * EVIDENCE.live_zero), (EVIDENCE.live_zero, 5.0)):
        off = EVIDENCE.live_zero_off * rest
        if low >= 0.0 and high <= full + off and float((np.abs(known - rest) < off).mean()) > EVIDENCE.live_zero_share:
            found.append(f"[[{rest}, 0.0], [{full}, {EVIDENCE.full_scale_kpa}]]")
    volts &= low > -EVIDENCE.live_zero / 2 and 2.0 * EVIDENCE.live_zero < high < 10.5 * EVIDENCE.live_zero
    return found or ([f"[[0.0, 0.0], [10.0, {EVIDENCE.full_scale_kpa}]]"] if volts else [])


def _nearly_as_likely(low: float, high: float, likely: Sequence[tuple[str, Sense]]) -> bool:
    """True where a second unit makes a usual vacuum of readings too, and another one than the first."""
    depths = []
    for unit, sense in likely[:2]:
        kpa = pressure_unit(unit).kpa
        depths.append(_depth_kpa(low * kpa, high * kpa, sense))
    usual = [abs(np.log(d / EVIDENCE.usual_vacuum_kpa)) < np.log(EVIDENCE.usual_factor) for d in depths]
    return len(depths) > 1 and all(usual)


def _live_zero(column: Column, raw: str) -> str:
    """Two points of a transmitter of 1 to 5 V where most readings lie at 1 V and none beyond; empty elsewhere."""
    size = {"v": 1.0, "volt": 1.0, "volts": 1.0, "mv": 1000.0}.get(raw, 0.0)
    values, often = np.unique(finite(column.values), return_counts=True)
    if not size or len(values) == 0:
        return ""
    near = np.abs(values / size - EVIDENCE.live_zero) < EVIDENCE.live_zero_off
    highest, full = spread(values)[1] / size, 5.0 * EVIDENCE.live_zero
    if often[near].sum() < EVIDENCE.live_zero_share * often.sum() or highest > full + EVIDENCE.live_zero_off:
        return ""
    return f"[[{EVIDENCE.live_zero * size}, 0.0], [{full * size}, {EVIDENCE.full_scale_kpa}]]"


def _rest(column: Column) -> float:
    """The reading that comes most often."""
    values, often = np.unique(finite(column.values), return_counts=True)
    return float(values[often.argmax()]) if len(values) else 0.0


def _from_rest(column: Column) -> tuple[str, str]:
    """Two points of a scale, the second to be filled in, and an example for it.

    The first is where most readings are, perhaps ambient; the farthest or a converter's end do not tell their kPa.
    """
    rest, (low, high) = _rest(column), spread(finite(column.values))
    end = high if high - rest > rest - low else low
    if column.profile.whole and end > rest:
        end = next((t for t in _FULL_COUNTS if end <= t), end)
    kpa = EVIDENCE.full_scale_kpa if end in _FULL_COUNTS else EVIDENCE.deep_kpa
    return f'[[{rest:g}, 0.0], ["...", "..."]]', f"as [{end:g}, {kpa}]"


def _possible(low: float, high: float, rest: float) -> list[tuple[str, Sense]]:
    """Units and senses in which readings are a station's vacuum, the likeliest first; `rest` is where most are."""
    found = []
    for place, symbol in enumerate(_OFFERED):
        kpa = pressure_unit(symbol).kpa
        sense = _possible_sense(low * kpa, high * kpa)
        if sense is not None:
            at_ambient = _rests_at_ambient(rest, symbol, sense)
            depth = _depth_kpa(low * kpa, high * kpa, sense) / EVIDENCE.usual_vacuum_kpa
            off = 0.0 if at_ambient else abs(np.log(depth)) + EVIDENCE.rarer_unit * (place >= _COMMON)
            found.append((float(off), place, symbol, sense))
    return [(symbol, sense) for *_, symbol, sense in sorted(found)]


def _offer(likely: Sequence[tuple[str, Sense]], without: int = 0) -> str:
    """Units and senses as alternatives of a line, but for the first ones, with those of nearly the same size.

    Readings cannot tell such units apart: bar, kgf/cm2 and atm.
    """
    every: list[tuple[str, Sense]] = []
    for symbol, sense in likely:
        kpa = pressure_unit(symbol).kpa
        off = sorted((abs(u.kpa / kpa - 1.0), u.symbol) for u in PRESSURE_UNITS)
        alike = [(other, sense) for share, other in off if EVIDENCE.same_unit < share < EVIDENCE.twin_unit]
        every += [one for one in ((symbol, sense), *alike) if one not in every]
    return "; or ".join(f'unit = "{unit}", sense = "{sense}"' for unit, sense in every[without:])


def _depth_kpa(low_kpa: float, high_kpa: float, sense: Sense) -> float:
    """The vacuum that readings reach in some sense [kPa]."""
    depth = {"gauge": -low_kpa, "vacuum": high_kpa, "absolute": high_kpa - low_kpa}[sense]
    return max(depth, EVIDENCE.least_vacuum_kpa)


def _usual_depth(low: float, high: float, unit: str, sense: Sense) -> bool:
    """False where a unit makes a vacuum of readings that stations seldom have, so that a scale is likelier."""
    kpa = pressure_unit(unit).kpa
    return _depth_kpa(low * kpa, high * kpa, sense) >= EVIDENCE.seldom_vacuum_kpa


def _possible_sense(low_kpa: float, high_kpa: float) -> Sense | None:
    """The sense in which readings go from near ambient to a vacuum, None where they do so in none."""
    if (
        EVIDENCE.least_vacuum_kpa < -low_kpa < EVIDENCE.most_vacuum_kpa
        and EVIDENCE.idle_share * low_kpa < high_kpa < EVIDENCE.blown_kpa
    ):
        return "gauge"
    if (
        low_kpa > EVIDENCE.least_absolute_kpa
        and EVIDENCE.least_ambient_kpa < high_kpa < EVIDENCE.most_absolute_kpa
        and high_kpa - low_kpa > EVIDENCE.least_vacuum_kpa
    ):
        return "absolute"
    return (
        "vacuum"
        if EVIDENCE.least_vacuum_kpa < high_kpa < EVIDENCE.most_vacuum_kpa
        and -EVIDENCE.blown_kpa < low_kpa < EVIDENCE.idle_share * high_kpa
        else None
    )


def raw_unit(column: Column) -> str:
    """The unit of a reading that is no pressure yet, as it is written; empty where none stands with the column."""
    found = [t for t in _written_units(column) if t.casefold() in _RAW_UNITS]
    named = [t for t in (t.rstrip("0123456789") for t in column.hints.tokens) if t in _RAW_NAMES]
    return found[0] if found else next((t for t in column.hints.tokens[1:] if t in _RAW_UNITS), *named[:1] or [""])


def strange_unit(column: Column) -> bool:
    """True where something stands with the column that is no unit of pressure and means more than "no unit"."""
    return any(t.casefold() not in _NO_UNITS for t in _written_units(column))


def _written_units(column: Column) -> list[str]:
    """Units that stand with a column, in its row of units or in brackets in its name."""
    return [column.unit.strip("[]() "), *(t.strip() for t in re.findall(r"[\[(]([^\])]*)[\])]", column.name))]


def ask_sense(column: Column, unit: PressureUnit, raw: NDArray[np.float64]) -> Question:
    """The question in what sense a column is a pressure; `raw` are its readings, shape (n,)."""
    low, high = spread(raw)
    kpa = (low * unit.kpa, high * unit.kpa)
    turned = other_way_round(unit)
    if turned is not None:
        return _by_factor(column, (unit, turned), low, high)
    if max(-kpa[0], kpa[1]) > EVIDENCE.most_kpa and not (kpa[0] >= 0 and kpa[1] - kpa[0] < EVIDENCE.most_kpa):
        found = f'"{column.name}" reads from {low:.4g} to {high:.4g} {unit.symbol}, which no vacuum reaches'
        return Question(found=found, line=_open_unit(column, _possible(low, high, _rest(column)), _BY_POINTS))
    found = (
        f'"{column.name}" reads from {low:.4g} to {high:.4g} {unit.symbol}; as gauge that is a vacuum of up to '
        f"{max(-kpa[0], 0):.0f} kPa, as vacuum {max(kpa[1], 0):.0f} kPa, as absolute {max(101.3 - kpa[0], 0):.0f} kPa"
    )
    sense = _possible_sense(*kpa)
    if sense is None and max(-kpa[0], kpa[1]) < EVIDENCE.least_vacuum_kpa:
        likely = [(u, s) for u, s in _possible(low, high, _rest(column)) if u != unit.symbol]
        if likely:
            return Question(found=found, line=_open_unit(column, likely, f'unit = "{unit.symbol}" if that is right'))
    sense = sense or "gauge"
    others = ", or ".join(s for s in ("gauge", "absolute", "vacuum") if s != sense)
    line = f'pressure = {{ column = "{column.name}", unit = "{unit.symbol}", sense = "{sense}" }}'
    return Question(found=found, line=line + f"   # or {others}")


def _by_factor(column: Column, units: Sequence[PressureUnit], low: float, high: float) -> Question:
    """The question which way round a factor behind a unit is meant, as two points of a line for each."""
    senses = {u: _possible_sense(low * u.kpa, high * u.kpa) for u in units}
    likely = [u for u in units if senses[u]] or list(units)
    scales = [_points(u.kpa, senses[u] or "gauge", 100.0) for u in likely]
    found = f'what the factor in "{column.name}" means is not sure: readings from {low:.4g} to {high:.4g}'
    others = "".join(f"; or scale = {s}" for s in scales[1:])
    line = f'pressure = {{ column = "{column.name}", scale = {scales[0]} }}   # two points: reading, kPa of gauge'
    return Question(found=found, line=line + others)


def _points(kpa: float, sense: Sense, reading: float) -> str:
    """Two points of a line from readings, whose unit is so many kPa, to gauge pressure."""
    if sense == "absolute":
        return f"[[0.0, -101.3], [{101.3 / kpa:.6g}, 0.0]]"
    return f"[[0.0, 0.0], [{reading}, {(-1 if sense == 'vacuum' else 1) * reading * kpa:.6g}]]"


def ask_column(columns: list[Column]) -> Question:
    """The question which of several columns, likelier ones first, is the pressure."""
    if not columns:
        return Question(found=NO_PRESSURE, line='pressure = { column = "...", unit = "kPa", sense = "gauge" }')
    found = f"several columns may be the pressure: {joined(c.name for c in columns)}"
    sure = all(c.hints.pressure_unit for c in columns)
    low, high = spread(columns[0].values)
    symbol, sense = next(iter(_possible(low, high, _rest(columns[0]))), ("kPa", "gauge"))
    unit = "" if sure else f', unit = "{symbol}", sense = "{sense}"'
    return Question(found=found, line=f'pressure = {{ column = "{columns[0].name}"{unit} }}')


def ask_states(head: Head, station: Station, kpa: NDArray[np.float64]) -> list[Question]:
    """The questions in which states of a column suction and blow-off are on; none where the station file tells.

    kpa  gauge pressure of the first rows, shape (n,): it falls in the state of suction, and rises in that of blow-off
    """
    settled = {c.column for c in station.channels.values()} | set(station.context)
    likely = [*state_columns(head.columns), *_moving_states(head, kpa)]
    open_columns = [(c, words) for c, words in likely if c.name not in settled]
    if not open_columns or "supply" in station.channels:
        return []
    column, words = open_columns[0]
    words = words if column.kind == "number" else usual_words(column, 0.0, EVIDENCE.fewest_rows_of_state)
    found = (
        f'"{column.name}" holds the states {joined(words)}; in which of them suction and blow-off are on does not show'
    )
    roles: list[Role] = ["supply", "release", "part_present"]
    named = {r: _with_others(words, _states_of(words, r)) for r in roles}
    fall = _falls(column, words, kpa)
    falling = _by_fall(column, words, kpa)
    making = _like(column, falling, fall)
    if column.kind == "number" or falling[0] not in named["supply"]:
        named |= {"supply": making, "release": named["release"] or _like(column, falling[::-1], fall)}
    else:
        named |= {"supply": [*named["supply"], *(w for w in making if w not in named["supply"])]}
    remark = f'   # several as "{column.name}.{words[0]}+{words[1]}"; or context = ["{column.name}"] to leave it aside'
    lines = {r: f'{r} = "{column.name}.{together(own or words[:1], words)}"' for r, own in named.items()}
    return [
        Question(found=found, line=lines[role] + remark * (role == "supply"))
        for role, own in named.items()
        if own or role == "supply"
    ]


def _like(column: Column, ordered: Sequence[str], change: Mapping[str, float]) -> list[str]:
    """The first of some states and those in which the pressure changes the same way, as much, and about as fast.

    A state of rest holds the tails of other changes: it is long, and so its change is slow.
    """
    codes, known = word_codes(column.array)
    rows = {word.strip().removesuffix(".0"): int((codes == k).sum()) for k, word in enumerate(known)}
    speed = {w: change[w] / max(rows.get(w, 0), 1) for w in ordered}
    first = ordered[0]
    also = EVIDENCE.also_changes
    return (
        [first] + [w for w in ordered[1:] if change[w] / change[first] > also and speed[w] / speed[first] > also]
        if change[first]
        else [first]
    )


def _moving_states(head: Head, kpa: NDArray[np.float64]) -> list[tuple[Column, tuple[str, ...]]]:
    """Columns of a few words in one of which the pressure falls again and again, whatever they mean."""
    low, high = spread(kpa)
    texts = [c for c in head.columns if c.kind == "text" and len(c.words) <= EVIDENCE.most_numbered]
    few = [(c, words) for c in texts if not two_levels(words := usual_words(c))]
    return [
        (c, words)
        for c, words in few
        if len(words) > 1 and _falls(c, words, kpa)[_by_fall(c, words, kpa)[0]] < -EVIDENCE.state_falls * (high - low)
    ]


def _by_fall(column: Column, words: Sequence[str], kpa: NDArray[np.float64]) -> list[str]:
    """The states in the order in which the pressure falls in them."""
    fall = _falls(column, words, kpa)
    return sorted(words, key=lambda w: fall[w])


def _falls(column: Column, words: Sequence[str], kpa: NDArray[np.float64]) -> dict[str, float]:
    """The change of the pressure in all rows of each state together [kPa]."""
    codes, known = word_codes(column.array)
    place = {word.strip().removesuffix(".0"): k for k, word in enumerate(known)}
    steps = np.diff(kpa, append=kpa[-1:])
    return {w: float(np.nansum(steps[codes == place.get(w, -2)])) for w in words}


def _with_others(words: Sequence[str], named: list[str]) -> list[str]:
    """The named states with those that hold one of them beside other things, "suction+part" for "suction"."""
    more = [w for w in words if w not in named and not set(named).isdisjoint(re.split(r"\s*[+&,/|]\s*", w))]
    return [*named, *more]


def _states_of(words: Sequence[str], role: Role) -> list[str]:
    """The first state that is named like a signal, one that does not say that it is off where there is such."""
    named = [w for w in words if hints(w).weight(role) >= 0.8]
    return (named and [w for w in named if 0 not in map(level_of_word, tokens_of(w))][:1]) or named[:1]


def ask_coils(digitals: Sequence[Digital], channels: Mapping[str, Channel]) -> list[Question]:
    """The question whether two signals of suction, named on and off and hardly on at once, are the coils of a valve."""
    if "supply" in channels:
        return []
    coils = [d for d in digitals if d.moves and d.weights.get("supply", 0.0) >= 0.5]
    said = {d.name: {level_of_word(t) for t in tokens_of(d.name)} - {None} for d in coils}
    pairs = [(a, b) for a in coils for b in coils if said[a.name] == {1} and said[b.name] == {0}]
    if len(pairs) != 1:
        return []
    first, second = (d.levels == 1 for d in pairs[0])
    if (first & second).sum() > EVIDENCE.both_on_share * min(first.sum(), second.sum()):
        return []
    on, off = (d.name for d in pairs[0])
    found = f'"{on}" and "{off}" look like the two coils of a valve that stays where the last pulse put it'
    line = f'supply = {{ column = "{on}", signal = "pulse", off_column = "{off}" }}'
    return [Question(found=found, line=line + f'   # or supply = "{on}" where that stays on while it sucks')]
