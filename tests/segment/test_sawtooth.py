"""A device that saves air by itself behind a logged request: its switching is found in the saw-tooth."""

from dataclasses import replace

import numpy as np
import pytest
from segment.made_traces import Piece, blow_off, evacuate, hold, idle, table_of, trace_of

from tracekit.model.cycle import StationData
from tracekit.model.estimate import Estimate
from tracekit.model.result import StationResult
from tracekit.model.station import Channel, Settings, Station
from tracekit.pipeline import diagnose, measure
from tracekit.simulate import SimulatedLog, random_scenario, simulate

LABELS = ("cup_leak_orifice", "healthy_airsave")


NAMES = ("time_s", "pressure_kpa", "supply", "release", "part_present")


def _diagnosed(log: SimulatedLog, station: Station | None = None) -> StationResult:
    return diagnose(table_of({name: getattr(log, name) for name in NAMES}), station=station).stations[0]


def _as_request(label: str, seed: int) -> tuple[SimulatedLog, SimulatedLog]:
    """The log of one station as its valve was logged, the same with the request alone, and the truth."""
    scenario = random_scenario(label, seed, 2)
    recorder = replace(scenario.station.recorder, rate_hz=100.0)
    valve = replace(scenario, cycles=30, station=replace(scenario.station, recorder=recorder))
    asked = replace(valve, station=replace(valve.station, recorder=replace(recorder, supply_signal="request")))
    return simulate(valve), simulate(asked)


@pytest.mark.parametrize("label", LABELS)
@pytest.mark.parametrize("declared", [False, True])
def test_coasts_and_switches_from_the_saw_tooth(label: str, declared: bool) -> None:
    """Cycles, switches and leak are those that the logged valve tells, whether the station file says so or not."""
    by_valve, by_request = _as_request(label, 880_001)
    channels = {"supply": Channel(column="supply", signal="request")} if declared else {}
    found, known = _diagnosed(by_request, Station(channels=channels)), _diagnosed(by_valve)
    assert len(found.data.cycles) == len(known.data.cycles)
    switches = [float(np.sum(s.data.cycles.floats("supply_switches"))) for s in (found, known)]
    assert switches[0] == pytest.approx(switches[1], rel=0.05, abs=1.0)
    assert isinstance(found.leak.decay_rate, Estimate)
    assert isinstance(known.leak.decay_rate, Estimate)
    assert found.leak.decay_rate.value == pytest.approx(known.leak.decay_rate.value, rel=0.03, abs=0.03)
    assert "supply_is_request" in {f.code for f in found.findings}


@pytest.mark.parametrize(
    ("rate_kpa_s", "rate_hz", "share"), [(40.0, 200.0, 0.97), (40.0, 20.0, 0.97), (40.0, 10.0, 0.6), (10.0, 10.0, 0.97)]
)
def test_short_teeth_of_few_samples(rate_kpa_s: float, rate_hz: float, share: float) -> None:
    """A large leak makes teeth of 0.35 s, whose rise slows towards the cut, and a slow log leaves few samples of each.

    Of seven samples all teeth are counted; of three and a half some corners lie between samples, but most are.
    """
    scenario = random_scenario("cup_leak_orifice", 880_001, 2)
    fault = replace(scenario.faults[0], size={"rate_kpa_s": rate_kpa_s, "b": 0.4})
    found, known = (
        _diagnosed(
            simulate(
                replace(
                    scenario,
                    cycles=20,
                    faults=(fault,),
                    station=replace(
                        scenario.station,
                        recorder=replace(scenario.station.recorder, rate_hz=rate_hz, supply_signal=signal),
                    ),
                )
            )
        )
        for signal in ("request", "valve")
    )
    assert found.data.from_request
    switches, true = (s.data.cycles.floats("supply_switches") for s in (found, known))
    assert share * np.sum(true) <= np.sum(switches) <= 1.03 * np.sum(true)
    codes = {f.code for f in found.findings if f.confidence is None or f.confidence > 0.3}
    assert not codes & {"supply_never_cuts", "supply_off_unreachable", "set_point_too_high", "motion_dips"}


