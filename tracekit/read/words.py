"""What the names of columns say, in the common words of many languages."""

import functools
import re
import tomllib
import unicodedata
from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from importlib.resources import files
from typing import Any, Literal

from tracekit.errors import UsageError
from tracekit.frozen import dataclass
from tracekit.read.multiples import find_multiple, find_spelled
from tracekit.read.timemultiples import doubtful_factors, find_time_multiple, trailing_multiple
from tracekit.units import PERCENT, PressureUnit, Sense, TimeUnit, find_pressure_unit, time_unit

_OUTPUT = re.compile(r"(?<![^\W_])%?[Qq][XxBbWw]?\d+(?:\.\d+)?(?![^\W_])")
Role = Literal["time", "pressure", "supply", "release", "part_present", "station", "tag", "value", "quality", "other"]

_BARE = str.maketrans({"ø": "o", "ł": "l", "ı": "i", "æ": "ae", "œ": "oe", "đ": "d"})
_TIME_UNITS = {
    "с": "s", "сек": "s", "мс": "ms", "мкс": "us", "秒": "s", "毫秒": "ms", "ミリ秒": "ms", "微秒": "us",
    "초": "s", "밀리초": "ms", "minuti": "min", "sn": "s", "sek": "s", "seg": "s", "segundos": "s",
    "secondes": "s", "secondi": "s", "sekunden": "s", "sekundy": "s", "seconden": "s", "sekunder": "s",
    "saniye": "s", "milisegundos": "ms", "millisekunden": "ms", "millisecondes": "ms", "millisecondi": "ms",
    "milisekundy": "ms", "minuten": "min", "minutos": "min", "micros": "us", "millis": "ms", "nanos": "ns",
}  # fmt: skip
_PER_CENT = frozenset({"pct", "percent", "prozent", "procent", "porcentaje", "percentuale", "pourcent", "proz"})
_TENTH = r"(?:0[.,]0*1|1/10+)\s?"
_MULTIPLE = re.compile(
    rf"(?:^|[\s_])(?P<unit>[x*×·]\s?{_TENTH}[^\W\d]+|{_TENTH}[x*×·]\s?[^\W\d]+)$", re.IGNORECASE
)  # a factor without its sign may be a threshold
_LONGEST = 1000
"""Of a name that is longer, the rest says nothing."""
_PATH = 2  # strokes in a name that is a path: "plant/line 2/vacuum/suction"
_LONE = 3  # letters of a name that is nothing but a unit: "mbar", "psia"
_TOO_SHORT = ("at", "mb")  # units only where they stand in brackets or in a row of units; "at" is also a word


@dataclass(frozen=True, slots=True, kw_only=True)
class NameHints:
    """What a name says: weights of roles, unit, sense; `sample_number` where it counts rows."""

    roles: Mapping[Role, float]
    pressure_unit: PressureUnit | None = None
    percent: bool = False
    sense: Sense | None = None
    says_vacuum: bool = False
    time_unit: TimeUnit | None = None
    sample_number: bool = False
    tokens: tuple[str, ...] = ()

    def weight(self, role: Role) -> float:
        """How strongly the name speaks for a role, 0 where it does not."""
        return self.roles.get(role, 0.0)


@dataclass(frozen=True, slots=True)
class _Words:
    """Stems that are looked for anywhere, and whole words."""

    stems: tuple[str, ...]
    tokens: frozenset[str]

    def hit(self, squeezed: str, tokens: AbstractSet[str]) -> bool:
        """True where a name bears one of them."""
        return not self.tokens.isdisjoint(tokens) or any(stem in squeezed for stem in self.stems)


@dataclass(frozen=True, slots=True)
class _Lexicon:
    """The table of words, folded."""

    roles: tuple[tuple[Role, float, _Words], ...]
    senses: tuple[tuple[Sense, _Words], ...]
    vacuum: _Words
    sample_number: _Words
    confirm: _Words


@functools.cache
def _lexicon() -> _Lexicon:
    table: Mapping[str, Any] = tomllib.loads(fold(files("tracekit.read").joinpath("words.toml").read_text("utf-8")))
    senses: tuple[Sense, ...] = ("absolute", "gauge")
    return _Lexicon(
        roles=tuple((entry["role"], entry["weight"], _words(entry)) for entry in table["hint"]),
        senses=tuple((s, _words(table["senses"][s])) for s in senses),
        vacuum=_words(table["vacuum"]),
        sample_number=_words(table["sample_number"]),
        confirm=_words(table["confirm"]),
    )


def _words(entry: Mapping[str, str]) -> _Words:
    return _Words(tuple(entry.get("stems", "").split()), frozenset(entry.get("tokens", "").split()))


def fold(text: str) -> str:
    """Lower case without accents, in letters of the usual width."""
    flat = unicodedata.normalize("NFKD", text).casefold().translate(_BARE)
    return unicodedata.normalize("NFC", "".join(c for c in flat if not unicodedata.combining(c)))


def tokens_of(name: str) -> tuple[str, ...]:
    """The words of a name: parted at blanks, signs, and where lower case meets upper case."""
    parted = re.sub(r"(?<=[^\W\d_A-Z])(?=[A-Z][^\W\d_A-Z])", " ", name)
    return tuple(t for t in re.split(r"[\s_\-./\\:;,()\[\]{}<>|=+*&]+", fold(parted)) if t)


