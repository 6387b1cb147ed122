"""What each column of a file holds, seen from its first rows."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from typing import Literal

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from tracekit.errors import LogReadError, message
from tracekit.frozen import dataclass
from tracekit.options.evidence import EVIDENCE
from tracekit.read.cells import NUMBER, TRAILED, cell_kind, number_with_unit
from tracekit.read.levels import level_of_word
from tracekit.read.stampform import StampForm
from tracekit.read.stamps import find_form
from tracekit.read.values import NumberForm, as_text, column_numbers, is_texty, word_codes, word_levels
from tracekit.read.words import NameHints, hints

ColumnKind = Literal["number", "stamp", "moment", "level", "array", "text", "empty"]

_PACKED = re.compile(
    r"(?:19|20)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])"
    r"(?:[012]\d[0-5]\d[0-6]\d(?:\d{3}|[.,]\d{1,9})?)?"
)
_LIST = re.compile(r".*[\[(]\s*[+-]?\d[\d.eE+-]*(?:\s*[,; ]\s*[+-]?\d[\d.eE+-]*)+\s*[\])].*")
_BRACKETS = re.compile(r"[\[(]\s*[+-]?\d[^\])\[(]*[\])]")
_ITEM = re.compile(r"[+-]?\d[\d.eE+-]*")
_HEX = re.compile(r"(?:0x|16#|\$)[0-9a-f]{1,8}|[0-9][0-9a-f]{0,7}h", re.IGNORECASE)
_BINARY = re.compile(r"(?:0b|2#|b)[01]{1,32}", re.IGNORECASE)
_PARTED_BITS = re.compile(r"[01](?P<mark>[/|])[01](?:(?P=mark)[01])*|[01](?P<other>[-.;])[01](?:(?P=other)[01])+")
_MOST, _MOST_ITEMS = 0.9, 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """The kind of a column of text, and how its values are written; `mixed` where words may stand among numbers."""

    kind: ColumnKind
    form: NumberForm = field(default_factory=NumberForm)
    stamp: StampForm | None = None
    whole: bool = False
    mixed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column and its first rows.

    array    the rows as Arrow holds them
    source   the column of the file that it is taken from, where that has another name
    item     position in the lists that the source holds, counted from 0; None where it holds none
    values   numbers, or levels 0 and 1 of words, NaN where missing; empty for other kinds, shape (n,) or (0,)
    cells    some of the texts, for a stamp or text column
    words    the different words of a text column, at most a few hundred
    beside   a second column with which this one makes a reading: the middle of both
    bits     names of the bits of a word, by their places, where a legend tells them
    levels   how many different values a column of numbers takes, seen in some 20 000 rows
    """

    name: str
    unit: str
    profile: Profile
    array: pa.Array
    values: NDArray[np.float64]
    cells: tuple[str, ...]
    words: tuple[str, ...]
    hints: NameHints
    levels: int = 0
    source: str = ""
    item: int | None = None
    beside: str = ""
    bits: Mapping[int, str] = field(default_factory=dict)

    @property
    def kind(self) -> ColumnKind:
        """What the column holds."""
        return self.profile.kind


def profile_cells(cells: Sequence[str]) -> Profile:
    """The kind of a column by some of its cells."""
    written = [c.strip() for c in cells]
    kinds = [cell_kind(c) for c in written]
    counts = Counter(kinds)
    total = sum(n for kind, n in counts.items() if kind != "missing")
    if total == 0:
        return Profile(kind="empty")
    filled = [c for c, kind in zip(written, kinds, strict=True) if kind != "missing"]
    base = _base_of(filled)
    if base != 10:
        return Profile(kind="number", form=NumberForm(base=base), whole=True)
    if all(_PACKED.fullmatch(c) for c in filled):
        return Profile(kind="stamp", stamp=find_form(filled))
    if counts["number"] >= _MOST * total:
        found = [c for c in filled if NUMBER.fullmatch(c)]
        return Profile(kind="number", form=number_form(found), whole=all(c.lstrip("+-").isdigit() for c in found))
    if counts["time"] >= _MOST * total:
        stamp = find_form(filled)
        return Profile(kind="stamp" if stamp else "text", stamp=stamp)
    if sum(1 for c in filled if level_of_word(c) is not None or c in ("0", "1")) >= _MOST * total:
        return Profile(kind="level")
    units = Counter(found[1] for found in map(number_with_unit, filled) if found)
    if units and units.most_common(1)[0][1] >= _MOST * total:
        unit = units.most_common(1)[0][0]
        bare = [found[0] for found in map(number_with_unit, filled) if found]
        form = number_form(bare)
        return Profile(kind="number", form=NumberForm(decimal=form.decimal, mark=form.mark, suffix=unit))
    if sum(1 for c in filled if _LIST.fullmatch(c)) >= _MOST * total:
        return Profile(kind="array")
    return Profile(kind="text")


