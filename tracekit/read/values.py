"""Numbers and levels out of columns of text, whole columns at once."""

from collections.abc import Mapping

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.read.levels import level_of_word
from tracekit.read.rows import numbers, valid


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberForm:
    """How numbers are written: decimal sign, thousands mark, a unit behind every number, base of the figures.

    trailed  a minus stands behind the number that it belongs to
    power_d  powers of ten stand behind a D, "5.0D-03"
    turn     numbers from half of it on are meant as so much less, 0 where all are as written
    """

    decimal: str = "."
    mark: str = ""
    suffix: str = ""
    base: int = 10
    trailed: bool = False
    turn: float = 0.0
    power_d: bool = False

    @property
    def plain(self) -> bool:
        """A parser that knows the decimal sign needs nothing else."""
        return not self.mark and not self.suffix and self.base == 10 and not (self.trailed or self.power_d)


_PARTING = str.maketrans("", "", " /|-.;")
_NUMBER = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"


def is_texty(array: pa.Array) -> bool:
    """True for columns of strings, bytes, or dictionaries of them."""
    kind = array.type.value_type if pa.types.is_dictionary(array.type) else array.type
    return any(
        test(kind)
        for test in (pa.types.is_string, pa.types.is_binary, pa.types.is_large_string, pa.types.is_large_binary)
    )


def column_numbers(array: pa.Array, form: NumberForm) -> NDArray[np.float64]:
    """A column as float64, NaN where it is no number, shape (n,)."""
    values = _written_numbers(array, form)
    return np.where(values >= form.turn / 2, values - form.turn, values) if form.turn else values


def _written_numbers(array: pa.Array, form: NumberForm) -> NDArray[np.float64]:
    if not is_texty(array):
        return numbers(array.dictionary_decode() if pa.types.is_dictionary(array.type) else array)
    if pa.types.is_dictionary(array.type):
        known = _written_numbers(array.dictionary, form)
        return np.concatenate([known, [np.nan]])[dictionary_codes(array)]
    texts = as_text(array)
    if form.base != 10:
        codes, words = word_codes(texts)
        return np.array([*(_in_base(w, form.base) for w in words), np.nan])[codes]
    if form.suffix:
        texts = pc.replace_substring_regex(texts, r"\s*" + _quoted(form.suffix) + r"\s*$", "")
    for mark in {form.mark, '"'} - {""}:
        texts = pc.replace_substring(texts, mark, "")
    if form.decimal == ",":
        texts = pc.replace_substring(texts, ",", ".")
    if form.power_d:
        texts = pc.replace_substring_regex(texts, "[dD]", "e")
    texts = pc.utf8_trim_whitespace(texts)
    if form.trailed:
        texts = pc.replace_substring_regex(texts, r"^([0-9.]+)-$", r"-\1")
    good = pc.match_substring_regex(texts, _NUMBER)
    none = pa.nulls(1, pa.string())[0]  # pa.scalar, which pc.fill_null calls too, would import pandas
    return numbers(pc.if_else(good, texts, none).cast(pa.float64()))


def _in_base(word: str, base: int) -> float:
    """A whole number written with the figures of a base, with or without a mark before or behind it; NaN for others."""
    text = word.strip().strip('"').casefold().translate(_PARTING)
    for mark in ("0x", "16#", "$") if base == 16 else ("0b", "2#", "b"):
        text = text.removeprefix(mark)
    try:
        return float(int(text.removesuffix("h") if base == 16 else text, base))
    except ValueError:
        return float("nan")


def _quoted(text: str) -> str:
    return "".join(c if c.isalnum() or not c.isascii() else f"\\{c}" for c in text)


def as_text(array: pa.Array) -> pa.Array:
    """A column of bytes or text as strings; bytes that are no UTF-8 are read as Western European."""
    if pa.types.is_string(array.type):
        return array
    if pa.types.is_large_string(array.type):
        return array.cast(pa.string())
    try:
        return array.cast(pa.binary()).cast(pa.string())
    except pa.ArrowInvalid:
        return pa.array([None if v is None else v.decode("cp1252", "replace") for v in array.to_pylist()], pa.string())


def dictionary_codes(array: pa.Array) -> NDArray[np.int64]:
    """Positions in the dictionary, -1 where null, shape (n,)."""
    indices = array.indices
    kind = np.dtype(str(indices.type))
    found: NDArray[np.int64] = np.frombuffer(indices.buffers()[1], kind)[
        indices.offset : indices.offset + len(indices)
    ].astype(np.int64)
    return np.where(valid(indices), found, -1) if indices.null_count else found


def word_codes(array: pa.Array) -> tuple[NDArray[np.int64], tuple[str, ...]]:
    """A column of text as codes (-1 where null) and the words they stand for."""
    if not pa.types.is_dictionary(array.type):
        if not is_texty(array):
            array = array.cast(pa.string())
        array = array.dictionary_encode()
    words = tuple(str(w) for w in as_text(array.dictionary).to_pylist())
    return dictionary_codes(array), words


def word_levels(array: pa.Array, known: Mapping[str, int]) -> NDArray[np.int8]:
    """Levels of a column of words, -1 where a word means neither, shape (n,)."""
    codes, words = word_codes(array)
    table = [known.get(w.strip(), -1 if (v := level_of_word(w)) is None else v) for w in words]
    table = [_digit(w) if v < 0 else v for w, v in zip(words, table, strict=True)]
    return np.array([*table, -1], np.int8)[codes]


def _digit(word: str) -> int:
    text = word.strip().strip('"').replace(",", ".").removesuffix(".0")
    return int(text) if text in ("0", "1") else -1
