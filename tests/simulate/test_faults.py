"""Every fault leaves its fingerprint in the log, as told in the trade.

To be quick, many faults stand in one log, each in a block of cycles of its own: every cycle starts from rest.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tracekit.errors import UsageError
from tracekit.simulate import Scenario, SimulatedLog, simulate
from tracekit.simulate.faults import labels
from tracekit.simulate.scenario import Fault, Recorder, Sensor, Sequencer, StationSpec, Supply, Volumes

BLOCK = 6
QUIET = StationSpec(
    sensor=Sensor(noise_kpa=0.02, step_kpa=0.0),
    recorder=Recorder(rate_hz=500.0),
    supply=Supply(wander_kpa=0.0),
    volumes=Volumes(residual_scatter=0.0),
    sequencer=Sequencer(transport_s=1.1, transport_scatter_s=0.0, idle_s=0.3, idle_scatter_s=0.0),
)
PLAIN = replace(QUIET, saving=None)
LEAK = {"rate_kpa_s": 4.0, "scatter": 0.0}


@dataclass(frozen=True)
class Part:
    """The cycles of a log in which one fault was at work."""

    log: SimulatedLog
    cycles: tuple[dict, ...]

    def each(self, key: str) -> NDArray[np.float64]:
        """One value of every cycle's truth."""
        return np.array([c[key] for c in self.cycles], float)

    def lists(self, key: str) -> list:
        """One list of every cycle's truth."""
        return [c[key] for c in self.cycles]

    def vacuum(self, when: NDArray[np.float64]) -> NDArray[np.float64]:
        """Reading at given times [kPa of vacuum]."""
        return -np.interp(when, self.log.time_s, self.log.pressure_kpa)

    def evacuation_s(self) -> float:
        """Median time from supply command to set point [s]."""
        return float(np.median(self.each("true_setpoint_s") - self.each("supply_on_s")))

    def coast_slope(self) -> float:
        """Median slope of vacuum from 0.4 to 0.7 s after the first cut [kPa/s]."""
        cut = np.array([toggles[0][0] for toggles in self.lists("supply_toggles")])
        return float(np.median(self.vacuum(cut + 0.4) - self.vacuum(cut + 0.7)) / 0.3)

    def blow_off_s(self) -> float:
        """Median time in which the blow-off takes the vacuum from 45 to 15 kPa [s]."""
        took = []
        for c in self.cycles:
            part = (self.log.time_s > c["release_on_s"]) & (self.log.time_s < c["end_s"])
            vacuum, time = -self.log.pressure_kpa[part], self.log.time_s[part]
            took.append(time[np.argmax(vacuum < 15.0)] - time[np.argmax(vacuum < 45.0)])
        return float(np.median(took))


def make(station: StationSpec, *faults: Fault, cycles: int = 8) -> Part:
    """A log of a station and all its cycles."""
    log = simulate(Scenario(name="test", seed=11, cycles=cycles, station=station, faults=faults))
    return Part(log, tuple(log.truth["cycles"]))


def blocks(station: StationSpec, named: Mapping[str, Fault]) -> dict[str, Part]:
    """One log with a healthy block and a block of each fault, by name."""
    timed = [
        replace(fault, onset_cycle=BLOCK * (k + 1), end_cycle=BLOCK * (k + 2)) for k, fault in enumerate(named.values())
    ]
    whole = make(station, *timed, cycles=BLOCK * (len(named) + 1))
    names = ("healthy", *named)
    return {name: Part(whole.log, whole.cycles[BLOCK * k : BLOCK * (k + 1)]) for k, name in enumerate(names)}


