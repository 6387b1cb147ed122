"""The volume from two decays: published rows, made-up stations, the budget, what is refused."""

import math
import os
from dataclasses import replace

import numpy as np
import pytest
from recordings import SIMULATED

from tests.compare.plate_decays import LOGS, Plate, station
from tracekit.compare.decays import decay_of
from tracekit.compare.volume import Orifice, check_orifice, volume_from_rates, volume_of
from tracekit.errors import NotEnoughData, UsageError
from tracekit.model.comparison import VolumeResult
from tracekit.model.estimate import Estimate
from tracekit.options.compare import VolumeOptions
from tracekit.physics.flow import hole_conductance_dm3_s_bar, hole_throughput_pa_m3_s

OPTIONS = VolumeOptions()
KNOWN = Orifice(conductance_dm3_s_bar=0.004, critical_ratio=0.4)


def _volume(plate: Plate, orifice: Orifice = KNOWN, options: VolumeOptions = OPTIONS) -> tuple[VolumeResult, Estimate]:
    opened = replace(plate, conductance=0.004)
    result = volume_of(station(plate), station(opened, seed=2), LOGS, orifice, options)
    assert isinstance(result.volume_ml, Estimate)
    return result, result.volume_ml


def test_volume_from_two_slopes() -> None:
    """Own leak 0.6 kPa/s, 13.0 kPa/s with a 0.3 mm ideal hole at 101.325 kPa: 114.7285 mL (first principles)."""
    flow = float(hole_throughput_pa_m3_s(hole_conductance_dm3_s_bar(0.3), 0.528, 101.325, 21.325))
    assert volume_from_rates(flow, 0.6, 13.0) == pytest.approx(114.72850187813539, rel=1e-9)


def test_forward_check_of_the_slope() -> None:
    """The same volume filled by both flows rises at 13.0 kPa/s."""
    flow = float(hole_throughput_pa_m3_s(hole_conductance_dm3_s_bar(0.3), 0.528, 101.325, 21.325))
    volume_m3 = volume_from_rates(flow, 0.6, 13.0) * 1e-6
    assert (flow / volume_m3 + 600.0) / 1e3 == pytest.approx(13.0, rel=1e-9)


@pytest.mark.parametrize(("diameter_mm", "expected"), [(0.3, 0.0140403), (0.5, 0.0390008), (1.0, 0.1560033)])
def test_conductance_of_the_usual_holes(diameter_mm: float, expected: float) -> None:
    """C of ideal holes of 0.3, 0.5 and 1 mm (0.1560·d², derived from the isentropic nozzle)."""
    assert float(hole_conductance_dm3_s_bar(diameter_mm)) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(
    "plate",
    [
        Plate(), Plate(volume_ml=20.0, own_kpa_s=0.2), Plate(volume_ml=300.0, own_kpa_s=0.1),
        Plate(porous=True), Plate(own_kpa_s=1.5), Plate(ambient_kpa=92.0, start_vacuum_kpa=75.0),
        Plate(temperature_c=35.0), Plate(zero_kpa=0.8),
    ],
)  # fmt: skip
def test_the_volume_is_recovered(plate: Plate) -> None:
    """The volume comes back within 2 % over volumes, leaks, ambients, temperatures and a shifted zero."""
    _, found = _volume(plate)
    assert found.value == pytest.approx(plate.volume_ml, rel=0.02)
    assert found.lower < plate.volume_ml < found.upper


def test_a_decay_that_ends_beyond_the_choked_flow() -> None:
    """A decay down to 30 kPa of vacuum, where the flow is no longer choked, gives the same volume."""
    plate = Plate(volume_ml=30.0, seconds=4.5)
    result, found = _volume(plate)
    assert result.facts["vacuum_low_with_orifice_kpa"][0] < 30.0
    assert found.value == pytest.approx(30.0, rel=0.02)


def test_the_rate_is_the_choked_equivalent() -> None:
    """The own leak's decay is found as its choked rate, with its scatter."""
    found = decay_of(station(Plate(own_kpa_s=2.0)), 0.35, 0.0, OPTIONS)
    assert found is not None
    assert found.rate_kpa_s == pytest.approx(2.0, rel=0.01)
    assert found.coasts == 6
    assert 0.0 < found.rate_u_kpa_s < 0.02