def padded_hex(cells: Sequence[str]) -> bool:
    """True for figures of one width, 4 or 8, some with a zero first: a word in base 16 where its name says word."""
    widths = {len(c) for c in cells}
    return widths <= {4, 8} and len(widths) == 1 and len(set(cells)) > 1 and any(c[0] == "0" for c in cells)


def _base_of(cells: Sequence[str]) -> int:
    """16 or 2 for words of bits in such figures, 10 for all else.

    Bare figures 0 and 1 are bits where all cells have the same number of them, three at least, some with a zero first.
    """
    for base, pattern in ((16, _HEX), (2, _BINARY)):
        if all(pattern.fullmatch(c) for c in cells):
            return base
    even = len({len(c) for c in cells}) == 1 and len(set(cells)) > 1
    if even and all(_PARTED_BITS.fullmatch(c) for c in cells):
        return 2  # levels side by side: "1/0/1"
    bare = even and len(cells[0]) >= 3
    return 2 if bare and any(c[0] == "0" for c in cells) and all(set(c) <= {"0", "1"} for c in cells) else 10


def number_form(cells: Sequence[str]) -> NumberForm:
    """How numbers are written: decimal sign, thousands mark, a sign of per cent or a minus behind them."""
    text = "\n".join(cells)  # a mark that none of them holds need not be looked for in each
    if "%" in text and sum(c.endswith("%") for c in cells) >= _MOST * len(cells):
        return replace(number_form([c.rstrip("% ") for c in cells]), suffix="%")
    if "-" in text and sum(TRAILED.fullmatch(c) is not None for c in cells) > sum(c.startswith("-") for c in cells):
        return replace(number_form([c.removesuffix("-") for c in cells]), trailed=True)
    if "d" in text or "D" in text:
        return replace(number_form([c.replace("D", "e").replace("d", "e") for c in cells]), power_d=True)
    for mark in ("'", "\u2019", " ", "\u00a0", "\u202f"):
        if mark in text:
            return NumberForm(decimal="," if "," in text else ".", mark=mark)
    both = [c for c in cells if "," in c and "." in c] if "," in text else []
    if both:
        decimal = both[0][max(both[0].rfind(","), both[0].rfind("."))]
        return NumberForm(decimal=decimal, mark="." if decimal == "," else ",")
    for mark, other in ((".", ","), (",", ".")):
        if mark in text and (any(c.count(mark) > 1 for c in cells) or _thousands(cells, mark)):
            return NumberForm(decimal=other, mark=mark)
    return NumberForm(decimal="," if "," in text else ".")


def _thousands(cells: Sequence[str], mark: str) -> bool:
    """True where a mark parts thousands: three figures follow it, and numbers without it are whole and below 1000."""
    bearing = [c.lstrip("+-") for c in cells if mark in c]
    bare = [c.lstrip("+-") for c in cells if mark not in c]
    if len(bearing) < 3 or not bare:
        return False
    grouped = all(len(c) - c.index(mark) == 4 and 1 <= c.index(mark) <= 3 and c[0] != "0" for c in bearing)
    return grouped and all(c.isdigit() and len(c) <= 3 for c in bare)


def make_column(name: str, unit: str, profile: Profile, array: pa.Array, cells: Sequence[str] = ()) -> Column:
    """A column with its values taken from the first rows."""
    values: NDArray[np.float64] = np.empty(0)
    words: tuple[str, ...] = ()
    if profile.kind == "number":
        values = _readable(column_numbers(array, profile.form))
    elif profile.kind == "level":
        found = word_levels(array, {}).astype(np.float64)
        values = np.where(found < 0, np.nan, found)
    elif profile.kind == "text":
        words = word_codes(array)[1][:500]
    unit = unit or profile.form.suffix
    return Column(
        name=name,
        unit=unit,
        profile=profile,
        array=array,
        values=values,
        cells=tuple(cells),
        words=words,
        hints=hints(name, unit),
        levels=_levels(values),
    )