@pytest.fixture(scope="module")
def saving() -> dict[str, Part]:
    """Faults of a station that saves air."""
    return blocks(
        QUIET,
        {
            "hole": Fault(label="cup_leak_orifice", size=LEAK),
            "fitting": Fault(label="cup_leak_orifice", kind="fitting", size=LEAK),
            "pores": Fault(label="porous_part", size=LEAK),
            "check": Fault(label="leaking_check_valve", size=LEAK),
            "weep": Fault(label="release_valve_leak", size={"rate_kpa_s": 4.0}),
            "passing": Fault(label="supply_valve_passing", size={"share": 0.2}),
            "filter": Fault(label="clogged_filter", size={"factor_end": 0.1}),
            "silencer": Fault(label="clogged_silencer", size={"back_pressure_kpa": 12.0}),
            "late": Fault(label="sticking_supply_valve", kind="slow", size={"delay_s": 0.06, "scatter_s": 0.0}),
            "unreachable": Fault(label="cutoff_unreachable", size={"supply_off_kpa": 88.0, "supply_on_kpa": 80.0}),
            "time_out": Fault(label="timeout_too_short", size={"timeout_s": 0.2}),
            "drift": Fault(label="sensor_zero_drift", kind="ramp", size={"total_kpa": -3.0}),
            "noisy": Fault(label="sensor_noisy", size={"noise_kpa": 1.2}),
            "link": Fault(label="sensor_stuck", kind="link"),
            "slow": Fault(label="sensor_slow", size={"lag_s": 0.15}),
            "growing": Fault(label="growing_leak", kind="linear", size={"end_kpa_s": 8.0}),
        },
    )


@pytest.fixture(scope="module")
def plain() -> dict[str, Part]:
    """Faults of a station without air saving."""
    return blocks(
        PLAIN,
        {
            "hole": Fault(label="cup_leak_orifice", size={"rate_kpa_s": 20.0, "scatter": 0.0}),
            "check": Fault(label="leaking_check_valve", size={"rate_kpa_s": 6.0}),
            "low": Fault(label="low_supply_pressure", size={"supply_kpa": 320.0}),
            "weak": Fault(label="weak_release", kind="weak", size={"factor": 0.06}),
            "overlap": Fault(label="valves_overlap", size={"overlap_s": 0.08}),
            "motion": Fault(label="motion_dips", size={"dip_kpa": 6.0}),
            "ripple": Fault(label="supply_pulsation", size={"amplitude_kpa": 1.0, "hz": 12.0}),
        },
    )


@pytest.mark.parametrize("name", ["hole", "fitting", "pores", "check", "weep"])
def test_a_leak_steepens_the_coast(saving: dict[str, Part], name: str) -> None:
    """Whatever lets in 4 kPa/s at 60 kPa adds about that to the slope of a coast (more while the gas is not isothermal)."""
    added = saving[name].coast_slope() - saving["healthy"].coast_slope()
    assert added == pytest.approx(4.0, rel=0.25)


@pytest.mark.parametrize("name", ["hole", "pores", "check"])
def test_a_leak_hardly_slows_the_evacuation(saving: dict[str, Part], name: str) -> None:
    """4 kPa/s against some hundred kPa/s of suction: less than 6 ms later at the set point."""
    assert saving[name].evacuation_s() == pytest.approx(saving["healthy"].evacuation_s(), abs=0.006)


def test_a_check_valve_leaves_the_ultimate_vacuum_and_a_cup_leak_does_not(plain: dict[str, Part]) -> None:
    """The supply hides a leaking check valve; a hole at the cup lowers the ultimate vacuum by about slope·τ."""
    deep = {name: part.each("ultimate_vac_kpa")[0] for name, part in plain.items()}
    assert deep["check"] == pytest.approx(deep["healthy"], abs=1e-6)
    assert deep["healthy"] - deep["hole"] == pytest.approx(20.0 * 0.12, rel=0.25)


@pytest.mark.parametrize("name", ["healthy", "hole", "low"])
def test_the_ultimate_vacuum_of_the_truth_is_reached(plain: dict[str, Part], name: str) -> None:
    """Without air saving the middle of a hold lies at the vacuum that the truth calls ultimate."""
    part = plain[name]
    reached = part.vacuum(part.each("sequence_off_s") - 0.4)
    assert reached == pytest.approx(part.each("ultimate_vac_kpa"), abs=0.25)


def test_a_clogged_silencer_slows_suction_but_not_the_blow_off(saving: dict[str, Part]) -> None:
    """Evacuation takes longer; time between two levels in the blow-off stays."""
    assert saving["silencer"].evacuation_s() > 1.1 * saving["healthy"].evacuation_s()
    assert saving["silencer"].blow_off_s() == pytest.approx(saving["healthy"].blow_off_s(), rel=0.03)