def test_a_station_that_never_saves_air_has_no_saw_tooth() -> None:
    """A supply that stays on, with dips of the motion and an end level that is reached slowly, is no request."""
    for label in ("healthy_plain", "motion_dips", "supply_dips", "supply_pulsation"):
        scenario = random_scenario(label, 880_011, 2)
        plain = replace(scenario, cycles=25, station=replace(scenario.station, saving=None))
        result = _diagnosed(simulate(plain))
        assert "supply_is_request" not in {f.code for f in result.findings}
        assert not np.any(result.data.cycles.codes("coasts"))


FILED = Settings(set_point_kpa=56.0, reset_point_kpa=51.0, supply_off_kpa=70.0, supply_on_kpa=58.0)
REQUEST = {"supply": Channel(column="supply", signal="request")}


def _picks(*holds: tuple[Piece, ...]) -> dict[str, np.ndarray]:
    """A recording of one pick after the other, each from idle to the blow-off."""
    return trace_of([piece for held in holds for piece in (idle(), *held, blow_off())], noise=0.03)


def _asked(seconds: float, to: float) -> Piece:
    """A straight way to a vacuum while the request stays on."""
    return Piece(seconds=seconds, to=to, supply=1)


def _data(columns: dict[str, np.ndarray], *, declared: bool) -> StationData:
    station = Station(settings=FILED, channels=REQUEST if declared else {})
    return measure(table_of(columns), station).stations[0]


@pytest.mark.parametrize("declared", [False, True])
def test_one_fall_to_the_end_of_the_hold_is_a_cut(declared: bool) -> None:
    """Whatever the level to which a valve that closes late lets vacuum rise, and with the corner rounded off."""
    overshoot = (70.5, 71.0, 71.8, 73.5)
    picks = [
        (evacuate(0.27, 75.0), _asked(0.06, top), _asked(0.06, top), _asked(1.2, 66.0))
        for _ in range(3)
        for top in overshoot
    ]
    data = _data(_picks(*picks), declared=declared)
    assert data.from_request
    assert data.cycles.floats("supply_switches").tolist() == [1.0] * 12
    assert data.cycles.floats("coasts").tolist() == [1.0] * 12
    assert data.settings["supply_on"].value_kpa == 58.0


def test_a_bump_in_one_fall_that_the_others_pass_tells_no_resumption() -> None:
    """Nothing resumes there, since the other falls go on: each hold is one coast."""
    plain = (evacuate(0.27, 75.0), _asked(1.6, 63.0))
    bumped = (evacuate(0.27, 75.0), _asked(0.4, 68.0), _asked(0.04, 70.0), _asked(0.04, 67.8), _asked(1.1, 63.0))
    data = _data(_picks(*[plain] * 5, bumped, *[plain] * 6), declared=True)
    assert data.settings["supply_on"].value_kpa == 58.0
    switches = data.cycles.floats("supply_switches")
    assert np.delete(switches, 5).tolist() == [1.0] * 11


@pytest.mark.parametrize("declared", [False, True])
def test_a_hold_level_under_supply_off_was_not_cut(declared: bool) -> None:
    """The generator stays on at what it reaches: no coast, no switch, no air saving seen."""
    data = _data(_picks(*[(evacuate(0.5, 66.0), hold(1.5, 66.0))] * 12), declared=declared)
    assert not data.from_request
    assert not np.any(data.cycles.floats("supply_switches"))
    assert not np.any(data.cycles.floats("coasts"))


def test_a_hold_level_over_supply_off_was_not_cut() -> None:
    """A station that saves no air stands over the supply_off of its file; it falls only as suction ends."""
    for to in (70.4, 75.0):
        data = _data(_picks(*[(evacuate(0.5, to), hold(1.0, to), _asked(0.3, to - 0.5))] * 12), declared=False)
        assert not data.from_request
        assert not np.any(data.cycles.floats("coasts"))
