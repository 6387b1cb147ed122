"""Simulated stations, measured and judged once per session of tests."""

import tempfile
from dataclasses import replace
from pathlib import Path

from tracekit.model.result import StationResult
from tracekit.model.station import Station
from tracekit.pipeline import diagnose
from tracekit.read.station_file import parse_station
from tracekit.simulate.log import SimulatedLog, simulate
from tracekit.simulate.scenario import Fault, Saving, Scenario, StationSpec, Switch
from tracekit.simulate.station_text import station_text

LOAD = "\n[load]\nneeded_vacuum_kpa = 25.0\n"
PRICE = "\n[price]\nnozzle_flow_l_min_anr = 60\n"


def spec(**changed) -> StationSpec:
    """The simulator's usual station with some parts replaced."""
    return replace(StationSpec(), **changed)


def scenario(station: StationSpec | None = None, *, cycles: int = 24, seed: int = 5, faults: tuple[Fault, ...] = ()) -> Scenario:
    return Scenario(name="tune", seed=seed, cycles=cycles, station=station or StationSpec(), faults=faults)


NARROW = scenario(spec(saving=Saving(supply_off_kpa=70.0, supply_on_kpa=69.2), volumes=replace(StationSpec().volumes, residual_leak_kpa_s=1.5)))
HEALTHY = scenario()
PLAIN = scenario(spec(saving=None))
HIGH = scenario(spec(saving=None, switch=Switch(set_point_kpa=83.0, reset_point_kpa=79.0)), cycles=24)
LEAKING = scenario(faults=(Fault(label="cup_leak_orifice", kind="cup", size={"rate_kpa_s": 20.0, "b": 0.35, "scatter": 0.05}),))
ORDER = scenario(
    spec(
        switch=Switch(set_point_kpa=68.0, reset_point_kpa=65.0),
        volumes=replace(StationSpec().volumes, residual_leak_kpa_s=5.0),
    )
)
FALLING = replace(
    ORDER,
    station=replace(ORDER.station, volumes=replace(ORDER.station.volumes, residual_leak_kpa_s=8.0)),
)
"""The same order beside a leak through which every hold falls below the reset point."""


KEPT: dict[tuple[str, ...], object] = {}
PLACE = tempfile.TemporaryDirectory(prefix="tune-test-")
"""Where the logs are; it goes with the process."""


def kept(key, make):
    """What `make` gives, once per key and run."""
    if key not in KEPT:
        KEPT[key] = make()
    return KEPT[key]


def logged(made: Scenario) -> SimulatedLog:
    return kept(("log", repr(made)), lambda: simulate(made))


def written(made: Scenario) -> str:
    """Path of the scenario's log as Parquet."""
    return kept(("file", repr(made)), lambda: str(logged(made).write(Path(tempfile.mkdtemp(dir=PLACE.name)))))


def filed(made: Scenario, more: str = "") -> Station:
    """The station file of a scenario; settings that break the order are left to the log's edges."""
    text = station_text(logged(made).truth)
    saving = made.station.saving
    broken = saving is not None and made.station.switch.reset_point_kpa + 1.0 > saving.supply_on_kpa
    if broken:
        text = text[: text.index("[settings]")]
    return parse_station(text + more, "station.toml")


def diagnosed(made: Scenario, more: str = "", with_file: bool = True) -> StationResult:
    def make():
        return diagnose(written(made), station=filed(made, more) if with_file else None).stations[0]

    return kept(("result", repr(made), more, str(with_file)), make)