def test_low_supply_slows_suction_and_blow_off(plain: dict[str, Part]) -> None:
    """Evacuation and blow-off both take longer."""
    assert plain["low"].evacuation_s() > 1.1 * plain["healthy"].evacuation_s()
    assert plain["low"].blow_off_s() > 1.15 * plain["healthy"].blow_off_s()


def test_a_clogged_filter_hides_the_cup(saving: dict[str, Part]) -> None:
    """The generator reads deeper with the cup open and higher in the blow-off; after the cut the volumes even out."""
    clogged, healthy = saving["filter"], saving["healthy"]
    open_cup = [np.median(p.vacuum(p.each("contact_s") - 0.004)) for p in (clogged, healthy)]
    assert open_cup[0] > open_cup[1] + 5.0
    over = [np.median(p.each("peak_over_pressure_kpa")) for p in (clogged, healthy)]
    assert over[0] > over[1] + 2.0
    cuts = [np.array([toggles[0][0] for toggles in p.lists("supply_toggles")]) for p in (clogged, healthy)]
    fell = [np.median(p.vacuum(cut) - p.vacuum(cut + 0.3)) for p, cut in zip((clogged, healthy), cuts, strict=True)]
    assert fell[0] > fell[1] + 2.0


def test_a_sticking_valve_is_late(saving: dict[str, Part]) -> None:
    """Flow comes later by the delay, and so does the set point."""
    delays = [np.median(saving[n].each("flow_on_s") - saving[n].each("supply_on_s")) for n in ("late", "healthy")]
    assert delays[0] - delays[1] == pytest.approx(0.06, abs=0.003)


def test_weak_blow_off_leaves_vacuum(plain: dict[str, Part]) -> None:
    """At a sixteenth of its conductance the blow-off does not finish in its time; the cup is pulled off."""
    assert np.median(plain["weak"].each("residual_vac_at_retract_kpa")) > 5.0
    assert np.median(plain["weak"].each("stuck_s")) > 0.0
    assert np.median(plain["healthy"].each("stuck_s")) == 0.0


def test_overlapping_valves_overlap(plain: dict[str, Part]) -> None:
    """Release comes on before the supply goes off, by the time given."""
    part = plain["overlap"]
    assert part.each("sequence_off_s") - part.each("release_on_s") == pytest.approx(0.08, abs=1e-6)
    inside = (part.log.time_s > part.cycles[0]["start_s"]) & (part.log.time_s < part.cycles[-1]["end_s"])
    both = (part.log.supply == 1) & (part.log.release == 1)
    assert both[inside].any()
    assert not both[~inside].any()


def test_motion_costs_vacuum_at_the_cup(plain: dict[str, Part]) -> None:
    """Lips lifted by acceleration cost vacuum in the hold, more than in healthy motion."""
    lowest = [
        np.median(plain[n].each("vac_at_lift_kpa") - plain[n].each("hold_vac_cup_min_kpa"))
        for n in ("motion", "healthy")
    ]
    assert lowest[0] >= lowest[1]
    spread = [np.median(plain[n].each("hold_vac_mean_kpa")) for n in ("healthy", "motion")]
    assert spread[0] - spread[1] > 0.3


def test_ripple_shows_with_the_supply_on_only(plain: dict[str, Part]) -> None:
    """Pulsation of the feed scatters the hold and not the idle reading."""

    def scatter(part: Part, start: str, before_s: float, length_s: float) -> float:
        times = part.each(start)[:, None] - before_s + np.arange(0.0, length_s, 0.002)
        return float(np.median(np.std(np.diff(part.vacuum(times)), axis=1)))

    hold = [scatter(plain[n], "sequence_off_s", 0.5, 0.2) for n in ("ripple", "healthy")]
    idle = scatter(plain["ripple"], "supply_on_s", 0.1, 0.09)
    assert hold[0] > 2.0 * hold[1]
    assert idle < 0.3 * hold[0]


def test_a_cut_out_of_reach_never_cuts(saving: dict[str, Part]) -> None:
    """With supply_off above the ultimate vacuum there is no toggle in any cycle, and the parts are held."""
    assert saving["unreachable"].lists("supply_toggles") == [[]] * BLOCK
    assert saving["unreachable"].lists("outcome") == ["held"] * BLOCK


