"""`tracekit trend`: how every measure of a history changes, and when a limit is reached."""

import json
import re
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from tracekit.cli.opening import OpenPage, show_page
from tracekit.cli.progress import StationsProgress, show
from tracekit.errors import UsageError, message, nearest
from tracekit.history.digest import digest_json, digest_text
from tracekit.history.events import parse_time
from tracekit.history.measures import MEASURES
from tracekit.history.trend import trend as find_trend
from tracekit.history.trend_json import trend_json
from tracekit.model.station import Limit
from tracekit.read.station_file import load_stations
from tracekit.report.files import check_folder, json_write, text_write, write_files
from tracekit.report.json import plain_object
from tracekit.report.text import clean
from tracekit.report.trend_page import trend_pages
from tracekit.units import pressure_unit

DEFAULT_OUT = Path("tracekit-out") / "trend"
_LIMIT = re.compile(r"\s*([a-z0-9_]+)\s*(<=|>=)\s*([-+0-9.eE]+)\s*")


class Digest(StrEnum):
    """Forms of the digest."""

    text = "text"
    json = "json"


def trend(
    history: Annotated[str, typer.Argument(metavar="DIR", help="Folder or address of the history.")],
    station: Annotated[list[Path] | None, typer.Option(help="Station file, or a folder of them, for limits.")] = None,
    limit: Annotated[
        list[str] | None, typer.Option(metavar="RULE", help='Limit where none is known: "decay_rate_kpa_s<=4".')
    ] = None,
    as_of: Annotated[str, typer.Option(metavar="TIME", help='What "now" means. Default: the newest log.')] = "",
    out: Annotated[Path | None, typer.Option(metavar="DIR", help="Default: tracekit-out/trend.")] = None,
    form: Annotated[
        Digest | None, typer.Option("--format", help="Print the digest for mail or chat; write no files.")
    ] = None,
    event: Annotated[list[str] | None, typer.Option(hidden=True)] = None,
    units: Annotated[str, typer.Option(metavar="UNIT", help="Pressure unit of the pages; files stay in kPa.")] = "kPa",
    as_json: Annotated[bool, typer.Option("--json", help="Print trend.json instead of the summary.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")] = False,
    open_page: OpenPage = False,
) -> None:
    """Show how every measure changes over time: slopes, steps, alarms, dates of crossing a limit.

    Repairs are noted with `tracekit history DIR --event "2025-03-02 Loader 2: cups changed"`, and shown here.
    """
    if event:
        todo = f'Note it with tracekit history {history} --event "{event[0][:80]}", then run trend again.'
        raise UsageError(message("--event", f'"{event[0][:80]}"', "no event here: trend only reads", todo))
    folder = out or DEFAULT_OUT
    unit = pressure_unit(units).symbol
    limits = dict(_limit(text) for text in limit or [])
    now_us = _end_of(as_of) if as_of else None
    stations = {s.station.name or s.source: s for s in load_stations(station or [])}
    if form is None:
        check_folder(folder)
    show(f"Reading {clean(history, 50)} ...")
    fleet = find_trend(history, stations=stations, limits=limits, as_of_us=now_us, heard=StationsProgress("trend"))
    show("")
    if form is not None:
        print(digest_text(fleet) if form is Digest.text else json.dumps(digest_json(fleet), ensure_ascii=False), end="")
        return
    document = trend_json(fleet, datetime.now(UTC).isoformat(timespec="seconds"))
    pages = {name: text_write(page) for name, page in trend_pages(fleet, unit).items()}
    write_files(folder, {"trend.json": json_write(document), **pages})
    if as_json:
        print(json.dumps(plain_object(document), ensure_ascii=False, indent=1))
    elif not quiet:
        print(digest_text(fleet), end="")
        print(f"Page: {folder / 'report.html'}")
    show_page(folder / "report.html", wanted=open_page)


def _end_of(as_of: str) -> int:
    """The moment asked for; of a date alone, the end of its day [us]."""
    moment_us, of_a_day = parse_time(as_of, "--as-of")
    return moment_us + (86_399_999_999 if of_a_day else 0)


def _limit(text: str) -> tuple[str, Limit]:
    """A limit from `decay_rate_kpa_s<=4`.

    Raises UsageError where it has another form or names no measure.
    """
    found = _LIMIT.fullmatch(text)
    names = [m.name for m in MEASURES]
    if found is None or found[1] not in names:
        hint = nearest(found[1], names) if found else 'For example --limit "decay_rate_kpa_s<=4".'
        raise UsageError(message("--limit", f'"{text[:80]}"', "a measure, <= or >=, a number", hint))
    try:
        value = float(found[3])
    except ValueError as error:
        raise UsageError(message("--limit", f'"{found[3]}"', "a number", "Correct it.")) from error
    return found[1], Limit(max=value) if found[2] == "<=" else Limit(min=value)
