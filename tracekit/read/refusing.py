"""Texts that are no table with a column per channel: what was seen of them."""

import re
from collections.abc import Sequence

from tracekit.errors import LogReadError, message
from tracekit.options.evidence import EVIDENCE
from tracekit.read.cells import cell_kind
from tracekit.read.sniff import DELIMITERS, split

_NESTED = re.compile(r"\{.*[:,\[]\s*\{.*\}.*\},?")
_MEMBER = re.compile(r'[\[\]{}]+,?|[\]}]+,?[ \t]*[\[{]|"(?:[^"\\]|\\.)*"\s*:.*')
_ALIKE, _MOST_LINES, _FEWEST_CELLS, _WIDE = 0.9, 60, 200, 10
_LISTED = re.compile(r"-(?:[ \t]+(?:\{.*|[^\s:{][^:]*:.*))?")
_MAPPED = re.compile(r"[^\s:{][^:]*:(?:[ \t].*)?|[\w.]+:")
"""A table on its side has few lines, many cells in each, and so many times more than it has lines."""


def check_table(written: Sequence[str], name: str) -> None:
    """Raise LogReadError where lines are records inside records, or a table on its side.

    `written` are the lines that hold something, without blanks at their ends.
    """
    firsts = "".join([line[0] for line in written])
    nested = [line for line in written if _NESTED.fullmatch(line)] if "{" in firsts else []
    if len(nested) > _ALIKE * len(written):
        found = "records of JSON with records inside them"
        todo = 'Export flat records, such as {"time_s": 0.01, "pressure_kpa": -57.3}, or CSV.'
        raise LogReadError(message(name, found, "one name and one value per channel", todo))
    opened = written[:1] in (["["], ["[{"])
    if opened and sum(_MEMBER.fullmatch(line) is not None for line in written) > _ALIKE * len(written):
        found = "a list of JSON whose records stand over several lines each"
        todo = 'Export a record per line, such as {"time_s": 0.01, "pressure_kpa": -57.3}, or CSV.'
        raise LogReadError(message(name, found, "a line per sample", todo))
    if firsts.count("-") >= EVIDENCE.fewest_lines and _is_outline(written):
        found = 'a list of items in the manner of YAML, "- name: value"'
        todo = "Export a line per sample with the names once above: CSV, or flat records of JSON."
        raise LogReadError(message(name, found, "a line per sample", todo))
    if (cells := _cells_of_turned(written)) > 0:
        found = f"{len(written)} lines of {cells} values behind a name each: channels stand in lines"
        raise LogReadError(message(name, found, "a column per channel", "Exchange lines and columns and read again."))


def _cells_of_turned(written: Sequence[str]) -> int:
    """Values per line of a table whose lines are channels, 0 where it is none."""
    if not 2 <= len(written) <= _MOST_LINES:
        return 0
    for delimiter in DELIMITERS[:-1]:
        count = written[-1].count(delimiter)
        if count < max(_FEWEST_CELLS, _WIDE * len(written)) or any(w.count(delimiter) != count for w in written):
            continue
        rows = [[cell_kind(c) for c in split(line, delimiter)[:_FEWEST_CELLS]] for line in written]
        values = [kind != "text" for row in rows for kind in row[1:]]
        if all(row[0] == "text" for row in rows) and sum(values) > _ALIKE * len(values):
            return count
    return 0


def _is_outline(written: Sequence[str]) -> bool:
    """True for lines of which some begin an item with a dash and all others name a value."""
    items = sum(1 for line in written if line[0] == "-" and _LISTED.fullmatch(line))
    if items < EVIDENCE.fewest_lines:
        return False
    others = sum(1 for line in written if line[0] != "-" and _MAPPED.fullmatch(line))
    return items + others >= EVIDENCE.alike_lines * len(written)
