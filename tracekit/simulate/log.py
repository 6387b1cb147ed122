"""Makes a log of a scenario and writes it with its truth."""

import csv
import json
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracekit.errors import OutputError, UsageError, message
from tracekit.frozen import dataclass
from tracekit.simulate.faults import apply_faults
from tracekit.simulate.gas import Array
from tracekit.simulate.recorder import record
from tracekit.simulate.run import run
from tracekit.simulate.scenario import Recorder, Scenario
from tracekit.simulate.schedule import Schedule, healthy_schedule
from tracekit.simulate.truth import build_truth

COLUMNS = ("time_s", "pressure_kpa", "supply", "release", "part_present")
FINE_STEP_S, COARSE_STEP_S = 0.0005, 0.001
FINE_FROM_HZ = 500.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedLog:
    """A log in the canonical columns, shape (n,) each, digitals as wired, and what really happened.

    `off_coil` is the second coil of a pulse valve; `names` are the columns that are written.
    """

    time_s: Array
    pressure_kpa: Array
    supply: NDArray[np.int8]
    release: NDArray[np.int8]
    part_present: NDArray[np.int8]
    truth: dict[str, Any]
    off_coil: NDArray[np.int8]
    names: tuple[str, ...] = COLUMNS

    def write(self, folder: str | Path, kind: str = "parquet", stem: str = "log") -> Path:
        """Write `<stem>.parquet` or `<stem>.csv` and `truth.json` (`<stem>_truth.json` where the stem is not log).

        Gives the path of the log. Raises UsageError for another kind, OutputError where the folder cannot be written.
        """
        if kind not in ("csv", "parquet"):
            raise UsageError(message("kind of log", f'"{kind}"', "csv or parquet", "Choose one of them."))
        place = Path(folder)
        path = place / f"{stem}.{kind}"
        try:
            place.mkdir(parents=True, exist_ok=True)
            with whole(path) as beside:
                (self._write_csv if kind == "csv" else self._write_parquet)(beside)
            with whole(place / ("truth.json" if stem == "log" else f"{stem}_truth.json")) as beside:
                beside.write_text(json.dumps(self.truth, separators=(",", ":")) + "\n", encoding="utf-8")
        except OSError as problem:
            said = problem.strerror or str(problem)
            raise OutputError(
                message(place.name, said, "a folder that can be written", "Choose another --out.")
            ) from problem
        return path

    def columns(self) -> tuple[NDArray[np.generic], ...]:
        """The columns in the order of `names`."""
        return tuple(getattr(self, name) for name in self.names)

    def _write_csv(self, path: Path) -> None:
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(self.names)
            writer.writerows(zip(*(c.tolist() for c in self.columns()), strict=True))

    def _write_parquet(self, path: Path) -> None:
        import pyarrow as pa
        import pyarrow.parquet as pq

        arrays = [
            pa.Array.from_buffers(
                pa.float64() if column.dtype == np.float64 else pa.int8(),
                len(column),
                [None, pa.py_buffer(np.ascontiguousarray(column))],
            )
            for column in self.columns()
        ]
        pq.write_table(pa.Table.from_arrays(arrays, names=list(self.names)), path, compression="zstd")


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """A place beside a file to write it to, which then becomes that file; nothing stays of one that failed."""
    beside = path.with_name(f".{path.name}.{secrets.token_hex(6)}.part")
    try:
        yield beside
        with beside.open("rb+") as file:
            os.fsync(file.fileno())
        beside.replace(path)
    finally:
        with suppress(OSError):
            beside.unlink(missing_ok=True)


def simulate(scenario: Scenario) -> SimulatedLog:
    """Make the log of a scenario; the same scenario gives the same log on the same version of NumPy.

    Raises UsageError where a fault is unknown or incomplete.
    """
    if scenario.cycles < 1:
        raise UsageError(message("scenario", f"{scenario.cycles} cycles", "at least 1", "Ask for more."))
    drawn, moved, recorded = (np.random.default_rng([scenario.seed, k]) for k in range(3))
    schedule = apply_faults(scenario, healthy_schedule(scenario, drawn), drawn)
    rate = scenario.station.recorder.rate_hz
    dt = FINE_STEP_S if rate > FINE_FROM_HZ else COARSE_STEP_S
    trace = run(scenario.station, schedule, _starts(scenario, schedule), dt, moved)
    recording = record(trace, scenario.station, schedule, recorded)
    return SimulatedLog(
        time_s=recording.time_s,
        pressure_kpa=recording.pressure_kpa,
        supply=recording.supply,
        release=recording.release,
        part_present=recording.part_present,
        off_coil=recording.off_coil,
        names=_names(scenario.station.recorder),
        truth=build_truth(scenario, schedule, trace),
    )


def _names(recorder: Recorder) -> tuple[str, ...]:
    """The columns that this logger writes."""
    kept = tuple(name for name in COLUMNS if name != "release" or recorder.release_logged)
    return (*kept, "off_coil") if recorder.supply_signal == "pulse" else kept


def _starts(scenario: Scenario, schedule: Schedule) -> Array:
    """When cycles begin on the clock of the surroundings [s]: exact for a paced line, else about right."""
    paced = scenario.station.sequencer.paced_s
    if paced > 0.0:
        return np.asarray(np.arange(scenario.cycles) * paced, np.float64)
    length = schedule.approach_s + schedule.transport_s + schedule.release_s + schedule.idle_s + 0.5
    return np.concatenate([[0.0], np.cumsum(length)[:-1]])
