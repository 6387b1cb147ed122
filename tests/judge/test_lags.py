"""A lagging sensor, a restricted filter behind which the sensor sits, and a late valve: what parts them."""

from dataclasses import replace

import numpy as np
import pytest
from judge.test_evidence import calm, effect, judged, quiet
from segment.made_traces import PLAIN

from tests.judge.test_verdict import case_of
from tracekit.judge.effects import Effect, compare
from tracekit.judge.effects_of import with_stretch
from tracekit.judge.features import Features, choose_bands, make_features, run_on_s
from tracekit.judge.late import where_all_are_late
from tracekit.judge.verdict import _alike_in_response
from tracekit.options.judge import JudgeOptions

OPTIONS = JudgeOptions()


def moved(**shift: float) -> dict[str, Effect]:
    """Measures that have moved, all others as they were."""
    return {**quiet(), **{name: effect(name, value) for name, value in shift.items()}}


def rising_on(made: Features, past_kpa: float, speed_kpa_s: float) -> Features:
    """The same log, whose vacuum rises `past_kpa` past the cut, which it came to at `speed_kpa_s`."""
    some = np.linspace(-0.05, 0.05, len(made.held))
    values = {**made.values, "overshoot": past_kpa + some, "top": np.full(len(some), speed_kpa_s)}
    return replace(made, values={**values, "run_on": run_on_s(values)})


def test_a_rise_that_goes_on_after_the_cut_is_told_by_its_time() -> None:
    """6 kPa past supply_off instead of one count as a time, once; a faster station rises further in the same time."""
    case = case_of(PLAIN * 12)
    made = make_features(case.data, case.leak, choose_bands((case.data,)))
    usual = rising_on(made, 1.0, 100.0)
    longer = compare(rising_on(made, 6.0, 100.0), usual, OPTIONS).effects
    faster = compare(rising_on(made, 2.0, 200.0), usual, OPTIONS).effects
    np.testing.assert_allclose(longer["run_on"].shift, 0.05, rtol=0.01)
    assert "overshoot" not in longer
    assert "run_on" not in faster
    assert "overshoot" in faster


@pytest.mark.parametrize(("run_on", "lags"), [(0.04, True), (0.012, False)])
def test_vacuum_that_rises_on_for_long_is_seen_late(run_on: float, lags: bool) -> None:
    """All slower, open cup less, over-pressure less: behind a restriction little evens out after the cut."""
    late = {"rise": 0.68, "open": -0.46, "blow": 0.27, "blow_start": 0.077, "residual": 0.9, "over": -5.0}
    effects = {**moved(**late, fast_fall=-3.6), "run_on": replace(effect("run_on", run_on), error=0.0031)}
    del effects["overshoot"]
    present = judged(effects, calm()).present
    assert (present["sensor_slow"] > 2.0 * present["flow_restricted"]) == lags


def test_a_pure_delay_is_the_valve_and_a_rounded_one_the_sensor() -> None:
    """The answer and the blow-off late by 0.1 s: an evacuation as fast as before was only begun late."""
    late = {"response": 0.1, "blow_start": 0.12, "blow": 1.7, "residual": 18.0, "over": -30.0}
    usual = {"rise": replace(effect("rise"), reference=float(np.log(0.07)))}
    slower = {"rise": replace(usual["rise"], shift=1.4)}
    always = calm(late_response=0.998)
    pure, rounded = (with_stretch({**moved(**late), **rise}) for rise in (usual, slower))
    np.testing.assert_allclose(pure["stretch"].shift, 0.0, atol=1e-9)
    np.testing.assert_allclose(rounded["stretch"].shift, 0.7 * np.expm1(1.4))
    two, one = judged(pure, always).present, judged(rounded, always).present
    assert min(two["supply_valve_slow"], two["release_weak"]) > 0.5
    assert two["sensor_slow"] < 0.3
    assert one["sensor_slow"] > 0.5
    assert "stretch" not in with_stretch(moved())


def test_answers_at_one_time_did_not_wait_for_the_part() -> None:
    """Without an open cup all answers come at 108 ms, where the other log's contacts come anywhere from 90 to 180."""
    case = case_of(PLAIN * 12)
    own = make_features(case.data, case.leak, choose_bands((case.data,)))
    n = len(own.held)
    contact = case.data.timing["try_s"] + np.linspace(0.09, 0.18, n)
    cycles = replace(case.data.cycles, data={**case.data.cycles.data, "contact_s": contact})
    shown = replace(case.data, cycles=cycles, usual_open_kpa=11.0)
    hidden = replace(case.data, usual_open_kpa=0.0)

    def usual_answer(answer: np.ndarray) -> float:
        late = replace(own, values={**own.values, "response": answer})
        soon = replace(own, values={**own.values, "response": np.full(n, 0.006)})
        made: tuple[Features, Features] = _alike_in_response(late, hidden, soon, shown)
        return float(np.median(made[1].values["response"]))

    assert usual_answer(np.full(n, 0.108)) == 0.006
    assert usual_answer(np.linspace(0.1, 0.19, n)) > 0.1


def test_answers_that_are_all_late_do_not_stand_out_of_each_other() -> None:
    """Every answer after 107 ms and nothing else: the valve comes first, no exhaust."""
    effects = {name: value for name, value in moved().items() if name in ("response", "run_on", "blow", "ultimate")}
    effects["response"] = replace(effect("response", 0.085), error=0.011)
    none = calm(late_response=0.002)
    late = next(sign for sign in none if sign.name == "late_response")
    told = tuple(where_all_are_late(s, effects["response"], OPTIONS) if s is late else s for s in none)
    present = judged(effects, told).present
    assert present["supply_valve_slow"] > 1.5 * present["exhaust_restricted"]
    assert where_all_are_late(late, effect("response"), OPTIONS) is late
    assert where_all_are_late(late, None, OPTIONS) is late


def test_a_leak_that_repeats_is_shared_with_the_valves() -> None:
    """Rates that scatter by 1.3 % as a seat's do, and by 14 % as parts' do."""

    def share(ln_scatter: float) -> float:
        leak = moved(decay=9.0, balance=0.87, unevenness=ln_scatter)
        present = judged(leak, calm(spared_cycles=0.02)).present
        return present["release_valve_leak"] / present["leak_steady"]

    assert share(-4.3) > 0.15
    assert share(-2.0) < 0.02
