"""Columns that hold a digital signal, in whatever form, and the role that their names give them."""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.options.evidence import EVIDENCE
from tracekit.options.writing import WRITING
from tracekit.read.cells import MISSING_WORDS
from tracekit.read.columns import Column
from tracekit.read.eventcells import event_levels, listed_levels
from tracekit.read.head import finite
from tracekit.read.levels import level_of_word, two_levels
from tracekit.read.plateaus import two_plateaus, with_marks
from tracekit.read.rows import carried, levels, valid
from tracekit.read.values import as_text, column_numbers, dictionary_codes, word_codes, word_levels
from tracekit.read.words import Role, fold, hints

LevelKind = Literal["level", "threshold", "word", "bit", "filled", "state", "event"]
ROLES: tuple[Literal["supply", "release", "part_present"], ...] = ("supply", "release", "part_present")

_LISTED = re.compile(r"\s*[/|,;+]\s*")
_SHOWN = 100
_STEP_NAMES = frozenset({"step", "phase", "state", "schritt", "etape", "paso", "passo", "krok", "zustand"})
_WORD_END = 2.0**63  # a number from here on is no word of bits
_WORD_NAMES = frozenset({"word", "di", "dio", "digital", "inputs", "bits", "flags", "status", "io", "byte", "mask"})


