"""What the tests of reading share."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.read.dialects import Dialect, Recording, write
from tracekit.model.station import Station
from tracekit.model.trace import Layout, LogFacts
from tracekit.options.read import ReadOptions
from tracekit.read import open_log


@dataclass(frozen=True, kw_only=True)
class Read:
    """A log read to its end; arrays of shape (n,)."""

    time_s: np.ndarray
    pressure_kpa: np.ndarray
    digital: np.ndarray
    station: np.ndarray
    layout: Layout
    facts: LogFacts


def read(source, station=None, options: ReadOptions | None = None) -> Read:
    """All samples of a log and the facts about it."""
    log = open_log(source, station or Station(), options=options or ReadOptions())
    blocks = list(log.blocks())
    facts = log.facts()
    assert facts.rows_read == facts.rows_used + facts.rows_rejected
    joined = {
        name: np.concatenate([np.empty(0), *(getattr(b, name) for b in blocks)])
        for name in ("time_s", "pressure_kpa", "digital")
    }
    joined["digital"] = joined["digital"].astype(np.uint8)
    station_of = np.concatenate([np.empty(0), *(np.full(len(b.time_s), b.station) for b in blocks)])
    return Read(**joined, station=station_of, layout=log.layout, facts=facts)


def wrong(rec: Recording, found: Read, dialect: Dialect) -> str:
    """What differs between a reading and the recording; empty where nothing does.

    An absolute pressure and a share of ambient may be off by the ambient that was taken for them.
    """
    if len(found.time_s) != len(rec.time_s):
        return f"{len(found.time_s)} samples instead of {len(rec.time_s)}: {found.facts.rejections}"
    late = np.abs(found.time_s - rec.time_s).max()
    if late > (0.0151 if dialect.time == "rounded" else 2e-4):
        return f"time is off by {late} s"
    off = np.abs(found.pressure_kpa - rec.pressure_kpa)
    missing = 10 if dialect.error_text else 0
    if np.isnan(off).sum() != missing:
        return f"{np.isnan(off).sum()} pressures missing instead of {missing}"
    allowed = 0.62 if dialect.sense == "absolute" or dialect.unit == "%" else 0.02
    if np.nanmax(off) > allowed:
        return f"pressure is off by {np.nanmax(off)} kPa"
    return "" if np.array_equal(found.digital, rec.digital) else f"levels differ: {found.layout.columns}"


def written(folder: Path, rec: Recording, dialect: Dialect, name: str = "log.csv") -> Path:
    """The recording in a file."""
    path = folder / name
    path.write_bytes(write(rec, dialect))
    return path
