"""A watched folder with what a watch meets: two logs and a file that is none."""

from pathlib import Path

from fleet.test_watch import QUICK
from history.made_up_records import JAN_US

from tracekit.fleet.batch import Job
from tracekit.fleet.watch import Watch
from tracekit.history.place import LocalPlace
from tracekit.model.station import Station, StationFacts


def watched(place: Path) -> Watch:
    """A folder with two logs and a file that is no log, watched into a history."""
    drop, history = place / "drop", place / "history"
    drop.mkdir(parents=True)
    for name in ("a", "b"):
        (drop / f"{name}.csv").write_text(f"time_s,pressure_kpa,supply\n{name}\n", encoding="utf-8")
    (drop / "c.csv").write_text("no log\n", encoding="utf-8")
    template = Job(log="", folder=place, stations=(Station(station=StationFacts(name="Glaze 1")),), history=str(history), started_us=JAN_US)
    return Watch(folder=drop, template=template, out=place / "out", notes=LocalPlace(history), options=QUICK)
