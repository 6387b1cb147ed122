"""From a diagnosis to the recordings that are compared, one per log and station."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracekit.compare.holds import hold_rows_of
from tracekit.errors import UsageError, message
from tracekit.model.comparison import Recording
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Quantity
from tracekit.model.result import DiagnosisRecord, LeakResult
from tracekit.model.station import Station
from tracekit.model.trace import LogFacts


def recording_of(record: DiagnosisRecord, station: str | None, files: Sequence[Station]) -> Recording:
    """The recording of one station of a diagnosed log, with the codes of its findings.

    station  its name; None where the log has only one
    Raises UsageError where the log has several stations and none is named, or not that one.
    """
    names = [r.data.station for r in record.stations]
    result = record.stations[chosen_station(names, station, record.logs[0].source)]
    file = file_of(result.data.station, files)
    above = [f.code for f in result.findings if f.severity != "info"]
    first = next((f.code for f in result.findings if f.severity != "info" and f.kind != "symptom"), None)
    plain = recording_from(record.logs[0], result.data, result.leak, result.leak_rate_pa_m3_s, file)
    return replace(plain, first_code=first or next(iter(above), None), codes=tuple(above))


def recording_from(
    facts: LogFacts, data: StationData, leak: LeakResult, leak_rate: Quantity, file: Station | None
) -> Recording:
    """The recording of one measured station. `data` holds the leak rates in its cycles; nothing is judged."""
    common = [line.u_kpa_s for line in leak.budget if line.common]
    return Recording(
        facts=facts,
        station=data.station,
        cycles=data.cycles,
        sensor=data.sensor,
        leak=leak.decay_rate,
        leak_rate=leak_rate if file and file.station.volume_ml is not None else None,
        leak_common_u=math.sqrt(sum(u * u for u in common)) if common else None,
        mechanism=leak.mechanism,
        settings=data.settings,
        air_saving=data.air_saving,
        ambient_kpa=data.ambient_kpa,
        ambient_u_kpa=data.ambient_u_kpa,
        ambient_source=data.ambient_source,
        release_vacuum_kpa=_release_vacuum(data),
        sensor_at=file.station.sensor_at if file else "",
        volume_ml=file.station.volume_ml if file else None,
        holds=hold_rows_of(data),
    )


def chosen_station(names: Sequence[str], wanted: str | None, source: str) -> int:
    """Which of a log's stations is meant: the one named, else the only one.

    Raises UsageError where the log has several and none is named, or not that one.
    """
    if wanted is None:
        if len(names) == 1:
            return 0
        found = f"{len(names)} stations: {', '.join(names)}"
        raise UsageError(message(source, found, "one station to compare", "Give --only NAME."))
    if wanted not in names:
        found = f'no station "{wanted}"'
        raise UsageError(message(source, found, f"one of {', '.join(names)}", "Correct --only."))
    return list(names).index(wanted)


def file_of(name: str, files: Sequence[Station]) -> Station | None:
    """The station file of that name, else the only one."""
    named = [f for f in files if f.station.name == name]
    if named:
        return named[0]
    return files[0] if len(files) == 1 else None


def _release_vacuum(data: StationData) -> float:
    """Median vacuum at which the releases begin [kPa]."""
    begun = data.periods.floats("vacuum_start_kpa")[data.periods.where("kind", "release")]
    known = begun[np.isfinite(begun)]
    return float(np.median(known)) if len(known) else float("nan")
