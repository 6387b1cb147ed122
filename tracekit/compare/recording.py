"""From a diagnosis to the recordings that are compared, one per log and station."""

import math
from collections.abc import Sequence

import numpy as np

from tracekit.errors import UsageError, message
from tracekit.model.comparison import Recording
from tracekit.model.result import DiagnosisRecord, StationResult
from tracekit.model.station import Station


def recording_of(record: DiagnosisRecord, station: str | None, files: Sequence[Station]) -> Recording:
    """The recording of one station of a diagnosed log.

    station  its name; None where the log has only one
    Raises UsageError where the log has several stations and none is named, or not that one.
    """
    result = _chosen(record, station)
    file = _file_of(result.data.station, files)
    above = [f.code for f in result.findings if f.severity != "info"]
    first = next((f.code for f in result.findings if f.severity != "info" and f.kind != "symptom"), None)
    common = [line.u_kpa_s for line in result.leak.budget if line.common]
    return Recording(
        facts=record.logs[0],
        station=result.data.station,
        cycles=result.data.cycles,
        sensor=result.data.sensor,
        leak=result.leak.decay_rate,
        leak_rate=result.leak_rate_pa_m3_s if file and file.station.volume_ml is not None else None,
        leak_common_u=math.sqrt(sum(u * u for u in common)) if common else None,
        mechanism=result.leak.mechanism,
        settings=result.data.settings,
        air_saving=result.data.air_saving,
        ambient_kpa=result.data.ambient_kpa,
        ambient_u_kpa=result.data.ambient_u_kpa,
        ambient_source=result.data.ambient_source,
        first_code=first or next(iter(above), None),
        codes=tuple(above),
        release_vacuum_kpa=_release_vacuum(result),
        sensor_at=file.station.sensor_at if file else "",
        volume_ml=file.station.volume_ml if file else None,
    )


def _release_vacuum(result: StationResult) -> float:
    """Median vacuum at which the releases begin [kPa]."""
    periods = result.data.periods
    begun = periods.floats("vacuum_start_kpa")[periods.where("kind", "release")]
    known = begun[np.isfinite(begun)]
    return float(np.median(known)) if len(known) else float("nan")


def _chosen(record: DiagnosisRecord, station: str | None) -> StationResult:
    names = [r.data.station for r in record.stations]
    if station is None:
        if len(names) == 1:
            return record.stations[0]
        found = f"{len(names)} stations: {', '.join(names)}"
        raise UsageError(message(record.logs[0].source, found, "one station to compare", "Give --only NAME."))
    if station not in names:
        found = f'no station "{station}"'
        raise UsageError(message(record.logs[0].source, found, f"one of {', '.join(names)}", "Correct --only."))
    return record.stations[names.index(station)]


def _file_of(name: str, files: Sequence[Station]) -> Station | None:
    """The station file of that name, else the only one."""
    named = [f for f in files if f.station.name == name]
    if named:
        return named[0]
    return files[0] if len(files) == 1 else None
