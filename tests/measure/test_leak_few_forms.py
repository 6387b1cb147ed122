"""Forms that are made up of a few of them, and quantiles found by Newton's steps: as good as working out each."""

import numpy as np
import pytest

from tests.measure.one_volume import Plant, station
from tracekit.measure import leak_forms, leak_mixture, leak_search
from tracekit.measure.leak_bins import gather, timeline
from tracekit.measure.leak_pieces import cut_pieces
from tracekit.measure.leak_sums import Scales, Wall, sensor_noise
from tracekit.options.leak import LeakOptions

OPTIONS = LeakOptions()


def test_a_few_forms_make_up_all() -> None:
    """Over the pressures of coasts 18 forms are made up of some six, within what no coast can tell."""
    pressure = np.linspace(30.0, 40.0, 500)
    flow = leak_forms.giving_way(leak_forms.relative_flow(pressure, 101.0, 60.0), 41.0 - pressure)
    few, share = leak_forms.few_of(flow)
    assert len(few) < 9
    assert np.abs(share @ flow[few] - flow).max() < 20.0 * leak_forms.ALIKE
    assert np.allclose(share[few], np.eye(len(few)), atol=1e-7)
    one, own = leak_forms.few_of(flow[:1])
    assert one.tolist() == [0]
    assert own.tolist() == [[1.0]]


def test_sums_by_a_few_forms_are_those_of_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sums of products of forms that are made up of a few are those of the forms themselves."""
    data = station(Plant(rates=(4.0,) * 6))
    history = gather(data, timeline(data, OPTIONS), np.ones(6, bool))
    pieces = cut_pieces(history, history.coast >= 0, OPTIONS)
    walls = [Wall(tau_s=t, spread_ln=s) for s in (0.0, 0.5) for t in (0.05, 0.2)]
    rho = 0.05 * np.ones(len(history.time_s))
    scales = Scales(
        noise=sensor_noise(0.05, 0.01), variance=1.0, memory_mean=0.0, memory_sd=0.1, scatter_sd=0.01, temper=2.0
    )
    box = (history, pieces, walls, scales, rho, leak_search.tried_flow_of(history, OPTIONS))
    by_few = leak_search.scan(*box)
    monkeypatch.setattr(leak_search, "MANY_FORMS", 100)
    by_all = leak_search.scan(*box)
    assert by_few.gg.shape == (4, leak_forms.TRIED, 6)
    for name in ("uu", "uh", "hh", "gg", "gu", "gh", "spread"):
        assert np.allclose(getattr(by_few, name), getattr(by_all, name), rtol=1e-7), name


def test_quantiles_of_parts_far_apart_are_found() -> None:
    """Where nothing lies between two components, so that the distribution function is flat, quantiles are in either."""
    box = (np.array([[0.5], [9.0]]), np.array([0.01]), np.array([[0.6], [0.4]]))
    low, middle, edge, high = (float(q[0]) for q in leak_mixture.positive_quantiles(*box, (0.3, 0.599, 0.601, 0.8)))
    assert low == pytest.approx(0.5, abs=1e-4)
    assert 0.52 < middle < 0.56
    assert 8.94 < edge < 8.98
    assert high == pytest.approx(9.0, abs=1e-4)