_MARKS = frozenset({"x", "X", "\u2022", "\u2713", "\u2714", "\u2717", "\u00d7", "|", "I", "y", "Y", "o", "O"})
"""Marks of on beside empty cells, whatever the column is called (common practice, no source)."""
_MEASURED = frozenset(
    {"°c", "degc", "c", "°f", "degf", "k", "l/min", "nl/min", "l/s", "m3/h", "%rh", "% rh", "mm", "n", "hz"}
)
"""Units of what no switch gives, folded; amperes and volts are left out, since a coil may be written in them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelPlan:
    """How a column becomes levels 0 and 1.

    threshold  values above are 1, for two levels that are not 0 and 1
    bit        position of the bit in a packed word
    filled     1 where a cell holds anything, 0 where it is empty (as a kind)
    words      two words of the log's own for 0 and 1; which of them means on, the pressure tells; of a column of
               states those that mean 1; of a column of events the signal
    beside     the column of levels beside a column of events that names signals alone
    changes    written on change: empty cells hold the level before
    start      level before the first one that is written
    empty      level of an empty cell in a column of states, where those are so many that they mean one; else -1
    """

    column: str
    kind: LevelKind
    threshold: float = 0.5
    bit: int = 0
    words: tuple[str, ...] = ()
    beside: str = ""
    changes: bool = False
    start: int = 0
    empty: int = -1

    @property
    def name(self) -> str:
        """What a station file calls the signal: the column, with the bit of a word, states that mean 1, or an event."""
        if self.kind in ("state", "event"):
            return f"{self.column}.{'+'.join(self.words)}"
        return f"{self.column}.{self.bit}" if self.kind == "bit" else self.column

    def levels(
        self, array: pa.Array, column: Column, beside: tuple[pa.Array, Column] | None = None
    ) -> NDArray[np.int8]:
        """Levels of some rows, -1 where missing, shape (n,); `beside` is the column of levels of listed events."""
        if self.kind == "event":
            signal = self.words[0]
            return event_levels(array, signal) if beside is None else listed_levels(array, *beside, signal)
        if self.kind == "filled":
            return filled_cells(array).astype(np.int8)
        if self.kind == "level" and pa.types.is_int8(array.type):
            return levels(array)
        if self.kind == "state":
            codes, words = word_codes(array)
            return np.array([*(w.strip() in self.words for w in words), self.empty], np.int8)[codes]
        if self.kind == "word":
            return word_levels(array, {word: level for level, word in enumerate(self.words)})
        values = column_numbers(array, column.profile.form)
        known = np.abs(values) < _WORD_END
        filled = np.where(known, values, 0.0)
        if self.kind == "bit":
            found = (filled.astype(np.int64) >> self.bit & 1).astype(np.int8)
        elif self.kind == "threshold":
            found = (filled > self.threshold).astype(np.int8)
        else:
            known &= (filled == 0) | (filled == 1)
            found = (filled == 1).astype(np.int8)
        return np.where(known, found, np.int8(-1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Digital:
    """A digital signal of the first rows. `name` is what a station file calls it; levels (n,) with -1 as missing.

    named_word, based  of a bit: the column is called a word, or is written in figures of base 2 or 16
    listed   among events none of whose signals is named like one of a station
    """

    name: str
    plan: LevelPlan
    levels: NDArray[np.int8]
    weights: Mapping[Role, float]
    named_word: bool = False
    based: bool = False
    listed: bool = False

    @property
    def moves(self) -> bool:
        """Both levels occur."""
        return bool((self.levels == 1).any() and (self.levels == 0).any())


def find_digitals(columns: Sequence[Column], wanted: Sequence[str] = ()) -> list[Digital]:
    """Digital signals among columns; those named in `wanted` are read as such even where they do not look like it."""
    found: list[Digital] = []
    for column in columns:
        plans = _plans(column, wanted=any(w == column.name for w in wanted)) + _states_wanted(column, wanted)
        for plan in plans:
            weights = _roles_of_bit(column, plan.bit) if plan.kind == "bit" else column.hints.roles
            weights = {} if plan.kind == "state" else weights
            own = plan.levels(column.array, column)
            changes = _on_change(column, plan, own)
            found.append(
                Digital(
                    name=plan.name,
                    plan=with_start(plan, own) if changes else plan,
                    levels=held(own) if changes else own,
                    weights=weights,
                    named_word=not _WORD_NAMES.isdisjoint(column.hints.tokens),
                    based=column.profile.form.base != 10,
                )
            )
    return found


def _roles_of_bit(column: Column, bit: int) -> Mapping[Role, float]:
    """What the name of a word says of one of its bits, by the legend beside it or a list of names in it."""
    if column.bits:
        return hints(column.bits[bit]).roles if bit in column.bits else {}
    names = [n for n in _LISTED.split(column.name) if n]
    if column.profile.form.base != 2 or bit >= len(names):
        return {}
    figures = {sum(map(str.isdigit, str(c))) for c in as_text(column.array.drop_null()[:_SHOWN]).to_pylist()}
    if figures != {len(names)}:
        return {}
    return hints(names[len(names) - 1 - bit]).roles


def _on_change(column: Column, plan: LevelPlan, own: NDArray[np.int8]) -> bool:
    """True where most cells are empty and each that is not differs from the one before: written on change alone."""
    filled = filled_cells(column.array)
    if plan.kind in ("filled", "state", "event") or not filled.any() or float(filled.mean()) > WRITING.sparse:
        return False
    values = column.values[np.isfinite(column.values)] if column.kind == "number" else own[own >= 0]
    return len(values) >= WRITING.fewest_changes and float((np.diff(values) != 0).mean()) >= WRITING.changing


def with_start(plan: LevelPlan, own: NDArray[np.int8]) -> LevelPlan:
    """The plan of a signal that is written on change, with the level before its first change; levels of shape (n,)."""
    known = own[own >= 0]
    single = plan.kind != "bit" and len(known) > 0 and own[0] < 0
    return replace(plan, changes=True, start=1 - int(known[0]) if single else 0)


def held(own: NDArray[np.int8]) -> NDArray[np.int8]:
    """Levels that are written on change as they hold, -1 before the first, shape (n,)."""
    return carried(own, own < 0, -1)


def filled_cells(array: pa.Array) -> NDArray[np.bool_]:
    """True where a cell holds anything, shape (n,)."""
    return dictionary_codes(array) >= 0 if pa.types.is_dictionary(array.type) else valid(array)


def _marks_only_on(column: Column) -> bool:
    """True for a column with a single mark for on and empty cells between, many times by turns."""
    if column.kind == "text":
        words = {w.strip() for w in column.words}
        named = any(column.hints.weight(r) >= 0.5 for r in ROLES) or words <= _MARKS
        if len(words) != 1 or not named:
            return False
    elif column.kind in ("level", "number"):
        known = finite(column.values)
        if not len(known) or known.min() != 1.0 or known.max() != 1.0:
            return False
    else:
        return False
    return int((np.diff(filled_cells(column.array).astype(np.int8)) != 0).sum()) >= WRITING.fewest_turns


def _plans(column: Column, *, wanted: bool) -> list[LevelPlan]:
    if _marks_only_on(column):
        return [LevelPlan(column=column.name, kind="filled")]
    if column.kind == "level":
        return [LevelPlan(column=column.name, kind="word", words=_half_known(column))]
    if column.kind == "text":
        words = _two_words(column)
        return [LevelPlan(column=column.name, kind="word", words=words)] if words else []
    known = finite(column.values)
    if column.kind != "number" or len(known) == 0:
        return []
    if _numbered_states(column) and not wanted:
        return []
    states = np.unique(known) if column.levels <= WRITING.most_states else known[:0]
    if len(states) and (set(states.tolist()) <= {0.0, 1.0} or with_marks(known, states)):
        return [LevelPlan(column=column.name, kind="level")]
    if len(states) == 2 and not _is_reading(column, wanted=wanted):
        return [LevelPlan(column=column.name, kind="threshold", threshold=float(states.mean()))]
    named = any(column.hints.weight(role) >= 0.8 for role in ROLES)
    says_word = bool(column.bits) or not _WORD_NAMES.isdisjoint(column.hints.tokens)
    if says_word and not named and column.profile.whole and column.levels > 2:
        kinds = np.unique(known)
        size = WRITING.most_bits if _packed(kinds) else WRITING.long_word  # a sign fills all bits above its own
        if known.min() >= -(2 ** (WRITING.long_word - 1)) and known.max() < 2**WRITING.long_word:
            return [LevelPlan(column=column.name, kind="bit", bit=b) for b in _moving_bits(kinds, size)]
    read = _is_reading(column, wanted=wanted)
    word = 2 < len(states) <= WRITING.most_states and _packed(states) and len(_moving_bits(states)) <= WRITING.few_bits
    counted = word and not named and not wanted and not column.unit.strip()  # whole numbers without a unit: no voltage
    if (
        column.levels > 2
        and not read
        and not counted
        and column.profile.form.base == 10  # figures of another base are words of bits
        and (plateaus := two_plateaus(known, named=named or wanted)) is not None
        and (named or wanted or column.hints.weight("pressure") < 0.9)
    ):
        return [LevelPlan(column=column.name, kind="threshold", threshold=sum(plateaus) / 2)]
    based = column.profile.form.base != 10  # no pressure is written so, whatever the name
    if 2 < len(states) <= WRITING.most_states and _packed(states) and (based or column.hints.weight("pressure") < 0.9):
        bits = _moving_bits(states)
        told = wanted or bool(column.bits) or not _WORD_NAMES.isdisjoint(column.hints.tokens)
        bits = bits if told or len(bits) <= WRITING.few_bits else []
        return [LevelPlan(column=column.name, kind="bit", bit=b) for b in bits]
    return []


def _is_reading(column: Column, *, wanted: bool) -> bool:
    """True for what is measured, however few values it has: no switch stands beside a unit of pressure, heat or flow.

    A supply pressure that drops where the generator draws moves like a valve, the other way round, and is none.
    """
    behind = re.search(r"[\[(](?P<set>[^\])]+)[\])]\s*$|[,/](?P<bare>[^\])\[(,/]+)$", column.name)
    units = [column.unit, *(behind.groups("") if behind is not None else ())]
    other = any(fold(u.strip("[]() ")) in _MEASURED for u in units)
    return (column.hints.pressure_unit is not None or other) and not wanted


def _states_wanted(column: Column, wanted: Sequence[str]) -> list[LevelPlan]:
    """Signals that a station file takes from the states of a column: "state.suction" or "state.suction+hold"."""
    words = {w.strip() for w in column.words} or set(_numbered_states(column))
    named = [parted(w.removeprefix(column.name + "."), words) for w in wanted if w.startswith(column.name + ".")]
    empty = 0 if any(named) and _empty_states(column) else -1
    return [LevelPlan(column=column.name, kind="state", words=n, empty=empty) for n in named if n]


def _empty_states(column: Column) -> bool:
    """True where empty cells, or marks such as "---", are a state of their own: many, and not those between changes."""
    filled = filled_cells(column.array)
    codes, _ = word_codes(column.array)
    turns = np.diff(codes[codes >= 0]) != 0
    on_change = len(turns) >= WRITING.fewest_changes and float(turns.mean()) >= WRITING.changing
    return float(filled.mean()) < 1.0 - WRITING.empty_state and not on_change


def parted(text: str, words: Collection[str]) -> tuple[str, ...]:
    """The states that a text names, parted by "+", which may stand in a state too; empty where one of them is unknown.

    Where a text can be parted in several ways, the longer state comes first.
    """
    if text in words:
        return (text,)
    cuts = [k for k, sign in enumerate(text) if sign == "+"]
    for cut in reversed(cuts):
        rest = parted(text[cut + 1 :], words) if text[:cut] in words else ()
        if rest:
            return (text[:cut], *rest)
    return ()


def together(states: Sequence[str], words: Collection[str]) -> str:
    """Some states as one text, in an order in which it is parted into them again."""
    orders = (states, states[::-1], sorted(states, key=len), sorted(states, key=len, reverse=True))
    return next(("+".join(o) for o in orders if set(parted("+".join(o), words)) == set(states)), "+".join(states))


def state_columns(columns: Sequence[Column]) -> list[tuple[Column, tuple[str, ...]]]:
    """Columns of three and more states, one of which is named like suction or blow-off, and their states."""
    found = [(c, usual_words(c)) for c in columns if c.kind == "text"]
    numbered = [(c, states) for c in columns if (states := _numbered_states(c))]
    return numbered + [
        (c, words)
        for c, words in found
        if WRITING.fewest_states <= len(words) <= WRITING.most_states
        and any(hints(w).weight(role) >= 0.8 for w in words for role in ("supply", "release"))
    ]


def _numbered_states(column: Column) -> tuple[str, ...]:
    """The states of a column that holds one number for each, below nothing too, by its name those of a valve."""
    few = WRITING.fewest_states <= column.levels <= EVIDENCE.most_numbered
    if column.kind != "number" or not column.profile.whole or not few:
        return ()
    states = np.unique(finite(column.values))
    valve = any(column.hints.weight(role) >= 0.5 for role in ("supply", "release")) or "valve" in column.hints.tokens
    step = not _STEP_NAMES.isdisjoint(column.hints.tokens) or bool((states % 10 == 0).all())
    reads = column.hints.pressure_unit is not None or column.hints.weight("pressure") >= 0.5
    timely = column.hints.time_unit is not None or column.hints.weight("time") > 0 or column.hints.sample_number
    reads = reads or timely or column.hints.weight("other") > 0 or len(states) < WRITING.fewest_states
    reads = reads or with_marks(finite(column.values), states)
    known = not reads and not column.bits and (states[0] < 0 if valve else step)
    return tuple(f"{v:.0f}" for v in states[::-1]) if known else ()


def asks(digital: Digital) -> bool:
    """False for what may be anything: bits of a column that is not named a word, and words that mean no level."""
    if digital.plan.kind == "bit":
        return digital.named_word or digital.based
    named = any(digital.weights.get(role, 0.0) >= EVIDENCE.half_weight for role in ROLES)
    return not digital.plan.words or named or digital.listed or two_levels(digital.plan.words)


def _half_known(column: Column) -> tuple[str, ...]:
    """The two words of a column of which one means a level and the other nothing, for 0 and 1; else empty."""
    words = usual_words(column)
    known = [level_of_word(w) for w in words]
    if len(words) != 2 or known.count(None) != 1:
        return ()
    return words if known in ([0, None], [None, 1]) else words[::-1]


def _two_words(column: Column) -> tuple[str, ...]:
    """The two words of a column that takes only two, apart from rare others; empty where it takes more."""
    usual = usual_words(column)
    return usual if len(usual) == 2 else ()


def usual_words(column: Column, share: float = 0.01, fewest: int = 0) -> tuple[str, ...]:
    """The words of a column, sorted, without missing readings and rare ones, in few rows or a small share of them."""
    codes, words = word_codes(column.array)
    counts = np.bincount(codes[codes >= 0], minlength=len(words)) if len(words) else np.empty(0, np.int64)
    least = max(share * counts.sum(), fewest)
    usual = sorted({w.strip() for w, n in zip(words, counts.tolist(), strict=True) if n > least})
    return tuple(w for w in usual if w.casefold() not in MISSING_WORDS and w not in ("0", "1"))


def _packed(states: NDArray[np.float64]) -> bool:
    """True for whole numbers of 16 bits, with or without a sign."""
    whole = bool((states == np.rint(states)).all())
    signed = bool(states.min() >= -(2 ** (WRITING.most_bits - 1)) and states.max() < 2 ** (WRITING.most_bits - 1))
    return whole and (signed or bool(states.min() >= 0)) and bool(states.max() < 2**WRITING.most_bits)


def _moving_bits(states: NDArray[np.float64], most: int = WRITING.most_bits) -> list[int]:
    words = states.astype(np.int64)
    return [b for b in range(most) if 0 < int((words >> b & 1).sum()) < len(words)]


def by_name(digitals: Sequence[Digital]) -> dict[Role, Digital]:
    """Roles that names give without doubt: each to one signal, each signal with one role."""
    result: dict[Role, Digital] = {}
    for role in ROLES:
        ranked = sorted(digitals, key=lambda d: -d.weights.get(role, 0.0))
        if not ranked or ranked[0].weights.get(role, 0.0) < 0.8:
            continue
        best = ranked[0].weights[role]
        rivals = [d for d in ranked[1:] if d.weights.get(role, 0.0) > best - 0.15]
        other = max((ranked[0].weights.get(r, 0.0) for r in ROLES if r != role), default=0.0)
        if not rivals and other < best:
            result[role] = ranked[0]
    return result