def test_a_short_time_out_gives_up_while_vacuum_rises(saving: dict[str, Part]) -> None:
    """A time-out below the evacuation time turns every pick into a miss that was still rising."""
    part = saving["time_out"]
    assert part.lists("outcome") == ["missed"] * BLOCK
    assert all(part.lists("timed_out"))
    given_up = part.each("sequence_off_s")
    assert (part.vacuum(given_up) > part.vacuum(given_up - 0.03) + 3.0).all()


def test_a_passing_supply_valve_shows_at_idle(saving: dict[str, Part]) -> None:
    """Air that seeps to the ejector makes a little vacuum with everything off."""
    idle = [np.median(saving[n].vacuum(saving[n].each("supply_on_s") - 0.05)) for n in ("passing", "healthy")]
    assert idle[0] - idle[1] > 0.2


def test_sensor_faults_change_the_reading_alone(saving: dict[str, Part]) -> None:
    """Zero drift and noise are as ordered; a frozen link stands still while the machine works on."""
    assert saving["drift"].each("sensor_offset_kpa") == pytest.approx(np.linspace(0.0, -3.0, BLOCK))
    assert set(saving["noisy"].lists("sensor_noise_kpa")) == {1.2}
    link = saving["link"]
    frozen = (link.log.time_s > link.cycles[0]["start_s"]) & (link.log.time_s < link.cycles[-1]["end_s"])
    assert len(set(link.log.pressure_kpa[frozen])) == 1
    assert all(link.lists("sensor_stuck"))
    assert link.lists("outcome") == ["held"] * BLOCK
    assert not any(saving["healthy"].lists("sensor_stuck"))


def test_a_sensor_stuck_above_the_set_point_keeps_the_output_on() -> None:
    """From the onset the output never goes off: one edge on at the onset, none in the cycles after."""
    stuck = Fault(label="sensor_stuck", kind="hold", onset_cycle=2, size={"reading_kpa": -60.0})
    part = make(QUIET, stuck, cycles=5)
    assert [len(edges) for edges in part.lists("part_present_edges")] == [2, 2, 1, 0, 0]
    assert np.count_nonzero(np.diff(part.log.part_present)) == 5


def test_a_slow_sensor_is_late_everywhere(saving: dict[str, Part]) -> None:
    """With a lag of 0.15 s the reading comes later though the gas is no slower."""
    assert saving["slow"].evacuation_s() > saving["healthy"].evacuation_s() + 0.08
    cups = [
        np.median(saving[n].each("true_setpoint_cup_s") - saving[n].each("supply_on_s")) for n in ("slow", "healthy")
    ]
    assert cups[0] == pytest.approx(cups[1], abs=0.02)


def test_a_growing_leak_grows(saving: dict[str, Part]) -> None:
    """A linear law rises from cycle to cycle, from the healthy leak to the end's."""
    q = np.array([leak["q60_cup"] for leak in saving["growing"].lists("leak")])
    assert np.corrcoef(q, np.arange(BLOCK))[0, 1] > 0.97
    assert q[0] == pytest.approx(saving["healthy"].cycles[0]["leak"]["q60_cup"], rel=1e-6)


def test_drops_and_misses_come_out_as_such() -> None:
    """Torn, peeled and absent parts give their outcomes in the cycles that the truth names, and no others."""
    ten = [
        Fault(label=label, size={"share": 0.3}, onset_cycle=10 * k, end_cycle=10 * k + 10)
        for k, label in enumerate(("drops_sudden", "drops_gradual", "missed_picks"))
    ]
    part = make(PLAIN, *ten, cycles=30)
    outcomes = ("dropped_sudden", "dropped_gradual", "missed")
    for fault, outcome in zip(part.log.truth["faults"], outcomes, strict=True):
        assert fault["cycles"]
        assert [c["cycle"] for c in part.cycles if c["outcome"] == outcome] == fault["cycles"]
    for c in part.cycles:
        if c["outcome"] == "dropped_sudden":
            assert c["lift_s"] < c["drop_s"] < c["sequence_off_s"]
            assert part.vacuum(c["drop_s"] - 0.02) > 70.0
            assert part.vacuum(c["drop_s"] + 0.15) == pytest.approx(6.0, abs=1.5)


