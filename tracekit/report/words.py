"""Numbers and chances in words: digits by uncertainty, bounds rounded outward, one wording everywhere.

A sentence with numbers is a `Text`: plain strings and `Num` records in order. `plain` writes it for a terminal, `html`
for a page, where each number keeps its unrounded value, so that the reader's unit switch rounds afresh.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import replace

from tracekit.frozen import dataclass
from tracekit.model.estimate import Bound, Estimate, Quantity, Withheld
from tracekit.model.finding import Severity
from tracekit.report.text import MINUS, NARROW, NBSP, escape
from tracekit.units import PRESSURE_UNITS

OFFERED_UNITS = ("kPa", "mbar", "hPa", "bar", "psi", "inHg", "mmHg", "Torr")
PAGE_UNITS: dict[str, float] = {u.symbol: 1.0 / u.kpa for u in PRESSURE_UNITS}

_DECIMALS_MOST = 6
_PER_CENT = re.compile(r"(\d) %")


@dataclass(frozen=True, slots=True, kw_only=True)
class Num:
    """A number to be said, in `unit` ("kPa", "kPa/s", "s" …), unrounded.

    lower, upper  95 % interval, None where there is none
    step          resolution that limits the digits of a number without interval, in the same unit
    bound         "at least" or "less than" for one-sided numbers, else ""
    bare          the unit is left to the words around it
    unsaid        the interval decides the digits and is not said
    told          read from a sentence that is rounded already
    """

    value: float
    unit: str = ""
    lower: float | None = None
    upper: float | None = None
    step: float | None = None
    bound: str = ""
    bare: bool = False
    unsaid: bool = False
    told: bool = False


Text = tuple[str | Num, ...]


def say(pattern: str, *numbers: Num | str | int) -> Text:
    """A sentence from a pattern with `{}` for each number or word in turn."""
    pieces = pattern.split("{}")
    if len(pieces) != len(numbers) + 1:
        raise ValueError(f"{pattern!r} has {len(pieces) - 1} places for {len(numbers)} values")
    out: list[str | Num] = [pieces[0]]
    for value, piece in zip(numbers, pieces[1:], strict=True):
        out += [count(value) if isinstance(value, int) else value, piece]
    return tuple(part for part in out if part != "")


def join(texts: Sequence[Text], between: str = " ") -> Text:
    """Several texts behind one another."""
    out: list[str | Num] = []
    for position, text in enumerate(texts):
        out += [between] if position else []
        out += text
    return tuple(out)


def plain(text: Text, unit: str = "kPa") -> str:
    """A text as characters, pressures in `unit`."""
    return "".join(part if isinstance(part, str) else number(part, unit) for part in text)


def html(text: Text, unit: str = "kPa", tag: str = "span") -> str:
    """A text as HTML: escaped, its pressures marked for the unit switch (`tag` is "tspan" inside a picture)."""
    return "".join(escape(_glued(part)) if isinstance(part, str) else _span(part, unit, tag) for part in text)


def _glued(text: str) -> str:
    """The text with its figures kept beside their per cent sign at the end of a line."""
    return _PER_CENT.sub(rf"\1{NBSP}%", text)


def number(num: Num, unit: str = "kPa") -> str:
    """A number as the pages write it: "7.4 kPa/s (7.2 to 7.6)", pressures in `unit`."""
    shown = in_unit(num, unit)
    head = f"{shown.bound} " if shown.bound else ""
    if shown.lower is None or shown.upper is None:
        factor = PAGE_UNITS[unit] if is_pressure(num.unit) else 1.0
        return head + _with_unit(digits(shown.value, _place_of_step(num, factor)), shown)
    place = place_of_interval(shown.lower, shown.upper)
    low, high = outward(shown.lower, shown.upper, place)
    body = _with_unit(digits(shown.value, place), shown)
    if shown.unsaid:
        return head + body
    return f"{head}{body} ({digits(low, place)}{NBSP}to{NBSP}{digits(high, place)})"


def in_unit(num: Num, unit: str) -> Num:
    """The same number with its pressure unit exchanged."""
    if not is_pressure(num.unit) or unit == "kPa":
        return num
    factor = PAGE_UNITS[unit]
    scaled = [None if v is None else v * factor for v in (num.lower, num.upper, num.step)]
    return replace(
        num, value=num.value * factor, unit=unit + num.unit[3:], lower=scaled[0], upper=scaled[1], step=scaled[2]
    )


def is_pressure(unit: str) -> bool:
    """True for units that the reader's switch exchanges: kPa and kPa per anything."""
    return unit == "kPa" or unit.startswith("kPa/")


def place_of_interval(lower: float, upper: float) -> int:
    """The decimal place (-1 for tenths) of the first digit of an interval's half-width, of the second behind a 1.

    One digit of 1.9 would round the interval by half of itself.
    """
    half = abs(upper - lower) / 2.0
    if not math.isfinite(half) or half <= 0.0:
        return _place_of_size(max(abs(lower), abs(upper)))
    return _first_place(half / 2.0)


def outward(lower: float, upper: float, place: int) -> tuple[float, float]:
    """Bounds rounded away from the value at a decimal place."""
    unit = 10.0**place
    return math.floor(lower / unit + 1e-9) * unit, math.ceil(upper / unit - 1e-9) * unit


