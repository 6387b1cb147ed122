"""Several stations in one log."""

import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tracekit.errors import OutputError, UsageError, message
from tracekit.simulate.log import COLUMNS, SimulatedLog, whole


def write_together(logs: Sequence[SimulatedLog], folder: str | Path) -> Path:
    """Write logs of different stations as one `log.csv` with a column `station`, in order of time, and its truth.

    The truth is `{"scenario": "multi_station", "stations": [truth of each, with its name]}`. Gives the log's path.
    Raises UsageError where two stations have one name, OutputError where the folder cannot be written.
    """
    names = [str(log.truth["station"]["name"]) for log in logs]
    if len(set(names)) < len(names):
        raise UsageError(message("stations", ", ".join(names), "different names", "Rename one of them."))
    order = np.argsort(np.concatenate([log.time_s for log in logs]), kind="stable")
    station = np.repeat(np.array(names, object), [len(log.time_s) for log in logs])[order].tolist()
    columns = [np.concatenate([getattr(log, name) for log in logs])[order].tolist() for name in COLUMNS]
    lines = [",".join((COLUMNS[0], "station", *COLUMNS[1:]))]
    lines += [f'{row[0]},"{name}",' + ",".join(map(str, row[1:])) for name, *row in zip(station, *columns, strict=True)]
    truth = {
        "scenario": "multi_station",
        "stations": [{"name": n, **log.truth} for n, log in zip(names, logs, strict=True)],
    }
    place = Path(folder)
    try:
        place.mkdir(parents=True, exist_ok=True)
        with whole(place / "log.csv") as beside:
            beside.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
        with whole(place / "truth.json") as beside:
            beside.write_text(json.dumps(truth, separators=(",", ":")) + "\n", encoding="utf-8")
    except OSError as problem:
        said = problem.strerror or str(problem)
        raise OutputError(message(place.name, said, "a folder that can be written", "Choose another.")) from problem
    return place / "log.csv"
