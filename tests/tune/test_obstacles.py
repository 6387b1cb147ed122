"""What must be repaired or known before a setting may be suggested, and the figures behind it, one rule at a time."""

from types import SimpleNamespace

import numpy as np
import pytest
from segment.made_traces import KNOWN, SAVING, data_of

from tracekit.model.cycle import SettingInForce
from tracekit.model.estimate import Bound, Estimate, Withheld
from tracekit.options.tune import TuneOptions
from tracekit.tune.facts import _beyond, peaks
from tracekit.tune.obstacles import leak_first, repair_first, setting_faults, unknown
from tracekit.tune.station_model import _UNSEEN_RATE, _rates

OPTIONS = TuneOptions()


def finding(code: str, kind: str = "cause", severity: str = "major") -> SimpleNamespace:
    """A finding as far as these rules look at it."""
    return SimpleNamespace(code=code, kind=kind, severity=severity, title=f"title of {code}")


def test_the_first_cause_that_matters_is_named():
    """Info and causes that touch no hold are passed over; a cause without a line of its own is named by its title."""
    harmless = (finding("release_weak"), finding("part_not_presented"), finding("leak_steady", severity="info"))
    assert repair_first(harmless) is None
    assert repair_first((*harmless, finding("sensor_stuck", "sensor"))) == "Free the sensor first; its reading does not move"
    assert repair_first((finding("nobody_knows"),)) == "Repair first: title of nobody_knows"
    assert repair_first((finding("set_point_too_low", "setting"),)) is None


def test_short_cycling_without_a_narrow_band_is_a_leak():
    """Recharges that follow fast where no threshold is wrong point to a leak; where one is, it is put right instead."""
    fast = finding("supply_short_cycling", "symptom")
    assert repair_first((fast,)) == "The band is not narrow, yet recharges follow fast: find the leak first"
    assert repair_first((fast, finding("supply_band_too_narrow", "setting"))) is None
    assert repair_first((finding("supply_short_cycling", "symptom", "info"),)) is None
    assert setting_faults((fast, finding("supply_band_too_narrow", "setting"), finding("hysteresis_too_small", severity="info"))) == ("supply_band_too_narrow",)


def leak(lower: float) -> SimpleNamespace:
    """A leak with its lower end."""
    return SimpleNamespace(decay_rate=Estimate(value=lower + 1.0, lower=lower, upper=lower + 2.0, unit="kPa/s", n=9, method="given"))


@pytest.mark.parametrize(("lower", "volume", "told"), [(6.1, None, True), (5.9, None, False), (8.4, 100.0, True), (8.3, 100.0, False), (50.0, 10.0, False)])
def test_a_leak_that_is_surely_too_large_comes_first(lower, volume, told):
    """Half a litre a minute ANR, or 6 kPa/s where no volume is known, counted from the lower end of the interval."""
    station = SimpleNamespace(station=SimpleNamespace(volume_ml=volume))
    said = leak_first(leak(lower), station, (), OPTIONS)
    assert (said is not None) == told
    assert said is None or "usual" in said  # no finding calls it a leak to repair
    assert leak_first(leak(lower), station, ("supply_on_below_reset",), OPTIONS) is None
    assert leak_first(SimpleNamespace(decay_rate=Withheld("no coasts")), station, (), OPTIONS) is None


def test_a_cut_hold_has_reached_supply_off():
    """Samples that missed the peak of a hold that was cut are lifted to supply_off less its spread; others stay."""
    cycles = SimpleNamespace(floats=lambda _: np.array([66.0, 66.0, 71.0]), codes=lambda _: np.array([1, 0, 2]))

    def made(value: float | None, saving: bool = True) -> SimpleNamespace:
        force = {"supply_off": SettingInForce(value_kpa=value, source="edges", spread_kpa=0.5)}
        return SimpleNamespace(cycles=cycles, settings=force, air_saving=saving)

    assert peaks(made(70.0)).tolist() == [69.5, 66.0, 71.0]
    assert peaks(made(None)).tolist() == peaks(made(70.0, saving=False)).tolist() == [66.0, 66.0, 71.0]


def coasts(lost: float) -> SimpleNamespace:
    """Four coasts of a second that lose some vacuum in the 0.7 s after their surge; none where `lost` is not finite."""
    n = 4 if np.isfinite(lost) else 0
    whole = {"duration_s": 1.0, "turn_s": 0.0, "surge_for_s": 0.3, "turn_kpa": 70.0, "surge_kpa": 1.0, "end_kpa": 69.0 - lost}
    return SimpleNamespace(**{name: np.full(n, value) for name, value in whole.items()})


def rated(rate: list[float], found) -> SimpleNamespace:
    """A leak with rates per cycle."""
    return SimpleNamespace(rate=np.array(rate), decay_rate=found)


def test_rates_of_the_cycles():
    """Seen rates stay, others take the median of the seen; the uncertainty is the estimate's, as a share."""
    found = Estimate(value=4.0, lower=3.0, upper=5.0, unit="kPa/s", n=9, method="given")
    rate, doubt = _rates(rated([3.0, np.nan, 4.0, 5.0], found), np.arange(4), coasts(np.nan), OPTIONS)
    assert rate.tolist() == [3.0, 4.0, 4.0, 5.0]
    assert doubt == pytest.approx(0.25 / 1.96)
    few, _ = _rates(rated([3.0, np.nan], found), np.arange(2), coasts(np.nan), OPTIONS)
    assert few.tolist() == [3.0, 4.0]


def test_rates_without_an_estimate():
    """A bound stands for the rate; else the slope of the coasts, 2.1 kPa in 0.7 s; where nothing shows, the usual rate."""
    bound = Bound(status="upper_bound", limit=1.5, unit="kPa/s", n=9, method="given")
    assert _rates(rated([np.nan] * 2, bound), np.arange(2), coasts(np.nan), OPTIONS)[0].tolist() == [1.5, 1.5]
    plain, doubt = _rates(rated([np.nan] * 2, Withheld("why")), np.arange(2), coasts(2.1), OPTIONS)
    assert plain == pytest.approx([3.0, 3.0])
    assert doubt == pytest.approx(0.3)
    unseen, doubt = _rates(rated([np.nan] * 2, Withheld("why")), np.arange(2), coasts(np.nan), OPTIONS)
    assert unseen.tolist() == [_UNSEEN_RATE] * 2
    assert doubt == OPTIONS.rate_unseen_u


def test_how_far_thresholds_are_passed():
    """Coasts that end at 63 kPa, where supply comes on, pass that threshold by nothing; peaks at 72 pass 70 by two."""
    data = data_of(SAVING * 10, settings=KNOWN)
    held = data.cycles.where("outcome", "held")
    on, off = (data.settings[n].value_kpa for n in ("supply_on", "supply_off"))
    assert on == pytest.approx(63.0, abs=1.0)
    assert off == pytest.approx(70.0, abs=2.5)
    assert 0.0 <= _beyond(data, held, "recharge", TuneOptions()) < 1.0
    assert 0.0 <= _beyond(data, held, "coast", TuneOptions()) < 4.0


def test_one_pick_is_no_picks(monkeypatch):
    """The number and its noun agree."""
    for closed, said in ((0, "Only 0 picks with"), (1, "Only 1 pick with"), (2, "Only 2 picks with")):
        monkeypatch.setattr("tracekit.tune.obstacles.closed_picks", lambda _, n=closed: np.arange(9) < n)
        assert str(unknown(data_of(SAVING * 2, settings=KNOWN), {}, OPTIONS)).startswith(said)