def test_the_budget_adds_up() -> None:
    """Shares of the variance sum to one, the largest first, and make the interval."""
    result, found = _volume(Plate())
    assert sum(b.share for b in result.budget) == pytest.approx(1.0)
    assert [b.u for b in result.budget] == sorted((b.u for b in result.budget), reverse=True)
    combined = math.sqrt(sum(b.u**2 for b in result.budget))
    assert found.upper - found.value == pytest.approx(1.959964 * combined)


def test_each_contribution_by_hand() -> None:
    """V ∝ C·p_a·√T / (s₁ − f·s₀): 3 % of C is 3 % of V; 0.15 kPa of 101 is 0.15 %; 1 K of 293 is 0.17 %."""
    result, found = _volume(Plate())
    parts = {b.source: b.u / found.value for b in result.budget}
    assert parts["sonic conductance of the orifice"] == pytest.approx(0.03, rel=1e-3)
    assert parts["ambient pressure"] == pytest.approx(0.15 / 101.0, rel=1e-3)
    assert parts["air temperature"] == pytest.approx(0.5 / 293.15, rel=1e-3)
    assert parts["slope of the sensor"] == pytest.approx(0.006, rel=1e-3)
    assert parts["clock of the recorder"] == pytest.approx(1e-4, rel=1e-2)


def test_combined_uncertainty_of_a_rise() -> None:
    """The law that the budget uses gives 4.532e-4 Pa·m³/s for 100 mL rising 2 kPa in 10 s (JCGM 100, eq. 10 to 13)."""
    inputs = {"v": (1e-4, 2e-6), "p0": (0.0, 15.0), "p1": (2000.0, 15.0), "t": (10.0, 0.01)}

    def flow(**x: float) -> float:
        return x["v"] * (x["p1"] - x["p0"]) / x["t"]

    middle = {n: m for n, (m, _) in inputs.items()}
    parts = [
        (flow(**{**middle, n: m + u / 10}) - flow(**{**middle, n: m - u / 10})) / 2 * 10 for n, (m, u) in inputs.items()
    ]
    assert math.sqrt(sum(p * p for p in parts)) == pytest.approx(0.0004532107677449864, rel=1e-4)


def test_an_unknown_discharge_is_rectangular() -> None:
    """Without a discharge coefficient 0.6 to 1 is in the interval: nearly its ends over its middle, and marked so."""
    exact = replace(OPTIONS, diameter_u_mm=1e-6, gain_u=1e-6, orifice_u_share=1e-6)
    hole = Orifice(diameter_mm=math.sqrt(0.004 / 0.15600333616 / 0.8))
    result, found = _volume(Plate(), hole, exact)
    assert found.lower / found.value == pytest.approx(0.61 / 0.8, abs=0.01)
    assert found.upper / found.value == pytest.approx(0.99 / 0.8, abs=0.01)
    assert result.budget[0].kind == "rectangular"
    assert "diameter of the hole" in {b.source for b in result.budget}
    assert result.budget[0].u / found.value == pytest.approx(0.4 / math.sqrt(12.0) / 0.8, rel=1e-3)


def test_a_known_discharge_narrows() -> None:
    """A stated coefficient of 0.8 leaves a few per cent."""
    hole = Orifice(diameter_mm=math.sqrt(0.004 / 0.15600333616 / 0.8), discharge=0.8)
    _, found = _volume(Plate(), hole, replace(OPTIONS, diameter_u_mm=0.001))
    assert (found.upper - found.lower) / found.value < 0.15
    assert found.lower < 60.0 < found.upper


def test_decays_that_do_not_overlap() -> None:
    """A tight station stays near 85 kPa, and the opened one began at 70: the own leak is carried over, and said."""
    closed = station(Plate(own_kpa_s=0.1))
    opened = station(Plate(own_kpa_s=0.1, conductance=0.004, start_vacuum_kpa=70.0), seed=2)
    result = volume_of(closed, opened, LOGS, KNOWN, OPTIONS)
    assert any("do not overlap" in w for w in result.warnings)
    assert not any("do not overlap" in w for w in _volume(Plate())[0].warnings)


