"""Suggestions: what they keep, when there are none."""

import subprocess
import sys
import time
from dataclasses import replace

import pytest

from tests.tune import tuned_stations as stations
from tracekit.model.finding import Finding
from tracekit.model.station import Display
from tracekit.options.tune import TuneOptions
from tracekit.report.markup import numbers_plain
from tracekit.simulate.scenario import Saving
from tracekit.tune.interim import interim_note, until_repaired
from tracekit.tune.known import known_settings
from tracekit.tune.prepare import prepare
from tracekit.tune.reasons import reason_of
from tracekit.tune.suggest import suggest
from tracekit.tune.tuning import tune_station

LOADED = stations.LOAD + stations.PRICE


def again(made, more="", findings=None, **display):
    """The suggestion for a station, with another display or other findings."""
    result, file = stations.diagnosed(made, more), stations.filed(made, more)
    if display:
        file = replace(file, display=Display(**display))
    return suggest(result.data, result.leak, file, result.findings if findings is None else findings)


def values(suggestion):
    return {s.name: s.suggested_kpa for s in suggestion.settings}


def test_a_healthy_station_is_left_alone():
    """Healthy stations, with and without air saving, load or station file, get no change and the reason."""
    for made in (stations.HEALTHY, stations.PLAIN):
        for more, with_file in ((LOADED, True), ("", True), ("", False)):
            said = stations.diagnosed(made, more, with_file).suggestion
            assert said.settings == ()
            assert said.withheld.startswith("Leave them")
            assert len(said.withheld) <= 90


def test_a_narrow_band_is_widened():
    """Short cycling gets a wider band, fewer switches predicted, and keeps every rule."""
    said = again(stations.NARROW, LOADED)
    assert said.withheld is None
    new = values(said)
    assert new["supply_off"] - new["supply_on"] >= 3.0
    before, after = said.predicted_now["supply_switches_per_hold"], said.predicted_suggested["supply_switches_per_hold"]
    assert after.value <= before.value - 1.0


def test_a_set_point_out_of_reach_comes_down():
    """A set point near the ultimate vacuum comes down with a load, and part present is predicted sooner."""
    said = again(stations.HIGH, LOADED)
    assert values(said)["set_point"] < 75.0
    assert said.predicted_suggested["evacuation_time_s"].upper < said.predicted_now["evacuation_time_s"].lower


def test_an_order_that_lets_parts_fall_is_put_right():
    """Where the saw-tooth crosses the reset point the suggestion puts supply_on a guard over it."""
    said = again(stations.ORDER, LOADED)
    new = values(said)
    assert new["supply_on"] - new["reset_point"] >= 1.0
    assert said.predicted_suggested["false_drop_share"].value == 0.0


@pytest.mark.parametrize("made", [stations.NARROW, stations.HIGH, stations.ORDER], ids=["narrow", "high", "order"])
def test_every_listed_rule_holds(made):
    """What a suggestion lists as rules holds after rounding, with the margin it says."""
    said = again(made, LOADED)
    assert said.constraints
    assert all(c.holds and c.margin_kpa >= -1e-6 for c in said.constraints)


@pytest.mark.parametrize("made", [stations.NARROW, stations.HIGH, stations.ORDER], ids=["narrow", "high", "order"])
def test_without_a_load_nothing_is_lowered(made):
    """Without [load] no suggestion lowers set point, reset point or supply_on; else it is withheld and says why."""
    said = again(made)
    if said.withheld is not None:
        assert "load" in said.withheld or "settings in force" in said.withheld
        return
    for s in said.settings:
        if s.name != "supply_off":
            assert s.now_kpa is None or s.suggested_kpa >= s.now_kpa - 1e-9


def test_the_load_is_never_undercut():
    """With a load that needs 45 kPa none of the three gripping settings goes below it."""
    said = again(stations.HIGH, "\n[load]\nneeded_vacuum_kpa = 45.0\n")
    new = values(said)
    assert min(new["set_point"], new["reset_point"]) >= 45.0


