"""What a page carries for its script says the same as the tables."""

import base64
import gzip

import numpy as np
import stories
from stories import Play

from tracekit.report.embed import packed


def unpack(text, dtype):
    """A packed array."""
    return np.frombuffer(gzip.decompress(base64.b64decode(text)), dtype)


def test_cycle_table_survives_packing():
    """Every column comes back, times counted from each cycle's start, missing as not-a-number."""
    result = stories.dropping().stations[0]
    table = packed(result, 5000, 1000)["cycles"]
    n = len(table["rows"])
    body = unpack(table["body"], "<f4").reshape(len(table["columns"]), n)
    start = unpack(table["start"], "<f8")
    cycles = result.data.cycles
    assert np.array_equal(start, cycles.floats("start_s"))
    for facts, column in zip(table["columns"], body, strict=True):
        if "values" in facts:
            words = [facts["values"][int(v)] if np.isfinite(v) else None for v in column]
            if facts["name"] == "outcome":
                assert words == cycles.texts("outcome")
            continue
        if facts["name"].startswith("decay_rate"):
            side = facts["name"].removeprefix("decay_rate").removesuffix("_kpa_s")
            assert np.allclose(column, getattr(result.leak, f"rate{side}"), rtol=1e-5, equal_nan=True)
            continue
        expected = cycles.data[facts["name"]].astype(float)
        expected = np.where(expected == -1, np.nan, expected) if expected.dtype != cycles.data[facts["name"]].dtype else expected
        back = column + start if facts.get("since") else column
        assert np.allclose(back, expected, rtol=1e-5, atol=1e-4, equal_nan=True), facts["name"]


def test_traces_are_those_of_the_bins_and_excerpts():
    """A cycle's points come back to a hundredth of a kPa and a tenth of a millisecond."""
    result = stories.dropping().stations[0]
    traces = packed(result, 5000, 10**6)["traces"]
    steps = (traces["time_step"], traces["vacuum_step"])
    time, vacuum = (unpack(traces[k], "<i4") for k in ("time", "vacuum"))
    excerpts = {e.cycle: e for e in result.data.excerpts}
    at = 0
    for cycle, n, every in traces["index"]:
        t = np.cumsum(time[at : at + n]) * steps[0] + result.data.cycles.floats("start_s")[cycle]
        v = np.cumsum(vacuum[at : at + n]) * steps[1]
        at += n
        rows = result.data.bins.cycle == cycle
        expected = (excerpts[cycle].time_s, excerpts[cycle].pressure_kpa) if every else (
            result.data.bins.time_s[rows], result.data.bins.pressure_kpa[rows])  # fmt: skip
        assert np.allclose(t, expected[0], atol=1e-3)
        assert np.allclose(-v, expected[1], atol=0.006 + 0.0001 * n)
    assert len(traces["index"]) == 62


def test_many_cycles_are_thinned_with_the_odd_ones_kept():
    """Beyond the limit odd cycles come first."""
    lost = (5, 50, 120)
    found = stories.finding("collision_or_peel", cycles=lost)
    result = stories.result(Play(cycles=150, dropped=lost), findings=(found,))
    carried = packed(result, 20, 6000)
    assert len(carried["cycles"]["rows"]) == 20
    assert set(lost) <= set(carried["cycles"]["rows"])
    assert carried["touched"] == list(lost)
    assert {5, 50, 120} <= {c for c, _, _ in carried["traces"]["index"]}
    assert 3000 < sum(n for _, n, every in carried["traces"]["index"] if not every) <= 6000


def test_no_sample_of_the_cycles_that_matter_is_left_out():
    """Excerpts are carried whole, however few averages there is room for."""
    result = stories.dropping().stations[0]
    kept = {e.cycle: len(e.time_s) for e in result.data.excerpts}
    index = packed(result, 5000, 100)["traces"]["index"]
    assert len(kept) >= 5
    assert {cycle: n for cycle, n, every in index if every} == kept
    assert sum(n for _, n, every in index if not every) <= 100


def test_an_empty_log_packs_to_nothing():
    """Without cycles there is still a valid package."""
    carried = packed(stories.unmeasurable().stations[0], 100, 100)
    assert carried["cycles"]["rows"] == []
    assert carried["traces"]["index"] == []
