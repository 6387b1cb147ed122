"""Rules for settings, sensor, recording and symptoms: each fires on a case made for it and is quiet on healthy ones."""

from dataclasses import replace

import numpy as np
import pytest
from segment.made_traces import (
    KNOWN,
    PLAIN,
    Piece,
    blow_off,
    coast,
    data_of,
    evacuate,
    hold,
    idle,
    measured,
    trace_of,
)

from tracekit.judge import setting_rules
from tracekit.judge.misses import empty_picks
from tracekit.judge.reach import reach_kpa
from tracekit.judge.sensor_rules import recording_facts, sensor_facts
from tracekit.judge.setting_rules import _set_point_over_cut, setting_facts
from tracekit.judge.symptoms import symptom_facts
from tracekit.model.cycle import SettingInForce, StationData
from tracekit.model.station import Settings, Station
from tracekit.model.trace import Layout, LogFacts
from tracekit.options.judge import JudgeOptions

OPTIONS = JudgeOptions()
HELD, DROPPED, MISSED = 0, 1, 2


def settings(data: StationData, station: Station | None = None) -> dict[str, float]:
    """Probability of each setting rule that answers."""
    now = np.ones(len(data.cycles), np.bool_)
    return {f.code: f.probability for f in setting_facts(data, station or Station(), now, OPTIONS)}


def symptoms(data: StationData) -> dict[str, float]:
    return {f.code: f.probability for f in symptom_facts(data, OPTIONS)}


def sensors(data: StationData) -> dict[str, float]:
    return {f.code: f.probability for f in sensor_facts(data, False, OPTIONS)}


def in_force(data: StationData, **values: float) -> StationData:
    """The same log with other settings in force in every cycle."""
    named = {k: SettingInForce(value_kpa=v, source="edges") for k, v in values.items()}
    n = len(data.cycles)
    cycle = {k: np.full(n, v) for k, v in values.items()}
    return replace(data, settings={**data.settings, **named}, cycle_settings={**data.cycle_settings, **cycle})


def with_columns(data: StationData, **columns) -> StationData:
    """The same log with other columns; a number or an array stands for all cycles, a dictionary for some."""
    made = {}
    for name, value in columns.items():
        made[name] = np.array(data.cycles.data[name])
        if isinstance(value, dict):
            made[name][list(value)] = list(value.values())
        else:
            made[name][:] = value
    return replace(data, cycles=data.cycles.with_columns(**made))


def timed(data: StationData, **rows: dict[int, float]) -> StationData:
    timing = {k: v.copy() for k, v in data.timing.items()}
    for name, some in rows.items():
        for row, value in some.items():
            timing[name][row] = value
    return replace(data, timing=timing)


@pytest.mark.parametrize("name", ["saving", "plain"])
def test_quiet_when_healthy(name: str, request) -> None:
    """No setting, sensor or symptom is found at a healthy station."""
    data = request.getfixturevalue(name)
    assert {k: p for k, p in settings(data).items() if p >= 0.1} == {}
    assert {k: p for k, p in sensors(data).items() if p >= 0.1} == {}
    assert symptoms(data) == {}


def test_nothing_without_cycles() -> None:
    """Without cycles no rule answers and none fails."""
    data = data_of((idle(8.0),), noise=0.1)
    assert settings(data) == symptoms(data) == {}
    assert sensors(data).keys() <= {"sensor_noisy"}


def test_set_point_over_cut(saving) -> None:
    """A set point over supply_off is too high whatever else is seen."""
    assert settings(in_force(saving, set_point=71.0, supply_off=70.0))["set_point_too_high"] > 0.9


def test_a_pick_given_up_at_rest_tells_no_threshold(plain, saving) -> None:
    """A generator too weak for the set point: the supply goes off when time is over, which is no supply_off at all."""
    given_up = with_columns(plain, outcome=dict.fromkeys(range(12), MISSED), supply_switches=dict.fromkeys(range(12), 0))
    assert _set_point_over_cut(in_force(given_up, set_point=80.0, supply_off=75.0)) is None
    timed = in_force(given_up, set_point=80.0, supply_off=75.0)
    written = {**timed.settings, "supply_off": replace(timed.settings["supply_off"], station_file_kpa=85.0)}
    held = with_columns(replace(timed, settings=written), outcome={0: 0})
    assert _set_point_over_cut(held) is None
    refilled = with_columns(saving, outcome=dict.fromkeys(range(12), MISSED))
    assert _set_point_over_cut(in_force(refilled, set_point=80.0, supply_off=75.0)) is not None


