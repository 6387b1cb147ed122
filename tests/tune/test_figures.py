"""What is shown of a fitted station: intervals hold what one recorder does to all cycles, or the figure is withheld."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tune import tuned_stations as stations
from tracekit.model.estimate import Bound, Estimate, Withheld
from tracekit.options.tune import TuneOptions
from tracekit.tune.facts import station_facts
from tracekit.tune.figures import model_figures
from tracekit.tune.station_model import fit_station


@pytest.fixture(scope="module")
def made():
    """A station that saves air, diagnosed, with its model."""
    return stations.diagnosed(stations.NARROW, stations.LOAD)


def figures(result, **sensor):
    """The figures of a station whose recorder was another one."""
    data = replace(result.data, sensor=replace(result.data.sensor, **sensor))
    options = TuneOptions()
    model = fit_station(data, result.leak, station_facts(data, options), options)
    return model_figures(data, result.leak, model)


def width(found) -> float:
    """Length of an interval."""
    assert isinstance(found, Estimate)
    return found.upper - found.lower


@pytest.mark.parametrize("name", ["open_cup_vacuum_kpa", "overshoot_kpa", "delay_off_s", "delay_on_s", "ultimate_vacuum_kpa"])
def test_coarse_steps_widen_what_is_read_off_levels(made, name):
    """A recorder that rounds to 0.5 kPa leaves levels and turns less certain."""
    fine, coarse = figures(made, quantisation_kpa=0.01)[name], figures(made, quantisation_kpa=0.5)[name]
    if not isinstance(fine, Estimate):
        pytest.skip(f"this station shows no {name}")
    assert width(coarse) > width(fine)


def test_turns_between_far_samples_are_withheld(made):
    """At ten samples a second the turn after a cut is passed: over- and undershoot are withheld, noise is only bounded."""
    found = figures(made, sample_interval_s=0.1)
    assert found["overshoot_kpa"] == found["undershoot_kpa"] == Withheld("samples are too far apart to show where the vacuum turns")
    noise = found["noise_kpa"]
    assert isinstance(noise, Bound)
    assert noise.status == "upper_bound"


def test_scatter_of_peaks_may_be_the_recorder(made):
    """Scatter that noise and steps alone make may be none; steps larger than it may hide as much as they are wide."""
    noisy = figures(made, noise_kpa=2.0)["cycle_scatter_kpa"]
    assert isinstance(noisy, Estimate)
    assert noisy.lower == 0.0
    coarse = figures(made, quantisation_kpa=1.0, noise_kpa=0.0)["cycle_scatter_kpa"]
    assert isinstance(coarse, Estimate)
    assert coarse.upper >= 1.0 / np.sqrt(12.0)


def test_noise_that_lasts_is_only_bounded_below(made):
    """Where neighbouring samples are alike, their differences tell the least of the noise, and it says so."""
    excerpts = []
    rng = np.random.default_rng(4)
    for one in made.data.excerpts:
        n = len(one.time_s)
        slow = np.convolve(rng.standard_normal(n + 60), np.ones(60) / 8.0, "valid")[:n]
        excerpts.append(replace(one, pressure_kpa=one.pressure_kpa + slow))
    slowly = replace(made, data=replace(made.data, excerpts=tuple(excerpts)))
    plain, alike = figures(made)["noise_kpa"], figures(slowly)["noise_kpa"]
    assert isinstance(alike, Bound)
    assert alike.status == "lower_bound"
    assert isinstance(plain, Estimate | Bound)
