"""The index of a folder of results: every page in it, the worst first, with verdict, first step and link."""

import json
import math
import re
from collections.abc import Mapping, Sequence
from html import unescape
from pathlib import Path
from urllib.parse import quote

from tracekit.frozen import dataclass
from tracekit.options.report import ReportOptions
from tracekit.report import sections
from tracekit.report.frame import Block, frame, render
from tracekit.report.page import FOLDER, INDEX_NAME, UNDATED, index_headline
from tracekit.report.text import clean
from tracekit.report.words import count

FOLDER_INDEX = "index.html"
_RANK = ("critical", "major", "minor", "info")
_HEAD_BYTES, _DEEPEST, _MOST_FAILED = 16_384, 3, 100
_TOLD = re.compile(r'<meta name="tracekit-page" content="([^"]*)">')
_TITLE = re.compile(r"<title>([^<]*)</title>")
_OURS = '<meta http-equiv="Content-Security-Policy" content="default-src '
_PLAIN = ReportOptions()


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One page of a folder: its place there, its title, and what its head says; `told` is None for other pages."""

    path: str
    title: str
    told: Mapping[str, str] | None


def folder_page(folder: Path, failed: Sequence[tuple[str, str]] = (), options: ReportOptions = _PLAIN) -> str:
    """The index of all pages at and below a folder; `failed` are logs without a page, with the reason."""
    entries = found_pages(folder)
    results = sorted((e for e in entries if e.told is not None), key=_order)
    others = [e for e in entries if e.told is None]
    headline = _headline(results, len(failed))
    shown, left = results[: options.most_rows], len(results) - options.most_rows
    values = {
        "headline": headline, "lead": _lead(results, left, len(failed)), "rows": [_row(e) for e in shown],
        "others": [(_href(e.path), e.title) for e in others[: options.most_rows]],
        "failed": [_failed(log, why) for log, why in failed[:_MOST_FAILED]],
        "failed_left": max(0, len(failed) - _MOST_FAILED),
    }  # fmt: skip
    blocks = [
        Block("answer", "", render("folder.html", values, options.unit), page_one=True),
        Block("cautions", "Before you act", sections.cautions(), "Cautions"),
    ]
    name = clean(folder.resolve().name, 60) or "results"
    return frame(headline, blocks, identity=(name, f"{count(len(entries))} pages"), provenance=(), unit=options.unit)


def found_pages(folder: Path) -> list[Entry]:
    """Every page that tracekit wrote at or below a folder, at most three levels deep, by path."""
    depths = ["/".join(["*"] * k + [INDEX_NAME]) for k in range(_DEEPEST + 1)]
    paths = [p for pattern in depths for p in folder.glob(pattern) if FOLDER not in p.relative_to(folder).parts]
    found = [_entry(folder, path) for path in sorted(paths)]
    return [entry for entry in found if entry is not None]


def _entry(folder: Path, path: Path) -> Entry | None:
    """What the head of a page says; None for a file that cannot be read, or that tracekit did not write."""
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES).decode("utf-8", "replace")
    except OSError:
        return None
    if _OURS not in head:
        return None
    title = _TITLE.search(head)
    name = clean(unescape(title.group(1)), 120) if title else path.parent.name
    return Entry(path=path.relative_to(folder).as_posix(), title=name, told=_told(head))


def _told(head: str) -> dict[str, str] | None:
    found = _TOLD.search(head)
    try:
        told = json.loads(unescape(found.group(1))) if found else None
    except ValueError:
        return None
    if not isinstance(told, dict) or told.get("severity") not in _RANK:
        return None
    return {str(k): clean(v, 200) for k, v in told.items()}


def _order(entry: Entry) -> tuple[int, float, str, str]:
    """By severity; among those without a fault the ones that cannot be judged first, the largest leak before."""
    assert entry.told is not None
    return _RANK.index(entry.told["severity"]), -_untold_kpa_s(entry), entry.told.get("name", ""), entry.path


def _untold_kpa_s(entry: Entry) -> float:
    """The leak of a page that could not be judged, 0 for any other; what is not a number counts as none."""
    try:
        rate = float((entry.told or {}).get("untold_kpa_s", "") or 0.0)
    except ValueError:
        return 0.0
    return rate if math.isfinite(rate) and (entry.told or {}).get("severity") == "info" else 0.0


def _row(entry: Entry) -> dict[str, str]:
    assert entry.told is not None
    return {
        **{k: entry.told.get(k, "") for k in ("name", "headline", "lead", "passed", "action", "first")},
        "href": _href(entry.path), "beneath": ", ".join(_beneath(entry)),
    }  # fmt: skip


def _beneath(entry: Entry) -> list[str]:
    """Folder and date, as far as they say more than the name."""
    assert entry.told is not None
    where, when = clean(str(Path(entry.path).parent), 60), entry.told.get("when", "")
    return [text for text in (where, when) if text and text not in (entry.told.get("name"), ".", UNDATED)]


def _failed(log: str, why: str) -> tuple[str, str]:
    """The name of a log without a result, and the reason without that name."""
    name = Path(log).name
    return clean(name, 80), clean(why.removeprefix(f"{name}: "), 300)


def _href(path: str) -> str:
    """A relative link; the dot keeps a name with a colon from reading as a scheme."""
    return f"./{quote(path)}"


def _headline(results: Sequence[Entry], failed: int) -> str:
    """The verdict over all recordings; one that could not be read cannot be judged either."""
    n = len(results) + failed
    if not results:
        return "No diagnosis in this folder"
    wrong = sum(e.told is not None and e.told["severity"] != "info" for e in results)
    untold = failed + sum(_untold_kpa_s(e) > 0.0 for e in results)
    sound = f"No fault found in {count(n)} recording{'' if n == 1 else 's'}"
    return index_headline((wrong, untold, n), "recording", sound)


def _lead(results: Sequence[Entry], left: int, failed: int) -> str:
    if not results:
        return ""
    logs = f" {count(failed)} log{'s' if failed != 1 else ''} without a result stand{'' if failed != 1 else 's'} below."
    more = f" The {count(left)} least urgent are not listed." if left > 0 else ""
    return f"The worst first. Each name opens its page.{more}{logs if failed else ''}"