def test_set_point_missed_closed_cups(plain) -> None:
    """Picks given up although the cup has closed tell a set point that is too high; one such pick does not."""
    many = with_columns(
        plain, outcome=dict.fromkeys(range(6, 12), MISSED), peak_vacuum_kpa=dict.fromkeys(range(6, 12), 55.0)
    )
    assert settings(many)["set_point_too_high"] > 0.9
    one = with_columns(plain, outcome={6: MISSED}, peak_vacuum_kpa={6: 55.0})
    assert settings(one).get("set_point_too_high", 0.0) < 0.1


def test_a_set_point_that_was_raised_inside_the_log_is_no_weak_generator(plain) -> None:
    """Picks are refused at 75 kPa that counted from 56 on before; at 57 kPa a weak generator is as good a reason."""

    def refused(at_kpa: float):
        cycles = dict.fromkeys(range(6, 12), MISSED)
        data = with_columns(plain, outcome=cycles, peak_vacuum_kpa=dict.fromkeys(cycles, at_kpa))
        facts = setting_facts(data, Station(), np.ones(12, np.bool_), OPTIONS)
        found = next(f for f in facts if f.code == "set_point_too_high")
        return found.probability, set(found.explained_by)

    assert refused(75.0) == (0.97, set())
    assert refused(57.0)[1] >= {"exhaust_restricted", "supply_pressure_low"}


@pytest.mark.parametrize(("set_point", "high"), [(74.5, True), (73.8, True), (70.0, False)])
def test_set_point_near_the_weakest_cycle(plain, set_point: float, high: bool) -> None:
    """A set point within 2.5 kPa of what the weakest cycles reach is too high."""
    assert (settings(in_force(plain, set_point=set_point)).get("set_point_too_high", 0.0) > 0.5) == high


@pytest.mark.parametrize(("over", "high"), [(1.5, True), (8.0, False)])
def test_set_point_near_where_the_rise_comes_to_rest(saving, over: float, high: bool) -> None:
    """Air saving cuts the supply before vacuum has come to rest: that it creeps up to the set point tells the same."""
    set_point, tau_s = 68.0, 0.2
    end = set_point + over
    with np.errstate(invalid="ignore"):
        rise = np.where(saving.levels_kpa < end, -tau_s * np.log1p(-saving.levels_kpa / end), np.nan)
    known = np.where(saving.levels_kpa < set_point, rise, np.nan)
    data = with_columns(saving, evacuation_time_s=-tau_s * np.log1p(-set_point / end), peak_vacuum_kpa=set_point + 0.7)
    data = replace(in_force(data, set_point=set_point), rise_s=np.tile(known, (len(data.cycles), 1)))
    np.testing.assert_allclose(reach_kpa(data, np.full(len(data.cycles), set_point)), end, atol=0.25 * over)
    assert (settings(data).get("set_point_too_high", 0.0) > 0.7) == high
    untimed = replace(data, rise_s=np.full_like(data.rise_s, np.nan))
    assert "set_point_too_high" not in settings(untimed)


def test_set_point_too_low(plain) -> None:
    """A set point that an empty cup reaches is too low, by its level or by picks in which the output was fooled."""
    low = with_columns(plain, open_cup_vacuum_kpa=57.0)
    assert settings(low)["set_point_too_low"] > 0.8
    assert settings(with_columns(plain, open_cup_vacuum_kpa=40.0))["set_point_too_low"] < 0.1
    fooled = timed(with_columns(plain, outcome={3: MISSED, 4: MISSED}), has_output_on={3: 1.0, 4: 1.0})
    assert settings(fooled)["set_point_too_low"] > 0.9


def test_hysteresis_too_small(plain) -> None:
    """An output that toggles in many holds tells a hysteresis that is too small; a single extra pair does not."""
    assert settings(with_columns(plain, chatter_edges=4))["hysteresis_too_small"] > 0.9
    assert settings(with_columns(plain, chatter_edges={0: 2})).get("hysteresis_too_small", 0.0) < 0.5


@pytest.mark.parametrize(("supply_on", "broken"), [(49.0, True), (50.9, True), (53.0, False)])
def test_supply_on_below_reset(saving, supply_on: float, broken: bool) -> None:
    """A supply that resumes below the reset point breaks the order, all the more where the output then toggles."""
    known = in_force(saving, supply_on=supply_on, reset_point=51.0)
    assert (settings(with_columns(known, chatter_edges=2))["supply_on_below_reset"] > 0.5) == broken


