"""Dips that only some falls have are told where they are drawn, and no cause that makes them is called excluded."""

from dataclasses import replace

import numpy as np
import pytest
import stories
from stories import Play

from tracekit.model.finding import CauseChance
from tracekit.report import coast_dips as coast_dips_of
from tracekit.report.coast_dips import coast_dips, forget
from tracekit.report.pictures.fall import fall
from tracekit.report.ruled import causes_map
from tracekit.report.verdict import verdict
from tracekit.report.words import plain


def dipping(result, depth_kpa, every=3):
    """The same log with a dip of every third cycle's coasts, 0.1 s wide, a third of a second after the cut."""
    data, bins = result.data, result.data.bins
    starts = data.periods.floats("start_s")
    since = bins.time_s - starts[bins.period]
    coast = np.append(data.periods.where("kind", "coast"), False)[bins.period]
    there = coast & (bins.cycle % every == 0)
    deep = depth_kpa * np.interp(since, [0.25, 0.3, 0.36, 0.42], [0.0, 1.0, 1.0, 0.0], left=0.0, right=0.0)
    return replace(
        result, data=replace(data, bins=replace(bins, pressure_kpa=bins.pressure_kpa + np.where(there, deep, 0.0)))
    )


def sound(base=None):
    """A log without a finding."""
    causes = (
        CauseChance(code="none of these", chance=0.97, reason="r"),
        CauseChance(code="motion_dips", chance=0.01, reason="no dips in the hold"),
    )
    return stories.result(Play(cycles=40, rate=3.0), causes=causes, base=base, detectable=())


def test_dips_of_some_falls_are_told():
    """Heading, map of causes and first screen: none says that there are no dips where the picture draws them."""
    result = dipping(sound(Play(cycles=40, rate=3.0, seed=2)), 2.0)
    (found,) = coast_dips(result)
    assert 1.2 < found.depth_kpa < 2.4
    heading = plain(fall(result).heading).replace("\u00a0", " ")
    assert heading.startswith("In some cycles vacuum dips by ")
    assert heading.endswith("; not in the baseline.")
    assert "dip by" in verdict(result).reasons
    _, drawn = causes_map(result, "kPa")
    assert "No dips in the hold" not in drawn
    assert "In some cycles vacuum dips" in drawn


def test_what_every_fall_or_the_baseline_has_is_none():
    """Falls without dips tell none, and dips that the healthy log has too are no news."""
    assert coast_dips(sound()) == ()
    both = dipping(sound(Play(cycles=40, rate=3.0, seed=2)), 2.0)
    assert coast_dips(replace(both, baseline=both.data, baseline_leak=both.leak)) == ()
    assert "dip by" not in verdict(sound()).reasons


def test_dips_are_looked_for_once_until_forgotten(monkeypatch: pytest.MonkeyPatch) -> None:
    """A page asks in several places; after the last of them nothing of the result is kept."""
    asked, result, look = [], sound(), coast_dips_of._found
    monkeypatch.setattr(coast_dips_of, "_found", lambda one: asked.append(one) or look(one))
    forget()
    coast_dips(result)
    coast_dips(result)
    assert asked == [result]
    forget()
    assert coast_dips_of._LAST == []
    coast_dips(replace(result, findings=()))
    assert len(asked) == 2
    forget()
