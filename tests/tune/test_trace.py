"""The modelled pick as a curve: it runs as the supply does."""

import numpy as np

from tests.tune import tuned_stations as stations
from tracekit.options.tune import TuneOptions
from tracekit.simulate.scenario import Saving
from tracekit.tune.known import known_settings
from tracekit.tune.prepare import prepare
from tracekit.tune.trace import misfit_kpa, model_curve, recorded_curves

ONE_COAST = stations.scenario(stations.spec(saving=Saving(supply_off_kpa=70.0, supply_on_kpa=45.0)))


def test_the_curve_follows_the_recorded_picks():
    """A supply that was cut and never resumed is modelled as cut: the readings lie within 1.5 kPa in the median."""
    result, options = stations.diagnosed(ONE_COAST, stations.LOAD), TuneOptions()
    station = stations.filed(ONE_COAST, stations.LOAD)
    known = known_settings(result.data, options)
    prepared = prepare(result.data, result.leak, station, known, None, options)
    model, now = prepared.problem.model, {n: k.value for n, k in known.items() if n != "supply_on"}
    curve = model_curve(model, now)
    assert np.all(np.diff(curve.time_s) >= 0.0)
    assert float(curve.vacuum_kpa.max()) < now["supply_off"] + 5.0
    assert misfit_kpa(recorded_curves(result.data, model, 8), curve) < 1.5