def _readable(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Numbers that a reading can be, NaN for the others."""
    finite = np.isfinite(values)
    values = values if finite.all() else np.where(finite, values, np.nan)  # a NaN that signals warns where it is used
    beyond = np.abs(values) > EVIDENCE.most_number
    return np.where(beyond, np.nan, values) if beyond.any() else values


def _levels(values: NDArray[np.float64]) -> int:
    finite = values[np.isfinite(values)]
    return len(np.unique(finite[:: max(len(finite) // 20000, 1)]))


def typed_profile(array: pa.Array) -> Profile:
    """The kind of a column of a file that has types."""
    kind = array.type.value_type if pa.types.is_dictionary(array.type) else array.type
    if pa.types.is_null(kind) or array.null_count == len(array):
        return Profile(kind="empty")
    if is_texty(array):
        return profile_cells(spread_texts(array))
    if pa.types.is_timestamp(kind) or pa.types.is_time(kind) or pa.types.is_duration(kind) or pa.types.is_date(kind):
        return Profile(kind="moment")
    if pa.types.is_boolean(kind) or pa.types.is_integer(kind):
        return Profile(kind="number", whole=True)
    if pa.types.is_floating(kind) or pa.types.is_decimal(kind):
        return Profile(kind="number")
    if holds_lists(kind):
        return Profile(kind="array" if _numeric(kind.value_type) else "empty")
    return Profile(kind="empty" if pa.types.is_nested(kind) else "text")


def holds_lists(kind: pa.DataType) -> bool:
    """True for a type of lists."""
    return bool(pa.types.is_list(kind) or pa.types.is_fixed_size_list(kind) or pa.types.is_large_list(kind))


def most_items() -> int:
    """Most values in a list whose places are channels."""
    return _MOST_ITEMS


def _numeric(kind: pa.DataType) -> bool:
    return bool(pa.types.is_integer(kind) or pa.types.is_floating(kind))


def spread_texts(array: pa.Array, most: int = 600) -> list[str]:
    """Some texts of a column: the first, and others spread evenly."""
    size = len(array)
    index = sorted({*range(min(size, most // 2)), *range(0, size, max(size // (most // 2), 1))})
    picked = [array[i].as_py() for i in index]
    return [v.decode("cp1252", "replace") if isinstance(v, bytes) else str(v) for v in picked if v is not None]


def item_columns(column: Column) -> list[Column]:
    """A column for each item of the lists that a column holds; the column itself where it holds none.

    Raises LogReadError where the lists are longer than channels are many: then they are samples.
    """
    if column.kind != "array":
        return [column]
    nested = pa.types.is_nested(column.array.type)
    first = next((v for v in column.array[:1000].to_pylist() if v is not None), None)
    size = len(first) if nested and first is not None else len(_ITEM.findall(_inside(column.cells)))
    if size > _MOST_ITEMS:
        told = f'"{column.name}" holds lists of {size} values in a row'
        raise LogReadError(message("log", told, "a row per sample", "Export one row for each sample."))
    if nested and are_samples(column.array):
        told = f'"{column.name}" holds a block of {size} samples in a row'
        raise LogReadError(message("log", told, "a row per sample", "Export one row for each sample."))
    profile = Profile(kind="number")
    found = []
    for k in range(size):
        array = list_item(column.array, k)
        made = make_column(f"{column.name}[{k}]", column.unit, profile, array)
        found.append(replace(made, source=column.source or column.name, item=k))
    return found


def are_samples(array: pa.Array) -> bool:
    """True for lists of one length whose end goes on in the beginning of the next one: samples, and no channels.

    Neighbours in a list differ as the last and the first of two lists do, and by less than the same place of both.
    """
    lists = array.drop_null()[: EVIDENCE.lists_looked_at]
    sizes = set(pc.list_value_length(lists).to_pylist()[:-1])
    if len(sizes) != 1 or len(lists) < EVIDENCE.fewest_lists or not _numeric(array.type.value_type):
        return False
    size = sizes.pop()
    if size < EVIDENCE.fewest_in_list:
        return False
    values = np.asarray(lists[:-1].flatten().cast(pa.float64()).to_numpy(zero_copy_only=False), np.float64)
    table = values.reshape(-1, size)
    from_list = float(np.nanmean(np.abs(table[1:] - table[:-1])))
    within = float(np.nanmean(np.abs(np.diff(table, axis=1))))
    over = float(np.nanmean(np.abs(table[1:, 0] - table[:-1, -1])))
    return max(within, over) < EVIDENCE.goes_on * from_list


def _inside(cells: Sequence[str]) -> str:
    """The part between brackets of the first cell that has such."""
    match = next((m for m in map(_BRACKETS.search, cells) if m), None)
    return match[0] if match else ""


def list_item(array: pa.Array, item: int) -> pa.Array:
    """One item of the lists that the rows hold, as lists or written as text between brackets; null where absent."""
    if pa.types.is_dictionary(array.type):
        array = array.dictionary_decode()
    if pa.types.is_nested(array.type):
        long = pc.greater(pc.list_value_length(array), item)
        padded = pc.if_else(long, array, pa.nulls(1, array.type)[0])
        return pc.list_element(padded, item) if padded.null_count == 0 else _items_or_null(padded, item)
    before = r"[+-]?[\d.eE+-]+\s*[,; ]\s*"
    pattern = rf"[\[(]\s*(?:{before}){{{item}}}(?P<item>[+-]?[\d.eE+-]+)"
    found = pc.extract_regex(as_text(array), pattern)
    return found.field("item") if found.null_count == 0 else pc.struct_field(found, "item")


def _items_or_null(array: pa.Array, item: int) -> pa.Array:
    texts = [v[item].as_py() if v.is_valid and len(v) > item else None for v in array]
    return pa.array(texts, array.type.value_type)


def fetch(columns: Mapping[str, pa.Array], column: Column) -> pa.Array:
    """The rows of a column, taken out of the column of the file that holds them."""
    array = columns[column.source or column.name]
    return array if column.item is None else list_item(array, column.item)
