"""Outside sentences on a page: pressures in them are marked, so that the reader's unit switch reaches them too."""

import re
from collections.abc import Callable

from tracekit.report.measures import setting_names
from tracekit.report.text import MINUS, NBSP, clean, escape
from tracekit.report.words import Num, html, number

_UNIT_AFTER = re.compile(r"(?<=\d) (?=(?:%|s|ms|min|h|Hz|mm|ml|°C|cycles?|picks|holds)(?![\w/]))")
_CLOSE_PER_CENT = re.compile(r"(?<=\d)%")
_NEGATIVE = re.compile(r"(?<=[\s(])-(?=\d)")
_FIGURE = r"[-\u2212]?\d+(?:\.\d+)?"
_PRESSURE = re.compile(
    rf"(?<![\w.,/])(?P<first>{_FIGURE})(?P<word>[ \u00a0](?:to|and|or|against)[ \u00a0])(?P<second>{_FIGURE})"
    rf"[ \u00a0]kPa(?P<per>/s|/h|/d)?(?![\w/])"
    rf"|(?<![\w.,/])(?P<only>{_FIGURE})[ \u00a0]kPa(?P<rate>/s|/h|/d)?(?![\w/])"
    rf"(?:[ ]\((?P<low>{_FIGURE})[ \u00a0]to[ \u00a0](?P<high>{_FIGURE})\))?"
)


def numbers(text: str, unit: str = "kPa", limit: int = 600) -> str:
    """A sentence from the analysis or a log as HTML: cleaned, escaped, its pressures in `unit` and marked."""
    line = _set(setting_names(clean(text, limit)))
    out: list[str] = []
    at = 0
    for match in _PRESSURE.finditer(line):
        out += [escape(line[at : match.start()]), _marked(match, unit)]
        at = match.end()
    return "".join(out) + escape(line[at:])


def numbers_plain(text: str, unit: str = "kPa", limit: int = 600, exact: Callable[[Num], Num] | None = None) -> str:
    """The same as characters, for a terminal; `exact` gives the unrounded figure behind one of the sentence."""
    line = setting_names(clean(text, limit))
    if unit == "kPa":
        return line

    def write(num: Num, name: str) -> str:
        return number(exact(num) if exact is not None else num, name)

    return _PRESSURE.sub(lambda m: "".join(_parts(m, unit, write)), line)


def _set(line: str) -> str:
    """The line with true minus signs, and figures that stand apart from their unit yet stay beside it."""
    return _UNIT_AFTER.sub(NBSP, _NEGATIVE.sub(MINUS, _CLOSE_PER_CENT.sub(" %", line)))


def _marked(match: re.Match[str], unit: str) -> str:
    return "".join(_parts(match, unit, html_number))


def html_number(num: Num, unit: str) -> str:
    """One marked number."""
    return html((num,), unit)


def _parts(match: re.Match[str], unit: str, write: Callable[[Num, str], str]) -> list[str]:
    if match["only"] is not None:
        rate = match["rate"]
        found = [write(_num(match["only"], rate, bare=False), unit)]
        if match["low"] is None:
            return found
        ends = (write(_num(match[name], rate, bare=True), unit) for name in ("low", "high"))
        return [*found, f" ({f'{NBSP}to{NBSP}'.join(ends)})"]
    per = match["per"]
    return [
        write(_num(match["first"], per, bare=True), unit),
        match["word"].replace(NBSP, " "),
        write(_num(match["second"], per, bare=False), unit),
    ]


def _num(figure: str, per: str | None, *, bare: bool) -> Num:
    decimals = len(figure.partition(".")[2])
    value = float(figure.replace(MINUS, "-"))
    return Num(value=value, unit=f"kPa{per or ''}", step=10.0**-decimals, bare=bare, told=True)