@pytest.mark.parametrize(("gap", "said"), [(-0.02, "at the reset point"), (-1.5, "1.5 kPa below the"), (0.3, "0.3 kPa above the")])
def test_where_the_supply_resumes_in_words(gap: float, said: str) -> None:
    """A distance that rounds to nothing is none."""
    assert said in setting_rules._standing(gap)


def test_order_goes_before_hysteresis(saving) -> None:
    """Chatter by a broken order is not blamed on the hysteresis."""
    data = with_columns(in_force(saving, supply_on=49.0, reset_point=51.0), chatter_edges=2)
    found = settings(data)
    assert found["supply_on_below_reset"] > 0.9
    assert found["hysteresis_too_small"] < 0.3


@pytest.mark.parametrize(("band", "switches", "narrow"), [(1.5, 12, True), (1.5, 0, False), (7.0, 12, False)])
def test_supply_band(saving, band: float, switches: int, narrow: bool) -> None:
    """A band under some 2.4 kPa is too narrow where the supply also resumes in usual holds."""
    data = with_columns(in_force(saving, supply_off=70.0, supply_on=70.0 - band), supply_switches=switches)
    assert (settings(data)["supply_band_too_narrow"] > 0.5) == narrow


def test_supply_off_unreachable(plain, saving) -> None:
    """A cut of the station file that no hold reaches is out of reach; one that is reached is not."""
    file = Station(settings=Settings(supply_off_kpa=82.0))
    assert settings(plain, file)["supply_off_unreachable"] > 0.9
    assert settings(saving)["supply_off_unreachable"] < 0.1


def test_timeout_too_short() -> None:
    """A pick given up while vacuum still rises towards the set point had too little time; an empty one had not."""
    slow = (idle(), evacuate(0.5, to=75.0, tau_s=0.4), blow_off())
    short = data_of((*PLAIN * 4, *slow * 2, *PLAIN * 4), noise=0.03, settings=KNOWN)
    assert settings(short)["timeout_too_short"] > 0.9
    empty = (idle(), evacuate(0.8, to=12.0, tau_s=0.05), blow_off())
    assert "timeout_too_short" not in settings(data_of((*PLAIN * 4, *empty * 2, *PLAIN * 4), settings=KNOWN))


@pytest.mark.parametrize(
    ("first", "begun", "listed"),
    [
        (evacuate(0.1, to=75.0, tau_s=0.1), 10, True),
        (evacuate(0.1, to=75.0, tau_s=0.1), 2, False),  # a part met late now and then
        (evacuate(0.4, to=45.0, tau_s=0.05), 10, False),  # it had come to rest: more time would not help
        (evacuate(0.4, to=12.0, tau_s=0.05), 10, False),  # nothing was under the cup
    ],
    ids=["rising", "seldom", "at rest", "empty"],
)
def test_a_try_that_is_cut_off_while_it_rises(first: Piece, begun: int, listed: bool) -> None:
    """Picks that take two tries, the first of which was on its way to the set point: the time-out is too short."""
    twice = (idle(), first, coast(0.2, to=5.0), evacuate(), hold(), blow_off())
    data = data_of((*twice * begun, *PLAIN * 10), noise=0.03, settings=KNOWN)
    assert int((data.cycles.codes("attempts") == 2).sum()) == begun
    assert (settings(data).get("timeout_too_short", 0.0) > 0.5) == listed


@pytest.mark.parametrize(("seconds", "listed"), [(0.2, True), (0.01, False)])
def test_valves_overlap(seconds: float, listed: bool) -> None:
    """Supply and release on together for longer than a sample or two overlap."""
    pieces = (idle(), evacuate(), hold(), Piece(seconds=seconds, to=40.0, supply=1, release=1), blow_off())
    assert (settings(data_of(pieces * 8)).get("valves_overlap", 0.0) > 0.5) == listed


def test_sensor_stuck() -> None:
    """A reading that stays for three cycles and more is stuck; two cycles may be a coincidence."""
    columns = trace_of(PLAIN * 12, noise=0.03)
    for cycles, expected in ((4, True), (2, False)):
        pressure = columns["pressure_kpa"].copy()
        pressure[1060 : 1060 + 250 * cycles] = pressure[1060]
        found = sensors(measured({**columns, "pressure_kpa": pressure}, settings=KNOWN))
        assert (found.get("sensor_stuck", 0.0) > 0.9) == expected


OVER = Piece(seconds=0.4, to=-6.0, tau_s=0.03, release=1)
"""A blow-off that ends at 6 kPa of over-pressure."""
FROZEN = (idle(), Piece(seconds=1.0, to=0.0, supply=1), Piece(seconds=0.4, to=0.0, release=1))
"""A pick whose reading stays where it was, whatever the valves do."""