def test_an_orifice_that_is_too_small() -> None:
    """Where the orifice hardly adds to the own leak, a larger one is asked for and the interval is wide."""
    closed = station(Plate(own_kpa_s=6.0, seconds=4.0))
    opened = station(Plate(own_kpa_s=6.0, seconds=4.0, conductance=0.002), seed=2)
    result = volume_of(closed, opened, LOGS, Orifice(conductance_dm3_s_bar=0.002, critical_ratio=0.4), OPTIONS)
    assert any("times faster" in w for w in result.warnings)


def test_a_short_fall_and_few_decays() -> None:
    """A fall of under 2 kPa and fewer than three decays are named."""
    plate = Plate(volume_ml=3000.0, own_kpa_s=0.01, seconds=9.0)
    closed, opened = station(plate, decays=2), station(replace(plate, conductance=0.004), decays=2, seed=2)
    warnings = volume_of(closed, opened, LOGS, KNOWN, OPTIONS).warnings
    assert any("wait longer" in w for w in warnings)
    assert any("Only 2 and 2 decays" in w for w in warnings)


def test_swapped_logs() -> None:
    """The faster decay in the first log points to swapped logs."""
    closed, opened = station(Plate()), station(Plate(conductance=0.004), seed=2)
    with pytest.raises(UsageError, match="swapped"):
        volume_of(opened, closed, LOGS, KNOWN, OPTIONS)


def test_no_long_coast() -> None:
    """A log of ordinary short coasts holds no decay made on purpose, and says how to make one."""
    short = station(Plate(seconds=0.45))
    with pytest.raises(NotEnoughData, match="wait 10 s"):
        volume_of(short, short, LOGS, KNOWN, OPTIONS)


@pytest.mark.parametrize(
    ("orifice", "words"),
    [
        (Orifice(), "no orifice"),
        (Orifice(diameter_mm=0.3, conductance_dm3_s_bar=0.01), "both"),
        (Orifice(diameter_mm=-0.3), "a size above zero"),
        (Orifice(conductance_dm3_s_bar=0.0), "a size above zero"),
        (Orifice(diameter_mm=0.3, discharge=1.2), "up to 1"),
        (Orifice(conductance_dm3_s_bar=0.01, critical_ratio=0.9), "0.2 to 0.53"),
    ],
)
def test_orifices_that_are_refused(orifice: Orifice, words: str) -> None:
    """An orifice is described one way, by figures that can be."""
    with pytest.raises(UsageError, match=words):
        check_orifice(orifice)


def test_nearly_filled_coasts_are_left_out() -> None:
    """Where the vacuum is nearly gone the decay says nothing; what came before it still counts."""
    found = decay_of(station(Plate(volume_ml=10.0, conductance=0.004, seconds=6.0)), 0.4, 0.0, OPTIONS)
    assert found is not None
    assert found.absolute_kpa.max() < 0.9 * 101.0
    assert np.isfinite(found.rate_kpa_s)


@pytest.mark.skipif("TRACEKIT_RECORDINGS" not in os.environ, reason="TRACEKIT_RECORDINGS names no folder of recordings")
def test_simulated_logs_with_known_volume() -> None:
    """Two simulated logs, read and measured whole: the true volume lies in the interval, 2 % from the value at most."""
    import json

    from tracekit.model.station import Station, StationFacts
    from tracekit.pipeline import measure

    folder = SIMULATED
    truth = json.loads((folder / "volume_calibration_0_orifice" / "truth.json").read_text(encoding="utf-8"))
    about = truth["station"]
    file = Station(
        station=StationFacts(ambient_kpa=about["ambient_kpa"], temperature_c=about["ambient_temperature_k"] - 273.15)
    )
    logs = [measure(folder / f"volume_calibration_0_{n}" / "log.parquet", file) for n in ("reference", "orifice")]
    known = truth["pair"]["known_orifice"]
    orifice = Orifice(conductance_dm3_s_bar=known["C_dm3_s_bar"], critical_ratio=known["b"])
    found = volume_of(
        logs[0].stations[0], logs[1].stations[0], (logs[0].facts, logs[1].facts), orifice, OPTIONS
    ).volume_ml
    assert isinstance(found, Estimate)
    assert found.value == pytest.approx(about["volume_m3"] * 1e6, rel=0.02)
    assert found.lower < about["volume_m3"] * 1e6 < found.upper