def test_a_load_beyond_reach_is_refused():
    """A load that needs more than the station reaches gets no settings."""
    said = again(stations.HIGH, "\n[load]\nneeded_vacuum_kpa = 82.0\n")
    assert said.settings == ()
    assert said.withheld is not None
    assert said.withheld.startswith("The load needs 82.0 kPa, a set point may be ")
    assert len(said.withheld) <= 90


def test_a_leak_is_repaired_first():
    """With a leak the answer is to repair it, not to hide it behind settings."""
    said = stations.diagnosed(stations.LEAKING, LOADED).suggestion
    assert said.withheld is not None
    assert "eak" in said.withheld


@pytest.mark.parametrize("code", ["flow_restricted", "exhaust_restricted", "supply_pressure_low", "sensor_stuck", "leak_steady", "check_valve_leak"])
def test_causes_that_distort_come_first(code):
    """Any cause or sensor fault above info that bends the measured curves withholds the settings."""
    kind = "sensor" if code.startswith("sensor") else "cause"
    fault = Finding(code=code, kind=kind, severity="minor", confidence=0.9, share=1.0, title=code)
    assert again(stations.NARROW, LOADED, findings=(fault,)).withheld is not None


@pytest.mark.parametrize("form", [
    {"unit": "mbar", "step": 1.0, "negative": True},
    {"unit": "inHg", "step": 0.1},
    {"unit": "kPa", "step": 0.5, "entry": {"reset_point": "below set_point", "supply_on": "below supply_off"}},
])  # fmt: skip
def test_the_device_can_take_it(form):
    """What is shown for a setting that moves is a whole number of the device's steps, in its sign and entry form."""
    said = again(stations.ORDER, LOADED, **form)
    assert said.settings
    for s in said.settings:
        if s.now_kpa is not None and s.suggested_kpa == s.now_kpa:
            continue
        assert s.shown / form["step"] == pytest.approx(round(s.shown / form["step"]), abs=1e-6)
        assert (s.shown < 0) == (form.get("negative", False) and not s.entry)


def test_a_setting_that_is_not_adjustable_stays():
    """Only what the station file calls adjustable moves."""
    file = stations.filed(stations.HIGH, LOADED)
    file = replace(file, settings=replace(file.settings, adjustable=("reset_point",)))
    result = stations.diagnosed(stations.HIGH, LOADED)
    said = suggest(result.data, result.leak, file, result.findings)
    assert all(s.suggested_kpa == s.now_kpa for s in said.settings if s.name != "reset_point")


def test_no_held_pick_no_settings():
    """A log of a few picks tells too little of the weakest one."""
    few = replace(stations.NARROW, cycles=4)
    assert "record" in stations.diagnosed(few, LOADED).suggestion.withheld


def test_the_main_job_stays_quick():
    """A suggestion takes under 0.2 s of processor time."""
    result, file = stations.diagnosed(stations.NARROW, LOADED), stations.filed(stations.NARROW, LOADED)
    suggest(result.data, result.leak, file, result.findings)
    spent = []
    for _ in range(3):
        start = time.process_time()
        suggest(result.data, result.leak, file, result.findings)
        spent.append(time.process_time() - start)
    assert min(spent) < 0.2


def test_no_heavy_library_is_loaded():
    """The stage itself loads neither pandas nor SciPy."""
    code = "import sys, tracekit.tune.suggest; print('pandas' in sys.modules, 'scipy' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.split() == ["False", "False"]


def test_until_the_repair_only_safe_settings():
    """With a cause to repair first and an order that lets parts fall, supply_on is raised meanwhile and nothing lowered."""
    fault = Finding(code="leak_steady", kind="cause", severity="minor", confidence=0.9, share=1.0, title="leak")
    saving = Saving(supply_off_kpa=72.0, supply_on_kpa=63.0)
    made = replace(stations.FALLING, station=replace(stations.FALLING.station, saving=saving))
    result = stations.diagnosed(made, LOADED)
    result = replace(result, findings=(fault, *result.findings))
    tuning = tune_station(result, stations.filed(made, LOADED))
    assert tuning.suggestion.withheld.startswith("Repair the leak first")
    known = known_settings(result.data, TuneOptions())
    prepared = prepare(result.data, result.leak, stations.filed(made, LOADED), known, None, TuneOptions())
    values = until_repaired(prepared)
    if values is not None:
        assert "supply_on" in tuning.notes[0]
        assert values["supply_on"] - known["reset_point"].high >= prepared.problem.rules.guard - 1e-9
        assert all(values[n] >= known[n].value for n in values)
    else:
        assert known["reset_point"].high + prepared.problem.rules.guard + 3.0 > prepared.problem.rules.off_most