def test_parts_that_leak_are_a_group() -> None:
    """A part-dependent leak sits in the cycles that the truth names, the rest stays healthy."""
    fault = Fault(label="part_dependent_leak", kind="porous", size={"rate_kpa_s": 5.0, "share": 0.4})
    part = make(QUIET, fault, cycles=10)
    porous = [c["cycle"] for c in part.cycles if c["leak"]["mechanism"] == "porous"]
    assert porous == part.log.truth["faults"][0]["cycles"]
    assert len(porous) == 4


def test_dips_of_the_supply_follow_the_neighbours_beat() -> None:
    """Evacuation is slow where a cycle's suction falls into the neighbour's draw, and only there."""
    station = replace(PLAIN, sequencer=replace(QUIET.sequencer, paced_s=2.3))
    size = {"depth_kpa": 150.0, "period_s": 7.3, "share": 0.25}
    part = make(station, Fault(label="supply_dips", kind="neighbour", size=size), cycles=24)
    slow = part.each("true_setpoint_s") - part.each("supply_on_s")
    phase = (part.each("supply_on_s") + 0.15) / 7.3 % 1.0
    inside, clear = (phase > 0.03) & (phase < 0.22), (phase > 0.3) & (phase < 0.9)
    assert inside.any()
    assert slow[inside].min() > np.median(slow[clear]) + 0.02


def test_the_saw_tooth_makes_an_output_chatter() -> None:
    """Set and reset point inside the band of air saving: an edge pair for every tooth, and toggles in the truth."""
    leaky = replace(
        QUIET, volumes=Volumes(residual_leak_kpa_s=9.0), sequencer=replace(QUIET.sequencer, transport_s=2.0)
    )
    size = {"set_point_kpa": 68.5, "reset_point_kpa": 65.0}
    part = make(leaky, Fault(label="switch_chatter", kind="reset_above_supply_on", size=size), cycles=4)
    assert all(len(edges) >= 4 for edges in part.lists("part_present_edges"))
    assert all(len(toggles) >= 3 for toggles in part.lists("supply_toggles"))


def test_noise_makes_an_output_chatter(plain: dict[str, Part]) -> None:
    """With the hold on the set point and hysteresis below the noise the output toggles."""
    station = replace(PLAIN, sensor=Sensor(noise_kpa=0.3, coloured_share=0.8))
    level = plain["healthy"].each("ultimate_vac_kpa")[0]
    size = {"set_point_kpa": level - 0.1, "reset_point_kpa": level - 0.25}
    part = make(station, Fault(label="switch_chatter", kind="hysteresis_too_small_for_noise", size=size), cycles=4)
    assert np.median([len(edges) for edges in part.lists("part_present_edges")]) > 8


def test_a_narrow_band_cycles_the_supply() -> None:
    """A band of 1 kPa toggles the supply more than twice as often as the healthy band of 7 kPa."""
    station = replace(QUIET, volumes=Volumes(residual_leak_kpa_s=6.0))
    narrow = Fault(label="supply_valve_short_cycling", size={"supply_on_kpa": 69.0}, onset_cycle=4)
    part = make(station, narrow, cycles=8)
    toggles = [len(t) for t in part.lists("supply_toggles")]
    assert min(toggles[4:]) > 2 * max(toggles[:4])


def test_unknown_and_incomplete_faults_are_refused() -> None:
    """The message names the nearest label, or the size that lacks."""
    with pytest.raises(UsageError, match='Did you mean "porous_part"'):
        make(QUIET, Fault(label="porous_parts"))
    with pytest.raises(UsageError, match="has no size 'rate_kpa_s'"):
        make(QUIET, Fault(label="porous_part"))


def test_labels_are_those_of_the_list() -> None:
    """Thirty faults, each once."""
    assert len(labels()) == len(set(labels())) == 30


def test_a_machine_that_watches_stops_when_its_output_falls() -> None:
    """It cannot know of a torn part before: suction goes on from the loss until the output is off."""
    watching = replace(PLAIN, sequencer=replace(PLAIN.sequencer, abort_on_loss=True))
    part = make(watching, Fault(label="drops_sudden", size={"share": 0.3}), cycles=12)
    dropped = [c for c in part.cycles if c["outcome"] == "dropped_sudden"]
    assert dropped
    for c in dropped:
        assert c["aborted"]
        off = c["part_present_edges"][-1]
        assert off[1] == 0
        assert c["drop_s"] < off[0] <= c["sequence_off_s"] < off[0] + 0.02
