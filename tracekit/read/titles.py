"""Names of columns by the header of a text, where it fits them."""

from collections.abc import Sequence

from tracekit.model.trace import Assumption
from tracekit.options.evidence import EVIDENCE
from tracekit.read.digitals import ROLES
from tracekit.read.headers import unique_names
from tracekit.read.mending import aligned_names
from tracekit.read.sniff import TextForm, split
from tracekit.read.words import hints


def titles(form: TextForm, lines: Sequence[str], body: Sequence[str]) -> tuple[tuple[str, ...], Assumption | None]:
    """Names of the columns; those of a header that does not fit are not used. `body` are some rows."""
    header = form.header
    if form.delimiter == " " and header.fields != form.fields and (names := aligned_names(lines, form)):
        fact = Assumption(what="header", value="by place", evidence="names stand above their columns", confidence=0.95)
        return unique_names(names, form.fields), fact
    if not header.names:
        fact = Assumption(what="header", value="none", evidence="the first line holds values", confidence=0.97)
        return unique_names((), form.fields), fact
    rows = [split(line, form.delimiter, '"') for line in body]
    if header.fields == form.fields or _rest_empty(form, rows):
        return unique_names(header.names, form.fields), None
    if header.fields == form.fields + 1 and header.left and _without_last(header.names, header.left, rows):
        evidence = f'no row has a field below the last name, "{header.left}"'
        fact = Assumption(what="header", value="all names but the last", evidence=evidence, confidence=0.9)
        return unique_names(header.names, form.fields), fact
    found = f"{header.fields} names above {form.fields} columns, so they are not used"
    fact = Assumption(what="header", value="not used", evidence=found, confidence=0.9)
    return unique_names((), form.fields), fact


def _rest_empty(form: TextForm, rows: Sequence[Sequence[str]]) -> bool:
    """True where the names are short by columns that are always empty."""
    have = form.header.fields
    return have < form.fields and all(not cell.strip() for row in rows for cell in row[have:])


def _without_last(names: Sequence[str], last: str, rows: Sequence[Sequence[str]]) -> bool:
    """True where the last name is no channel's, and each of the others stands above values such as it says.

    Signals have two levels and a pressure has more: where a column is missing further left, one of them shows it.
    """
    known = hints(last)
    signal = any(known.weight(role) for role in ROLES)
    if signal or known.pressure_unit is not None or known.weight("time") or known.weight("pressure"):
        return False
    said = []
    for place, name in enumerate(names):
        own = hints(name)
        levels = len({row[place].strip() for row in rows if len(row) == len(names)})
        signal = any(own.weight(role) >= EVIDENCE.name_weight for role in ROLES)
        pressure = own.weight("pressure") >= EVIDENCE.name_weight or own.pressure_unit is not None
        if signal or pressure:
            said.append((levels > EVIDENCE.signal_levels) is not signal)
    return len(said) > 1 and all(said)
