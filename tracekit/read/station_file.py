"""Reads station files. All faults of all files are told at once, each with file, line and key."""

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

from tracekit.errors import StationFileError, UsageError, message, nearest
from tracekit.model.station import Display, Limit, Load, Price, Settings, Station, StationFacts
from tracekit.read.station_channels import read_channels
from tracekit.read.station_check import Faults, check_table, describe
from tracekit.read.station_keys import CUP, HOSE, LIMIT, LIMIT_NAMES, SECTIONS, SETTINGS

_ALL_SECTIONS = (*SECTIONS, "channels", "limits")
_HEADER = re.compile(r"\s*\[\s*([\w-]+)(?:\s*\.\s*([\w-]+))?\s*\]")
_ENTRY = re.compile(r"\s*[\"']?([\w-]+)[\"']?\s*[.=]")
_RELATION = re.compile(r"(below|above) (\w+)")


def load_station(path: str | Path) -> Station:
    """The station that a TOML file describes.

    Raises StationFileError with every fault of the file: where, what was found, what was expected, what to do.
    """
    return load_stations([path])[0]


def load_stations(paths: Sequence[str | Path]) -> tuple[Station, ...]:
    """The stations of several files, and of every `.toml` file of a folder, sorted by name.

    Raises StationFileError with every fault of every file.
    """
    stations: list[Station] = []
    faults: list[str] = []
    for path in _station_files(paths, faults):
        text = _text_of(path, faults)
        if text is not None:
            stations.append(_checked(text, path.name, faults))
    faults.extend(_same_names(stations))
    _raise(faults)
    return tuple(stations)


def parse_station(text: str, source: str) -> Station:
    """The station that a TOML text describes; `source` names it in messages.

    Raises StationFileError with every fault of the text.
    """
    faults: list[str] = []
    station = _checked(text, source, faults)
    _raise(faults)
    return station


def match_stations(stations: Sequence[Station], names: Sequence[str]) -> dict[str, Station]:
    """The station file of each of a log's stations, by name; names without one are left out.

    One file and one station belong together whatever their names; a single file without a name belongs to all
    stations. Upper and lower case do not matter; among several a file without a name goes by its file name.

    Raises UsageError where several are given and none fits.
    """
    if len(stations) == 1 and (len(names) == 1 or stations[0].station.name is None):
        return dict.fromkeys(names, stations[0])
    by_name = {station_key(station): station for station in stations}
    matched = {name: by_name[name.strip().casefold()] for name in names if name.strip().casefold() in by_name}
    if stations and not matched:
        given = ", ".join(f'"{station.station.name or station.source}"' for station in stations)
        wanted = "the name of a station in the log: " + ", ".join(f'"{n}"' for n in names[:20])
        raise UsageError(message("station files", f"found {given}", wanted, "Set name under [station]."))
    return matched


def station_key(station: Station) -> str:
    """The name by which a station file is matched: that under [station], else its file name; in lower case."""
    return (station.station.name or Path(station.source).stem).strip().casefold()


def _raise(faults: Sequence[str]) -> None:
    if len(faults) == 1:
        raise StationFileError(faults[0])
    if faults:
        listed = "\n".join(f"  {fault}" for fault in faults)
        raise StationFileError(f"{len(faults)} faults in the station file:\n{listed}")


def _station_files(paths: Sequence[str | Path], faults: list[str]) -> list[Path]:
    files: list[Path] = []
    for path in map(Path, paths):
        try:
            inside = sorted(path.glob("*.toml")) if path.is_dir() else [path]
        except OSError:  # a name that no file can have: reading it says so
            inside = [path]
        if not inside:
            faults.append(message(path.name, "the folder holds no .toml file", "station files", "Name one."))
        files.extend(inside)
    return files


def _text_of(path: Path, faults: list[str]) -> str | None:
    """The text of a file, or None and a fault."""
    todo = 'A file to start from is written by "tracekit inspect LOG --write-station FILE".'
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        faults.append(message(path.name, f"byte {error.start} is no UTF-8 text", "a TOML text", "Save it as UTF-8."))
    except OSError as error:
        faults.append(message(str(path), f"cannot be read ({error.strerror})", "a station file", todo))
    return None


def _same_names(stations: Sequence[Station]) -> list[str]:
    seen: dict[str, str] = {}
    found: list[str] = []
    for station in stations:
        key = station_key(station)
        if key in seen:
            what = f'the name "{station.station.name or key}" is also in {seen[key]}'
            found.append(message(f"{station.source}, [station] name", what, "one file per station", "Rename one."))
        seen.setdefault(key, station.source)
    return found