def test_reading_that_answers_neither_valve() -> None:
    """A reading that goes on at nothing with its noise, while both valves are commanded, is stuck, or there is no air.

    An empty pick shows the open cup and the blow-off, a supply that is off the blow-off; none of them is stuck.
    """
    approach = (idle(), evacuate(0.3, to=9.0, tau_s=0.02), evacuate(1.0), hold(), OVER)
    empty = (idle(), evacuate(1.5, to=9.0, tau_s=0.05), OVER)
    no_suction = (idle(), Piece(seconds=1.0, to=0.0, supply=1), OVER)
    for miss, stuck in ((FROZEN * 5, True), (FROZEN * 2, False), (empty * 5, False), (no_suction * 5, False)):
        data = data_of((*approach * 9, *miss, idle()), noise=0.03, settings=KNOWN)
        assert np.isfinite(data.cycles.floats("open_cup_vacuum_kpa")[:9]).all()
        found = {f.code: f for f in sensor_facts(data, False, OPTIONS)}
        assert ("sensor_stuck" in found) == stuck
        if stuck:
            assert found["sensor_stuck"].cycles == (9, 10, 11, 12, 13)
            assert found["sensor_stuck"].alternatives == ("supply_pressure_low",)
        assert empty_picks(data, None, OPTIONS).any() == (miss == empty * 5)


def test_sensor_clipped() -> None:
    """A reading flat at the deep end of its range is clipped; an end at ambient is a choice of range."""
    columns = trace_of(PLAIN * 12, noise=0.2)
    deep = np.maximum(columns["pressure_kpa"], -60.0)
    assert sensors(measured({**columns, "pressure_kpa": deep}))["sensor_clipped"] > 0.9
    shallow = np.minimum(columns["pressure_kpa"], 0.0)
    assert sensors(measured({**columns, "pressure_kpa": shallow})).get("sensor_clipped", 0.0) < 0.1


@pytest.mark.parametrize(("sigma", "noisy"), [(1.4, True), (0.3, False)])
def test_sensor_noisy(sigma: float, noisy: bool) -> None:
    """Without a reference a sensor that scatters by more than 0.9 kPa is noisy."""
    assert (sensors(data_of(PLAIN * 12, noise=sigma))["sensor_noisy"] > 0.5) == noisy


@pytest.mark.parametrize(("zero", "shifted"), [(3.0, True), (-3.0, True), (0.5, False)])
def test_sensor_zero(zero: float, shifted: bool) -> None:
    """Without a reference an idle reading off by more than 1.5 kPa is a zero shift, either way."""
    columns = trace_of(PLAIN * 8, noise=0.03)
    data = measured({**columns, "pressure_kpa": columns["pressure_kpa"] - zero})
    assert (sensors(data)["sensor_zero_shift"] > 0.5) == shifted


def test_sensor_rules_with_a_reference(plain) -> None:
    """With a reference noise and zero are judged against it, not by rules of thumb."""
    noisy = with_columns(plain, idle_vacuum_kpa=5.0, noise_kpa=3.0)
    calm = sensors(noisy)["sensor_noisy"]
    noisy = replace(noisy, timing={**noisy.timing, "idle_noise_kpa": np.full(len(noisy.cycles), 3.0)})
    assert calm < 0.1  # what does not scatter at rest is not the sensor's noise
    assert sensor_facts(noisy, True, OPTIONS) == ()
    assert {f.code for f in sensor_facts(noisy, False, OPTIONS) if f.probability > 0.5} == {
        "sensor_noisy",
        "sensor_zero_shift",
    }


def facts(**more) -> LogFacts:
    usual = {
        "log_id": "0", "source": "a", "rows_read": 10, "rows_used": 10, "rejections": (), "start_time_us": None,
        "duration_s": 1.0, "interval_median_s": 0.01, "interval_p95_s": 0.01, "interval_max_s": 0.01,
        "quantisation_kpa": 0.0, "gaps": (), "clock_steps": (), "warnings": (),
    }  # fmt: skip
    return LogFacts(**{**usual, **more})


def layout(**missing: bool) -> Layout:
    has = {"has_supply": True, "has_release": True, "has_present": True, **missing}
    return Layout(stations=("a",), on_level={}, supply_signal="valve", assumptions=(), columns={}, **has)


def recording(data: StationData, which: Layout | None = None, log: LogFacts | None = None) -> set[str]:
    found = recording_facts(data, which or layout(), log or facts())
    assert all(f.probability >= 0.9 for f in found)
    return {f.code for f in found}


