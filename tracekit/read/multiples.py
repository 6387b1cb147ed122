"""Units of pressure written with a factor: "0.1 kPa", "kPa x10", "1/10 mbar"; and units that only loggers write."""

import re

from tracekit.units import STANDARD_GRAVITY_M_S2, PressureUnit, Sense, find_pressure_unit

_NUMBER = r"(?P<factor>0[.,]0*1|1/10+|10+)"
_BEFORE = re.compile(rf"(?:x\s?)?{_NUMBER}\s*(?:x|\*|·|×)?\s*(?P<unit>[^\W\d].*)", re.IGNORECASE)
_BEHIND = re.compile(rf"(?P<unit>[^\W\d][^\s*/×·]*)\s*(?P<sign>x|\*|·|×|/)\s*{_NUMBER}", re.IGNORECASE)
_INCHES = re.compile(r"in(?:ch(?:es)?)?\.?\s?(?:of\s)?hg", re.IGNORECASE)
_SPELLED = re.compile(
    r"-?\s?(?P<unit>in(?:ch(?:es)?)?\.?\s?(?:of\s)?hg|[^\W\d_][^\s_()-]*?)"
    r"(?:[\s_(-]*(?P<sense>ü|ue|üb|rel\w*|abs\w*|ass\w*|bezw\w*|man\w*|g|gauge|gage|vac\w*|vak\w*|vide|vuoto)\.?\)?)?",
    re.IGNORECASE,
)
_SENSES: tuple[tuple[tuple[str, ...], Sense], ...] = (
    (("abs", "ass", "bezw"), "absolute"), (("va", "vi", "vu"), "vacuum"), (("ü", "ue", "rel", "man", "g"), "gauge"),
)  # fmt: skip
_LOCAL = {
    "па": "Pa", "гпа": "hPa", "кпа": "kPa", "мпа": "MPa", "бар": "bar", "мбар": "mbar", "ммрт.ст.": "mmHg",
    "ммвод.ст.": "mmH2O", "кгс/см2": "kgf/cm2", "帕": "Pa", "百帕": "hPa", "千帕": "kPa", "兆帕": "MPa", "毫巴": "mbar",
    "巴": "bar", "毫米汞柱": "mmHg",
}  # fmt: skip
_RARE = {"dapa": 0.01, "cmhg": 13595.1 * STANDARD_GRAVITY_M_S2 * 1e-5, "cmh2o": STANDARD_GRAVITY_M_S2 * 1e-2}


def find_multiple(text: str) -> tuple[PressureUnit, Sense | None] | None:
    """The unit that a text writes as a multiple of a known one, and the sense that it says; None where it does not.

    "0.1 kPa" is the size of a count. "kPa x10" and "kPa/10" say that readings are 10 times, or a tenth of, those in
    kPa: that could also be meant the other way round, but then readings lie a hundred times beyond any vacuum.
    """
    written = text.strip().strip("[]()")
    rare = _RARE.get(re.sub(r"\s", "", written.casefold().replace("₂", "2")))
    if rare is not None:
        return PressureUnit(written, rare), None
    before, behind = _BEFORE.fullmatch(written), _BEHIND.fullmatch(written)
    match = before or behind
    known = find_pressure_unit(match["unit"]) if match is not None else None
    if match is None or known is None:
        return None
    factor = _value(match["factor"])
    if before is None and factor > 1.0:
        factor = 1.0 / factor
    return PressureUnit(written, known[0].kpa * factor), known[1]


def other_way_round(unit: PressureUnit) -> PressureUnit | None:
    """A unit with a factor behind it, as if that were meant the other way round; None for all others."""
    match = _BEHIND.fullmatch(unit.symbol)
    known = find_pressure_unit(match["unit"]) if match is not None else None
    return PressureUnit(unit.symbol, known[0].kpa ** 2 / unit.kpa) if known is not None else None


def find_spelled(text: str) -> tuple[PressureUnit, Sense | None] | None:
    """A unit with its sense in words of some language behind it ("mbar ü", "kPa-G", "bar relativ"); None for others.

    A minus before the unit says nothing: readings in "-kPa" are written with and without a sign.
    """
    written = text.strip().strip("[]").strip()
    local = _LOCAL.get(re.sub(r"\s", "", written.casefold().replace("²", "2")))
    match = _SPELLED.fullmatch(local or written)
    unit = find_pressure_unit(_INCHES.sub("inHg", match["unit"])) if match is not None else None
    if match is None or unit is None:
        return None
    word = (match["sense"] or "").casefold()
    sense = next((s for starts, s in _SENSES if word.startswith(starts)), None) if word else None
    return unit[0], sense or unit[1]


def _value(text: str) -> float:
    if text.startswith("1/"):
        return 1.0 / float(text[2:])
    return float(text.replace(",", "."))