def _lines(text: str) -> dict[tuple[str, str], int]:
    """The line of every (section, key); a section's own line stands under the empty key."""
    found: dict[tuple[str, str], int] = {}
    section, inner = "", ""
    for number, line in enumerate(text.splitlines(), start=1):
        header, entry = _HEADER.match(line), _ENTRY.match(line)
        if header:
            section, inner = header[1], header[2] or ""
            found.setdefault((section, inner), number)
        elif entry:
            found.setdefault((section, inner or entry[1]), number)
    return found


def _checked(text: str, source: str, faults: list[str]) -> Station:
    """The station of a text; what is at fault is added to `faults` and left at its default."""
    try:
        document = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, ValueError, RecursionError) as error:
        found = f"this is no TOML ({str(error)[:200]})"
        faults.append(message(source, found, "lines like key = value", "Correct that line."))
        return Station(source=source)
    keeper = Faults(file=source, lines=_lines(text), found=faults)
    tables = _tables(document, keeper)
    facts = _facts(tables.get("station", {}), keeper)
    settings = Settings(**check_table("settings", SECTIONS["settings"], tables.get("settings", {}), keeper))
    display = _display(tables.get("display", {}), keeper)
    _check_order(settings, facts, keeper)
    channels, context = read_channels(tables.get("channels", {}), keeper)
    price = check_table("price", SECTIONS["price"], tables.get("price", {}), keeper)
    return Station(
        station=facts,
        settings=settings,
        display=display,
        channels=channels,
        context=context,
        load=_load(tables["load"], keeper) if tables.get("load") else None,
        limits=_limits(tables.get("limits", {}), keeper),
        price=Price(**price) if tables.get("price") else None,
        source=source,
    )


def _tables(document: Mapping[str, object], faults: Faults) -> dict[str, dict[str, object]]:
    """The sections of the file by name."""
    tables: dict[str, dict[str, object]] = {}
    for name, value in document.items():
        if name not in _ALL_SECTIONS:
            homes = [s for s, keys in SECTIONS.items() if name in {k.name for k in keys}]
            todo = f"It belongs under [{homes[0]}]." if homes else nearest(name, _ALL_SECTIONS)
            line = faults.lines.get((name, "")) or faults.lines.get(("", name))
            place = f"{faults.file}, line {line}" if line else faults.file
            faults.found.append(message(place, f'unknown section or key "{name}"', "a known section", todo))
        elif isinstance(value, dict):
            tables[name] = value
        else:
            faults.add(name, "", f"found {describe(value)}", "a section", f"Write [{name}] on a line of its own.")
    return tables


def _facts(table: Mapping[str, object], faults: Faults) -> StationFacts:
    sound = check_table("station", SECTIONS["station"], table, faults, extra=("hoses", "cups"))
    computed = _computed_volume_ml(table, faults)
    if computed is not None and "volume_ml" in table:
        faults.add("station", "volume_ml", "found volume_ml beside hoses or cups", "one of the two", "Leave one out.")
    elif computed is not None:
        sound["volume_ml"] = computed
    zone = sound.get("timezone")
    if zone is not None and not _zone_known(zone):
        todo = 'Write it like "Europe/Lisbon" or "UTC".'
        faults.add("station", "timezone", f'found "{zone}"', "a zone of the time zone database", todo)
        del sound["timezone"]
    return StationFacts(**sound)


def _zone_known(zone: str) -> bool:
    try:
        ZoneInfo(zone)
    except (KeyError, ValueError, OSError):
        return False
    return True


def _computed_volume_ml(table: Mapping[str, object], faults: Faults) -> float | None:
    """Volume of hoses and cups [ml], None where neither is given or one is at fault."""
    total, complete = 0.0, True
    for name, keys in (("hoses", HOSE), ("cups", CUP)):
        entries = table.get(name, [])
        if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
            example = "{ " + ", ".join(f"{key.name} = 1" for key in keys) + " }"
            faults.add("station", name, f"found {describe(entries)}", f"a list like [{example}]", "Write it so.")
            complete = False
            continue
        for entry in entries:
            sound = check_table("station", keys, entry, faults, within=name)
            needed = [key.name for key in keys if key.name != "count"]
            missing = [key for key in needed if key not in entry]
            if missing:
                faults.add("station", name, f"{missing[0]} is missing", ", ".join(needed), "Add it.")
            complete = complete and all(key in sound for key in needed)
            if complete:
                total += sound.get("count", 1) * _volume_ml(sound)
    return total if complete and total > 0 else None


def _volume_ml(entry: Mapping[str, float]) -> float:
    """Volume of one hose (π/4·d²·L) or cup [ml]."""
    if "volume_ml" in entry:
        return entry["volume_ml"]
    return math.pi / 4.0 * entry["inner_mm"] ** 2 * entry["length_m"]


