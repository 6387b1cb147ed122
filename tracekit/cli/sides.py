"""The recordings on the sides of a comparison: logs found, measured or diagnosed, and cut to one station."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path, PurePath

from tracekit.cli.progress import reading_progress, show
from tracekit.compare.recording import chosen_station, file_of, recording_from, recording_of
from tracekit.errors import UsageError, message
from tracekit.model.comparison import Recording, Recordings
from tracekit.model.station import Station
from tracekit.pipeline import MeasuredLog, diagnose, leak_flows, measure, with_leak
from tracekit.read.source import find_inputs

DEFAULT_OUT = Path("tracekit-out")
STANDARD_INPUT = "-"


def recordings(
    logs: Sequence[str],
    stations: Sequence[Station],
    only: str | None,
    *,
    findings: bool = False,
    started_us: int | None = None,
) -> Recordings:
    """One recording per log; folders and globs give their files. Logs that are the same file count once.

    With `findings` each log is diagnosed, so that its first finding is known; else it is only measured. `started_us`
    dates a log without dates.

    Raises UsageError where a start is given for several files.
    """
    files = tuple(stations) or None
    paths = log_paths(logs)
    if started_us is not None and len(paths) > 1:
        raise UsageError(message("--started", f"{len(paths)} files on its side", "one", "Name the files one by one."))
    if findings:
        found = (diagnose(path, station=files, started_us=started_us, heard=reading_progress([path])) for path in paths)
        sides = tuple(recording_of(record, only, stations) for record in found)
    else:
        measured = (measure(path, files, started_us=started_us, heard=reading_progress([path])) for path in paths)
        sides = tuple(_measured(log, only, stations) for log in measured)
    show("")
    return sides


def log_paths(logs: Sequence[str]) -> tuple[str, ...]:
    """The files among files, folders and globs, each once; standard input is looked at only when it is read."""
    found = ([log] if log == STANDARD_INPUT else [str(one.path) for one in find_inputs(log)] for log in logs)
    return tuple(dict.fromkeys(path for paths in found for path in paths))


def told_apart(
    sides: tuple[Recordings, Recordings], logs: tuple[Sequence[str], Sequence[str]]
) -> tuple[Recordings, Recordings]:
    """The recordings with names that tell their files apart: as much of each path as it takes.

    logs  what `recordings` was given for each side
    """
    paths = [log_paths(one) if one else () for one in logs]
    names = apart([*paths[0], *paths[1]])
    before, after = (
        tuple(replace(r, facts=replace(r.facts, source=names[path])) for r, path in zip(side, own, strict=True))
        for side, own in zip(sides, paths, strict=True)
    )
    return before, after


def apart(paths: Sequence[str]) -> dict[str, str]:
    """For each path the shortest end that no other path has: its base name, where that is enough."""
    whole = {path: PurePath(path).parts for path in paths}
    names = {}
    for path, parts in whole.items():
        others = [other for other in whole.values() if other != parts]
        size = next((k for k in range(1, len(parts)) if all(o[-k:] != parts[-k:] for o in others)), len(parts))
        names[path] = PurePath(*parts[-size:]).as_posix()
    return {path: name if path != STANDARD_INPUT else "standard input" for path, name in names.items()}


def _measured(log: MeasuredLog, only: str | None, stations: Sequence[Station]) -> Recording:
    """One station of a measured log."""
    names = [s.station for s in log.stations]
    at = chosen_station(names, only, log.facts.source)
    leak, own = log.leaks[at], log.files[at]
    data = with_leak(log.stations[at], leak, own)
    return recording_from(log.facts, data, leak, leak_flows(leak, own, data)[0], file_of(names[at], stations))


def station_files(paths: Sequence[Path]) -> tuple[Path, ...]:
    """Every station file named, each once; those of a folder each."""
    return tuple(dict.fromkeys(f for p in paths for f in (sorted(p.glob("*.toml")) if p.is_dir() else [p])))


def station_hashes(paths: Sequence[Path]) -> dict[str, str]:
    """Name and SHA-256 of every station file; with as much of its path as tells it apart from the others."""
    files = station_files(paths)
    names = apart([str(f) for f in files])
    return {names[str(f)]: hashlib.sha256(f.read_bytes()).hexdigest() for f in files}


def read_document(path: Path) -> dict[str, object]:
    """A JSON object from a file.

    Raises UsageError where it cannot be read or is none.
    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        found = error.strerror or "unreadable"
        raise UsageError(message(str(path), found, "a JSON file", "Check the name.")) from error
    except (ValueError, RecursionError) as error:
        found = f"no JSON ({str(error)[:200]})"
        raise UsageError(message(path.name, found, "a JSON file", "Check the file.")) from error
    if not isinstance(document, dict):
        raise UsageError(message(path.name, "no JSON object", "a file that tracekit wrote", "Check the file."))
    return document


def folder_for(out: Path | None, log: str) -> Path:
    """`out`, else tracekit-out/ and the log's stem."""
    stem = "standard-input" if log == STANDARD_INPUT else Path(log).name.split(".")[0] or "log"
    return out if out is not None else DEFAULT_OUT / stem
