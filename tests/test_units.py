"""Units convert as their definitions say."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit import units
from tracekit.errors import UsageError

# Size of one unit [Pa], NIST SP 811 appendix B and the definitions behind it (SI brochure, ISO 80000-4).
NIST_SP811_PA = {
    "inHg": 3386.3886403409997,
    "mmHg": 133.322387415,
    "Torr": 133.32236842105263,
    "psi": 6894.757293168361,
    "kgf/cm2": 98066.5,
    "mH2O": 9806.65,
    "mmH2O": 9.80665,
    "atm": 101325.0,
    "kPa": 1e3,
    "Pa": 1.0,
    "hPa": 100.0,
    "mbar": 100.0,
    "bar": 1e5,
    "MPa": 1e6,
    "inH2O": 249.08891,
}

# 80 kPa of vacuum in other units, from the same source.
EIGHTY_KPA = {
    "mbar": 800.0,
    "inHg": 23.623986640808077,
    "mmHg": 600.049260676525,
    "psi": 11.603019018416738,
    "kgf/cm2": 0.8157729703823426,
    "mH2O": 8.157729703823426,
    "Torr": 600.0493461633358,
    "MPa": 0.08,
}


def test_every_unit_has_a_checked_size() -> None:
    """No pressure unit is in the table without a sourced figure here."""
    assert {u.symbol for u in units.PRESSURE_UNITS} == set(NIST_SP811_PA)


@pytest.mark.parametrize(("symbol", "pascals"), NIST_SP811_PA.items())
def test_size_of_a_unit(symbol: str, pascals: float) -> None:
    """One unit is as large as its definition says."""
    assert units.pressure_unit(symbol).kpa * 1e3 == pytest.approx(pascals, rel=1e-12)


@pytest.mark.parametrize(("symbol", "shown"), EIGHTY_KPA.items())
def test_eighty_kpa_of_vacuum(symbol: str, shown: float) -> None:
    """A vacuum of 80 kPa reads the same in every unit."""
    value = units.shown_pressure(-80.0, units.pressure_unit(symbol), "vacuum", 101.325)
    assert value == pytest.approx(shown, rel=1e-12)


def test_senses() -> None:
    """Gauge is negative below ambient, absolute counts from nothing, vacuum counts down from ambient."""
    kpa = units.pressure_unit("kPa")
    assert units.shown_pressure(-80.0, kpa, "absolute", 101.325) == pytest.approx(21.325)  # by definition
    assert units.gauge_kpa(21.325, kpa, "absolute", 101.325) == pytest.approx(-80.0)
    assert units.gauge_kpa(80.0, kpa, "vacuum", 101.325) == -80.0
    assert units.gauge_kpa(-80.0, kpa, "gauge", 101.325) == -80.0


def test_percent_vacuum() -> None:
    """Percent vacuum is the share of ambient, and above 100 where the ambient cannot give it."""
    assert units.percent_vacuum(-80.0, 101.325) == pytest.approx(78.95386133728103, rel=1e-9)
    assert units.percent_vacuum(-80.0, 100.0) == 80.0
    assert units.gauge_from_percent_kpa(90.0, 101.325) == pytest.approx(-91.1925, rel=1e-12)
    # 2000 m, ISO 2533: ambient 79.4952 kPa, so that 80 kPa of vacuum cannot exist there.
    assert units.percent_vacuum(-80.0, 79.4952) == pytest.approx(100.63498, rel=1e-6)


def test_flows() -> None:
    """Throughput and flow at reference conditions convert as ISO 8778 and DIN 1343 define them."""
    assert units.mbar_l_s(1.0) == 10.0
    assert units.throughput_pa_m3_s(1.0, 20.0) == pytest.approx(1.6666666666666667, rel=1e-12)
    assert units.flow_l_min_anr(1.0, 20.0) == pytest.approx(0.6, rel=1e-12)
    assert units.flow_l_min_anr(0.1, 20.0) == pytest.approx(0.06, rel=1e-12)  # 1 mbar·L/s
    assert units.anr_from_normal_l_min(1.0) == pytest.approx(1.0874400054914881, rel=1e-9)
    assert units.throughput_pa_m3_s(units.anr_from_normal_l_min(1.0), 20.0) == pytest.approx(
        1.8124000091524801, rel=1e-9
    )


def test_flow_counts_the_temperature() -> None:
    """Warm gas weighs less: q = Q·(293.15 K/T)/100 kPa (ISO 8778)."""
    assert units.flow_l_min_anr(1.0, 50.0) == pytest.approx(0.6 * 293.15 / 323.15, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "symbol", "sense"),
    [
        ("kPa", "kPa", None),
        ("[mbar]", "mbar", None),
        ("(bar)", "bar", None),
        ("Bar g", "bar", "gauge"),
        ("bara", "bar", "absolute"),
        ("mbar (abs)", "mbar", "absolute"),
        ("kPa vac", "kPa", "vacuum"),
        ("psig", "psi", "gauge"),
        ("psia", "psi", "absolute"),
        ("in Hg", "inHg", None),
        ("IN.HG", "inHg", None),
        ("kgf/cm²", "kgf/cm2", None),
        ("torr", "Torr", None),
        ("mmH₂O", "mmH2O", None),
        ("hpa_rel", "hPa", "gauge"),
    ],
)
def test_spellings(text: str, symbol: str, sense: str | None) -> None:
    """Units are known by the spellings that loggers use, with the sense where they say it."""
    found = units.find_pressure_unit(text)
    assert found is not None
    assert (found[0].symbol, found[1]) == (symbol, sense)


@pytest.mark.parametrize("text", ["", "V", "mA", "g", "degC", "counts", "kPax", "abs"])
def test_other_words_are_no_pressure_unit(text: str) -> None:
    """What is no unit of pressure is never taken for one."""
    assert units.find_pressure_unit(text) is None


def test_unknown_units_are_refused() -> None:
    """An unknown unit is refused with the nearest known one."""
    with pytest.raises(UsageError, match=r'pressure unit: found "mbarr".*Did you mean "mbar"\?'):
        units.pressure_unit("mbarr")
    with pytest.raises(UsageError, match=r'time unit: found "fortnight".*Known: d, h, min, ms, ns, s, us'):
        units.time_unit("fortnight")


@pytest.mark.parametrize(("text", "seconds"), [("ms", 1e-3), ("Sec.", 1.0), ("µs", 1e-6), ("[min]", 60.0), ("h", 3600.0)])
def test_time_units(text: str, seconds: float) -> None:
    """Units of time convert to seconds."""
    assert units.time_unit(text).seconds == seconds


@given(
    value=st.floats(-200.0, 1000.0),
    unit=st.sampled_from(units.PRESSURE_UNITS),
    sense=st.sampled_from(units.SENSES),
    ambient=st.floats(50.0, 110.0),
)
def test_showing_and_reading_are_inverse(value: float, unit: units.PressureUnit, sense: units.Sense, ambient: float) -> None:
    """A pressure shown and read again is the same pressure, alone and in an array."""
    shown = units.shown_pressure(value, unit, sense, ambient)
    assert units.gauge_kpa(shown, unit, sense, ambient) == pytest.approx(value, rel=1e-12, abs=1e-9)
    both = units.gauge_kpa(np.array([shown, shown]), unit, sense, ambient)
    np.testing.assert_allclose(both, value, rtol=1e-12, atol=1e-9)
