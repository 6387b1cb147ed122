"""The frame that every page of tracekit stands in: tokens, head, identity line, blocks, provenance."""

import base64
import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING

from tracekit.frozen import dataclass
from tracekit.report.exact import settled
from tracekit.report.markup import numbers
from tracekit.report.text import clean, escape
from tracekit.report.words import OFFERED_UNITS, PAGE_UNITS

if TYPE_CHECKING:
    from jinja2 import Environment

_PAGE = (
    "frame", "blocks", "answer", "steps", "causes", "evidence", "limits", "assumed", "cautions", "ruled",
)  # fmt: skip
_LONGEST = 2000
_HASH = re.compile(r"[0-9a-f]{32}")


@dataclass(frozen=True, slots=True)
class Block:
    """One block of a page. `html` is finished, escaped HTML.

    id        anchor, unique on the page
    title     heading; "" where the block brings its own
    html      the content
    margin    one word for the left margin of wide screens
    beside    HTML that stands to the right of the content from 960 px, below it on a phone
    page_one  belongs on the first sheet of the print
    """

    id: str
    title: str
    html: str
    margin: str = ""
    beside: str = ""
    page_one: bool = False


def frame(
    title: str,
    body_blocks: Sequence[Block],
    *,
    identity: Sequence[str],
    provenance: Sequence[tuple[str, str]],
    unit: str = "kPa",
    scripts: Sequence[str] = (),
    data: Mapping[str, object] | None = None,
    print_note: str = "",
    told: Mapping[str, object] | None = None,
) -> str:
    """A whole page that needs nothing but itself.

    title       text of the browser's tab (plain text, escaped here)
    body_blocks in reading order; those with `page_one` fill the first printed sheet
    identity    plain texts of the first line, the name first
    provenance  pairs of label and plain text, shown last; long hashes may break anywhere
    unit        pressure unit shown at first; numbers marked by `words.html` follow the reader's switch
    scripts     sources of further scripts, each allowed by its hash
    data        values for the scripts by name, embedded as JSON
    print_note  finished HTML at the foot of the first printed sheet
    told        what an index of a folder says of the page, in its head, so that few bytes have to be read
    """
    style = asset("page.css")
    sources = (asset("page.js"), *scripts)
    embedded = {"units": PAGE_UNITS, "unit": unit, **(data or {})}
    page = str(
        _environment()
        .get_template("frame.html")
        .render(
            title=clean(title, 120),
            identity=[clean(part, 80) for part in identity if part],
            first=[b for b in body_blocks if b.page_one],
            rest=[b for b in body_blocks if not b.page_one],
            provenance=[(label, _value(value, unit), bool(_HASH.search(value))) for label, value in provenance],
            style=style,
            scripts=sources,
            policy=_policy(style, sources),
            units=list(dict.fromkeys([*OFFERED_UNITS, unit])),
            unit=unit,
            data=_json(embedded),
            print_note=print_note,
            told=json.dumps(told, ensure_ascii=True, sort_keys=True) if told else "",
        )
    )
    return settled(page, unit)


def _value(text: str, unit: str) -> str:
    """A value of the provenance as HTML; what was typed, up to a semicolon, stands as it was."""
    typed, mark, rest = clean(text, 600).partition("; ") if text.startswith("--") else ("", "", clean(text, 600))
    return escape(typed + mark) + numbers(rest, unit)


def render(template: str, values: Mapping[str, object], unit: str = "kPa") -> str:
    """A template of this package filled in; every value is escaped unless the template marks it as finished HTML.

    The filter `numbers` writes an outside sentence with its pressures in `unit`, marked for the reader's switch.
    """
    return str(_environment().get_template(template).render({**values, "unit": unit}))


def prepare() -> None:
    """Load and compile what the page of a diagnosis needs, ahead of the first one."""
    for name in _PAGE:
        _environment().get_template(f"{name}.html")
    for name in ("page.css", "page.js", "explore.js", "cycles.js"):
        asset(name)


@lru_cache(maxsize=32)
def asset(name: str) -> str:
    """The text of a file in the package's templates folder."""
    return resources.files("tracekit.report").joinpath("templates", name).read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def _environment() -> "Environment":
    """Jinja2, loaded only when a page is made."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined, pass_context
    from markupsafe import Markup

    found = Environment(
        loader=FunctionLoader(asset), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    found.filters["numbers"] = pass_context(lambda context, text: Markup(numbers(text, context["unit"], _LONGEST)))  # noqa: S704
    return found


def _policy(style: str, scripts: Sequence[str]) -> str:
    """The Content-Security-Policy: nothing is loaded, only what is hashed here applies or runs."""
    hashes = " ".join(_hash(s) for s in scripts)
    return (
        f"default-src 'none'; style-src {_hash(style)}; script-src {hashes}; "
        "base-uri 'none'; form-action 'none'"
    )  # fmt: skip


def _hash(source: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(source.encode()).digest()).decode()}'"


def _json(values: Mapping[str, object]) -> str:
    """JSON that cannot end the script element it stands in."""
    text = json.dumps(values, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
