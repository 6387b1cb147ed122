"""Readings that the logger itself marks as bad."""

from collections import Counter

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.read.columns import Column
from tracekit.read.values import word_codes
from tracekit.read.words import fold

_BAD = frozenset({
    "bad", "false", "invalid", "uncertain", "error", "fault", "schlecht", "mauvais", "malo", "falso", "ungultig", "nok",
    "not ok", "questionable", "stale", "failed", "err", "unsicher", "fehler", "incertain", "erreur", "douteux", "mala",
    "mauvaise", "invalide", "no valido", "no valida", "invalido", "invalida", "cattivo", "cattiva", "non valido",
    "incerto", "slecht", "ongeldig", "zly", "zla", "niepewny", "ruim", "duvidoso", "不良", "不好", "异常", "異常",
    "плохо", "плохое",
})  # fmt: skip
_GOOD = (
    "good", "gut", "valid", "bon", "buen", "buon", "goed", "gultig", "dobr", "bra", "god", "boa", "bom", "良", "正常",
    "хорош", "192",
)  # fmt: skip
"""Marks that speak of readings; "ok" or "true" beside samples may speak of the part, or of the machine."""
_GOOD_CODE = 192.0
"""Codes from here on are good where most are (from memory, not verified: the quality byte of data servers)."""
_MOST_EMPTY = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class QualityPlan:
    """A column of quality marks, and the mark that most rows bear, which is good."""

    column: str
    good: str


def is_quality(column: Column) -> bool:
    """True for a column that is named after quality, or holds nothing but marks of good and bad readings."""
    if column.hints.weight("quality") >= 0.9:
        return True
    words = [fold(w.strip()) for w in column.words]
    good = [w for w in words if w.startswith(_GOOD)]
    return 2 <= len(words) == len(good) + sum(w in _BAD for w in words) and 1 <= len(good) < len(words)


def plan_quality(column: Column, *, sure: bool) -> QualityPlan | None:
    """How a column marks readings as bad, None where it does not: mostly empty, or words that are no marks.

    sure  the layout leaves no doubt that the column is one of quality marks
    """
    if column.kind not in ("text", "level", "number", "empty"):
        return None
    codes, words = word_codes(column.array)
    known = codes[codes >= 0]
    if len(known) < _MOST_EMPTY * max(len(codes), 1):
        return None
    counts = Counter(dict(zip(words, np.bincount(known, minlength=len(words)).tolist(), strict=True)))
    good = counts.most_common(1)[0][0].strip()
    plain = fold(good)
    if (not sure and not plain.startswith(_GOOD)) or plain in _BAD:
        return None
    return QualityPlan(column=column.name, good=good)


def bad_rows(array: pa.Array, plan: QualityPlan) -> NDArray[np.bool_]:
    """True for rows that are marked as bad, or whose mark is missing, shape (n,)."""
    codes, words = word_codes(array)
    table = np.array([*(_is_bad(w.strip(), plan.good) for w in words), True])
    return np.asarray(table[codes], np.bool_)


def _is_bad(word: str, good: str) -> bool:
    if word == good:
        return False
    usual, found = _code(good), _code(word)
    if usual is not None and found is not None:
        return found < _GOOD_CODE if usual >= _GOOD_CODE else found != usual
    if good.casefold().startswith("0x"):
        return True
    if fold(good).startswith(_GOOD) and found is None:
        return not fold(word).startswith(_GOOD)
    return fold(word) in _BAD or found == 0.0


def _code(word: str) -> float | None:
    try:
        return float(word)
    except ValueError:
        return None