def hints(name: str, unit_text: str = "") -> NameHints:
    """What the name of a column, and the unit that stands with it, say; of a path the last part where that does."""
    name = name[:_LONGEST]
    if name.count("/") >= _PATH:
        last = hints(name.rpartition("/")[2], unit_text)
        if last.roles or last.pressure_unit is not None or last.time_unit is not None:
            return last
    tokens = tokens_of(name)
    squeezed = "".join(tokens)
    plain = {re.sub(r"\d+$", "", t) or t for t in tokens} | set(tokens)
    table = _lexicon()
    roles: dict[Role, float] = {}
    for role, weight, words in table.roles:
        if weight > roles.get(role, 0.0) and words.hit(squeezed, plain):
            roles[role] = weight
    if _OUTPUT.search(name) is not None:  # "Q0.1" is an output
        roles.pop("quality", None)
    unit, sense = _pressure(name, unit_text)
    if unit is not None or roles.get("pressure") == 1.0:
        roles = {r: w for r, w in roles.items() if r != "release" or w == 1.0}
    _sharpen(roles, confirming=table.confirm.hit(squeezed, plain))
    says = [s for s, words in table.senses if words.hit(squeezed, set(tokens))]
    return NameHints(
        roles=roles,
        pressure_unit=unit,
        percent=unit is None and (_says_percent(name, unit_text) or not _PER_CENT.isdisjoint(tokens)),
        sense=sense or (says[0] if len(says) == 1 else None),
        says_vacuum=table.vacuum.hit(squeezed, plain),
        time_unit=_time(name, unit_text),
        sample_number=table.sample_number.hit("", set(tokens)),
        tokens=tokens,
    )


def _sharpen(roles: dict[Role, float], *, confirming: bool) -> None:
    """Where words of two roles meet, the more special one wins."""
    if confirming and "part_present" in roles:
        roles.pop("supply", None)
        roles.pop("release", None)
    if "release" in roles and "supply" in roles:
        roles["supply"] = min(roles["supply"], 0.5)
    if roles.get("release", 0) >= 0.9 and roles.get("part_present", 0) < 1.0:
        roles.pop("part_present", None)
    if roles.get("supply", 0) >= 0.9 and roles.get("part_present", 0) <= 0.5:
        roles.pop("part_present", None)


def _set_apart(name: str, unit_text: str) -> list[str]:
    """The text of a row of units, and texts between brackets of a name."""
    found = [unit_text] if unit_text.strip() else []
    return found + [text.strip() for text in re.findall(r"[\[(<{]([^\])>}]*)[\])>}]", name)]


def _unit_texts(name: str, unit_text: str) -> list[str]:
    """Places where a unit may stand, the surest first."""
    found = _set_apart(name, unit_text)
    bare = re.sub(r"[\[(<{][^\])>}]*[\])>}]", " ", name)
    found += re.findall(r"(?:\bin\s+|/\s*|,\s*)([^\s,;]+)\s*$", bare)
    words = [w for w in re.split(r"[\s_\-.,;:|]+", bare) if w and w.casefold() not in _TOO_SHORT]
    found += [" ".join(words[i : i + 2]) for i in range(len(words) - 2, -1, -1)]
    alone = words if len(words) == 1 and len(words[0]) >= _LONE else []
    return found + alone + words[:0:-1]


def _pressure(name: str, unit_text: str) -> tuple[PressureUnit | None, Sense | None]:
    name, unit_text = (unicodedata.normalize("NFKC", t) for t in (name, unit_text))
    for text in _set_apart(name, unit_text):
        special = find_pressure_unit(text.strip("[]() -\u2212\u2013")) or find_multiple(text) or find_spelled(text)
        if special is not None:
            return special
    counted = _MULTIPLE.search(name)
    if counted is not None and (multiple := find_multiple(counted["unit"])) is not None:
        return multiple
    for text in _unit_texts(name, unit_text):
        for spelling in (text.strip("[]() "), text.replace("_", " ")):
            found = find_pressure_unit(spelling) or (None if spelling.isascii() else find_spelled(spelling))
            if found is not None:
                return found
    return None, None


def _says_percent(name: str, unit_text: str) -> bool:
    """True where a sign of per cent stands as a unit, not as the mark of an address."""
    return PERCENT in unit_text or re.search(r"(?:^|[\s_(\[])%(?=$|[\s_)\]])", name) is not None


def _time(name: str, unit_text: str) -> TimeUnit | None:
    told = [find_time_multiple(unicodedata.normalize("NFKC", text)) for text in _set_apart(name, unit_text)]
    multiple = next((t for t in (*told, trailing_multiple(name)) if t is not None), None)
    if multiple is not None or doubtful_factors(name) or doubtful_factors(unit_text):
        return multiple
    for text in (*_unit_texts(name, unit_text), name):
        bare = text.strip("[]() ")
        try:
            return time_unit(_TIME_UNITS.get(bare.casefold(), bare))
        except UsageError:
            continue
    return None