def _display(table: Mapping[str, object], faults: Faults) -> Display:
    sound = check_table("display", SECTIONS["display"], table, faults, extra=("entry",))
    entries = table.get("entry", {})
    if not isinstance(entries, dict):
        todo = 'Write it like { reset_point = "below set_point" }.'
        faults.add("display", "entry", f"found {describe(entries)}", "a table of settings", todo)
        entries = {}
    entry: dict[str, str] = {}
    for name, form in entries.items():
        if name not in SETTINGS:
            faults.add("display", "entry", f'unknown setting "{name}"', "a setting", nearest(name, SETTINGS))
            continue
        relation = _RELATION.fullmatch(form) if isinstance(form, str) else None
        if form == "absolute" or (relation and relation[2] in SETTINGS and relation[2] != name):
            entry[name] = str(form)
        else:
            wanted = '"absolute", or "below" or "above" and another setting'
            faults.add("display", "entry", f"{name} is {describe(form)}", wanted, 'For example "below set_point".')
    if _circular(entry):
        faults.add("display", "entry", "settings refer to one another", "one that is absolute", "Leave one out.")
    return Display(**sound, entry=entry)


def _circular(entry: Mapping[str, str]) -> bool:
    """Whether some setting is entered relative to itself by way of others."""
    for start in entry:
        name, seen = start, set[str]()
        while entry.get(name, "absolute") != "absolute" and name not in seen:
            seen.add(name)
            name = entry[name].split()[1]
        if name in seen:
            return True
    return False


def _check_order(settings: Settings, facts: StationFacts, faults: Faults) -> None:
    """What no device can have: reset < set, supply_on < supply_off.

    The order that a *good* station keeps (guard, step) is judged from the log: a station file must be able to say
    what a badly set device holds.
    """
    for low_name, low, high_name, high in (
        ("reset_point_kpa", settings.reset_point_kpa, "set_point_kpa", settings.set_point_kpa),
        ("supply_on_kpa", settings.supply_on_kpa, "supply_off_kpa", settings.supply_off_kpa),
    ):
        if low is not None and high is not None and not low < high:
            todo = "Write the settings as the device has them, in kPa of vacuum."
            faults.add("settings", low_name, f"{low:g} against {high_name} {high:g}", f"{low_name} < {high_name}", todo)
    if facts.ambient_kpa is not None:
        _check_below_ambient(settings, facts, facts.ambient_kpa, faults)


def _check_below_ambient(settings: Settings, facts: StationFacts, ambient_kpa: float, faults: Faults) -> None:
    values = [("settings", f"{name}_kpa", getattr(settings, f"{name}_kpa")) for name in SETTINGS]
    for section, key, value in [*values, ("station", "ref_vacuum_kpa", facts.ref_vacuum_kpa)]:
        if value is not None and value >= ambient_kpa:
            wanted = f"less than ambient_kpa {ambient_kpa:g}"
            faults.add(section, key, f"{value:g} kPa of vacuum", wanted, "Correct one of the two.")


def _load(table: Mapping[str, object], faults: Faults) -> Load:
    sound = check_table("load", SECTIONS["load"], table, faults)
    missing = [key for key in ("mass_kg", "cup_diameter_mm") if key not in table]
    if missing and "needed_vacuum_kpa" not in table:
        wanted = "needed_vacuum_kpa, or mass_kg and cup_diameter_mm"
        faults.add("load", "", f"missing: {', '.join(missing)}", wanted, "Add what is missing, or leave [load] out.")
    return Load(**sound)


def _limits(table: Mapping[str, object], faults: Faults) -> dict[str, Limit]:
    limits: dict[str, Limit] = {}
    for name, value in table.items():
        if name not in LIMIT_NAMES:
            near = [known for known in LIMIT_NAMES if name in known]
            hint = nearest(name, near or LIMIT_NAMES)
            faults.add("limits", name, "unknown measure", "a measure of the cycles table", hint)
            continue
        if not isinstance(value, dict):
            todo = f'Write {name} = {{ max = 4.0, severity = "major" }}.'
            faults.add("limits", name, f"found {describe(value)}", "a table with max or min", todo)
            continue
        sound = check_table("limits", LIMIT, value, faults, within=name)
        if "max" not in value and "min" not in value:
            faults.add("limits", name, "found neither max nor min", "one of them", "Add max or min.")
        if sound.get("min", -math.inf) > sound.get("max", math.inf):
            faults.add("limits", name, "min is above max", "min below max", "Exchange them.")
        limits[name] = Limit(**sound)
    return limits