def test_interim_settings_stand_as_the_device_takes_them(monkeypatch):
    """Written in another unit, the sentence leaves the device's own values alone."""
    result, file = stations.diagnosed(stations.HEALTHY, LOADED), stations.filed(stations.HEALTHY, LOADED)
    prepared = prepare(result.data, result.leak, file, known_settings(result.data, TuneOptions()), None, TuneOptions())
    monkeypatch.setattr("tracekit.tune.interim.until_repaired", lambda p: {**p.problem.now, "supply_on": 64.0})
    note = interim_note(prepared, file)
    assert "enter supply_on 64 [kPa]: the supply then resumes" in note
    assert "supply on 64 [kPa]" in numbers_plain(note, "inHg")


def test_interim_settings_are_told_only_where_they_can_be_entered(monkeypatch):
    """Nothing is said where supply_on may not be moved, where no entry keeps the order, or where nothing has to be raised."""
    result, file = stations.diagnosed(stations.HEALTHY, LOADED), stations.filed(stations.HEALTHY, LOADED)
    prepared = prepare(result.data, result.leak, file, known_settings(result.data, TuneOptions()), None, TuneOptions())
    assert until_repaired(prepared) is None
    assert interim_note(prepared, file) is None
    monkeypatch.setattr("tracekit.tune.interim.until_repaired", lambda p: {**p.problem.now, "supply_on": 64.0})
    assert interim_note(prepared, file) is not None
    assert interim_note(prepared, replace(file, settings=replace(file.settings, adjustable=("set_point",)))) is None
    monkeypatch.setattr("tracekit.tune.interim.broken", lambda *_: ("supply_on below reset_point",))
    assert interim_note(prepared, file) is None


def test_a_sound_station_needs_no_interim_settings():
    """Where the order holds nothing is to be entered before a repair."""
    fault = Finding(code="leak_steady", kind="cause", severity="minor", confidence=0.9, share=1.0, title="leak")
    result = replace(stations.diagnosed(stations.HEALTHY, LOADED), findings=(fault,))
    assert tune_station(result, stations.filed(stations.HEALTHY, LOADED)).notes == ()


def test_a_leak_that_no_coast_showed_is_said():
    """Where the supply never cut, settings that make it cut come with what to count afterwards; else nothing is added."""
    far = stations.scenario(stations.spec(saving=Saving(supply_off_kpa=86.0, supply_on_kpa=80.0)))
    unseen = stations.diagnosed(far, stations.LOAD).suggestion
    assert unseen.withheld is None
    assert "more than 4 supply changes in a hold mean a leak" in unseen.reasons[-1]
    seen = stations.diagnosed(stations.NARROW, stations.LOAD).suggestion
    assert seen.withheld is None
    assert not any("hardly ever cut" in reason for reason in seen.reasons)


def test_a_band_that_narrows_is_not_called_wider():
    """Where supply_off follows supply_on upwards its reason is the distance that stays, never a wider band."""
    result, file = stations.diagnosed(stations.HEALTHY, LOADED), stations.filed(stations.HEALTHY, LOADED)
    prepared = prepare(result.data, result.leak, file, known_settings(result.data, TuneOptions()), None, TuneOptions())
    now = prepared.problem.now
    up = {**now, "supply_off": now["supply_off"] + 1.0, "supply_on": now["supply_on"] + 4.0}
    band = up["supply_off"] - up["supply_on"]
    assert f"up 1.0 kPa: it stays {band:.1f} kPa over supply_on" in reason_of(prepared, up, "supply_off")
    wider = {**now, "supply_off": now["supply_off"] + 1.0}
    assert "a wider band" in reason_of(prepared, wider, "supply_off")