def test_recording_quiet(plain) -> None:
    """A complete recording has no fault."""
    assert recording(plain) == set()


def test_recording_faults(plain) -> None:
    """Gaps, clock steps, absent, still and inverted digitals and too few samples are told, each by its code."""
    assert recording(plain, log=facts(gaps=((3.0, 1.0),))) == {"log_gaps"}
    assert recording(plain, log=facts(clock_steps=((3.0, -1.0),))) == {"clock_step"}
    assert recording(plain, layout(has_release=False)) == {"channel_missing"}
    still = replace(plain, wiring=replace(plain.wiring, present_on_level=None))
    assert recording(still) == {"channel_missing"}
    turned = replace(plain, wiring=replace(plain.wiring, supply_on_level=0))
    assert recording(turned) == {"channel_inverted"}
    slow = replace(plain, sensor=replace(plain.sensor, sample_interval_s=0.1))
    assert recording(slow) == {"log_undersampled"}


def test_drops_and_misses(plain) -> None:
    """Every drop and every miss is counted."""
    data = with_columns(plain, outcome={1: DROPPED, 2: DROPPED, 3: MISSED})
    found = {f.code: f for f in symptom_facts(data, OPTIONS)}
    assert found.keys() == {"part_dropped", "part_missed"}
    assert found["part_dropped"].cycles == (1, 2)
    assert found["part_missed"].cycles == (3,)


def test_switch_chatter(plain) -> None:
    """Four extra edges and more in the holds are chatter, two are not; a dropped part's edges do not count."""
    assert "switch_chatter" in symptoms(with_columns(plain, chatter_edges={2: 4}))
    assert "switch_chatter" not in symptoms(with_columns(plain, chatter_edges={2: 2}))
    assert "switch_chatter" not in symptoms(with_columns(plain, chatter_edges={2: 4}, outcome={2: DROPPED}))


def test_supply_short_cycling(saving) -> None:
    """A supply that resumes more often than once a second in most holds cycles short."""
    assert symptoms(with_columns(saving, supply_switches=10))["supply_short_cycling"] > 0.9
    assert symptoms(with_columns(saving, supply_switches={0: 10}))["supply_short_cycling"] < 0.1


def test_supply_never_cuts(saving, plain) -> None:
    """Holds without a coast at a station that should save air never cut; a station without saving has no such fault."""
    assert symptoms(with_columns(saving, coasts=0))["supply_never_cuts"] > 0.9
    assert "supply_never_cuts" not in symptoms(with_columns(plain, coasts=0))


def stepping(to: float, *, back: bool = False, late: bool = False) -> tuple[Piece, ...]:
    """A pick whose vacuum falls to `to` in the middle of the hold, or just before its end, and comes back if so said."""
    fall = (Piece(seconds=0.05, to=to, supply=1), Piece(seconds=0.1 if late else 0.5, to=to, supply=1))
    after = (hold(0.5),) if back else ()
    return (idle(), evacuate(), hold(1.0 if late else 0.4), *fall, *after, blow_off())


@pytest.mark.parametrize(
    ("step", "rate_hz", "lost"),
    [
        (stepping(66.0), 100, True),
        (stepping(73.8), 100, False),
        (stepping(66.0, back=True), 100, False),
        (stepping(60.0, late=True), 100, False),
        (stepping(58.0), 8, False),
    ],
    ids=["a step that stays", "little", "it comes back", "at the end alone", "too few samples"],
)
def test_a_step_that_stays(step: tuple[Piece, ...], rate_hz: int, lost: bool) -> None:
    """A step of 9 kPa that no other hold shows is a lost cup; what comes back, or a few samples of a release, are none."""
    data = data_of((*PLAIN * 4, *step) * 4, settings=KNOWN, noise=0.03, rate_hz=rate_hz)
    found = {f.code: f for f in symptom_facts(data, OPTIONS)}
    assert ("seal_lost_partly" in found) == lost
    if lost:
        assert found["seal_lost_partly"].cycles == (4, 9, 14, 19)


def test_seal_lost_partly() -> None:
    """Vacuum that falls by a step in the hold and stays lower is a partial loss."""
    step = (
        idle(),
        evacuate(),
        hold(0.4),
        Piece(seconds=0.05, to=58.0, supply=1),
        Piece(seconds=0.8, to=58.0, supply=1),
        blow_off(),
    )
    assert "seal_lost_partly" in symptoms(data_of((*PLAIN * 4, *step * 3), settings=KNOWN))