def digits(value: float, place: int) -> str:
    """A number down to a decimal place, with a true minus sign and narrow spaces from 10 000."""
    if not math.isfinite(value):
        return "unknown"
    place = max(place, -_DECIMALS_MOST)
    size, ten = abs(value), 10.0 ** abs(place)
    whole_places = math.floor((size * ten if place < 0 else size / ten) + 0.5)
    text = f"{whole_places / ten:.{-place}f}" if place < 0 else f"{whole_places * ten:.0f}"
    whole, dot, rest = text.partition(".")
    if len(whole) >= 5:
        whole = NARROW.join(re.findall(r"\d{1,3}", whole[::-1])).strip(NARROW)[::-1]
    negative = value < 0 and any(c in "123456789" for c in text)
    return (MINUS if negative else "") + whole + dot + rest


def count(n: int) -> str:
    """A count, exact."""
    return digits(float(n), 0)


def share_of(n: int, total: int, what: str) -> str:
    """A count with its base: "all 95 cycles", "1 of 62 cycles", "no cycle of 40"."""
    if total and n == total:
        return f"the only {_single(what)}" if total == 1 else f"all {count(total)} {what}"
    return f"none of {count(total)} {what}" if n == 0 else f"{count(n)} of {count(total)} {what}"


def chance(p: float) -> str:
    """A probability in words: "9 in 10", "19 in 20", "under 1 in 20"."""
    if p < 0.05:
        return "under 1 in 20"
    if p < 0.075:
        return "1 in 20"
    if p >= 0.975:
        return "over 19 in 20"
    return "19 in 20" if p >= 0.925 else f"{max(1, min(9, math.floor(p * 10.0 + 0.5)))} in 10"


def strength(confidence: float) -> str:
    """The word in front of a cause: "", "very likely", "probably" or "either"; one word per number of `chance`."""
    if confidence >= 0.925:
        return ""
    if confidence >= 0.75:
        return "very likely"
    return "probably" if confidence >= 0.55 else "either"


def urgency(severity: Severity) -> str:
    """What a severity asks for."""
    return {
        "critical": "Stop. Do not run parts.",
        "major": "Repair this shift.",
        "minor": "Plan a repair.",
        "info": "Nothing found to repair.",
    }[severity]


def of_quantity(quantity: Quantity) -> Num | None:
    """The number of a quantity, None where it is withheld."""
    if isinstance(quantity, Withheld):
        return None
    if isinstance(quantity, Bound):
        word = "at least" if quantity.status == "lower_bound" else "less than"
        return Num(value=quantity.limit, unit=quantity.unit, bound=word, step=two_digits(quantity.limit))
    return of_estimate(quantity)


def of_estimate(estimate: Estimate) -> Num:
    """The number of an estimate with its interval."""
    return Num(value=estimate.value, unit=estimate.unit, lower=estimate.lower, upper=estimate.upper)


def role(what: str) -> str:
    """What an assumption is about, with the contract's name of the part-present signal in words."""
    name = "part_present"
    return f"part present{what.removeprefix(name)}" if what.startswith(name) else what


def capital(text: Text) -> Text:
    """The text with its first letter raised."""
    if not text or not isinstance(text[0], str):
        return text
    return (text[0][:1].upper() + text[0][1:], *text[1:])


def _single(what: str) -> str:
    return what.removesuffix("s")


def _with_unit(figure: str, num: Num) -> str:
    return figure if num.bare or not num.unit else f"{figure}{NBSP}{num.unit}"


def _place_of_step(num: Num, factor: float = 1.0) -> int:
    """The last decimal place of a number without interval, in a unit `factor` of which are one of its own.

    In its own unit that is the place of its step. In another a place is shown that is worth at least half of that one:
    a step of 0.1 kPa leaves 1 mbar, 0.1 inHg and 0.01 psi.
    """
    if num.step is None or not math.isfinite(num.step) or num.step <= 0.0:
        return _place_of_size(num.value * factor)
    return math.ceil(_first_place(num.step) + math.log10(0.5 * factor) - 1e-9)


def _place_of_size(value: float) -> int:
    """Three digits where nothing tells how many are sure."""
    return _first_place(value) - 2 if value and math.isfinite(value) else 0


def _first_place(size: float) -> int:
    return math.floor(math.log10(abs(size)) + 1e-12)


def two_digits(value: float) -> float | None:
    """A step that leaves two digits of a value, in its unit; None for nothing and for what is not finite."""
    return 10.0 ** (_first_place(value) - 1) if value and math.isfinite(value) else None


def _span(num: Num, unit: str, tag: str) -> str:
    """A pressure marked with its unrounded value; other numbers need no mark."""
    shown = escape(number(num, unit))
    if not is_pressure(num.unit):
        return shown
    facts = {"v": num.value, "l": num.lower, "h": num.upper, "s": num.step}
    marks = "".join(f' data-{k}="{v:.9g}"' for k, v in facts.items() if v is not None and math.isfinite(v))
    extra = f' data-b="{num.bound}"' if num.bound else ""
    flags = "".join(f" data-{k}" for k, on in (("n", num.bare), ("i", num.unsaid), ("t", num.told)) if on)
    return f'<{tag} class="q" data-u="{escape(num.unit)}"{marks}{extra}{flags}>{shown}</{tag}>'
