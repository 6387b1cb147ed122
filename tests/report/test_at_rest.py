"""The picture of a sensor's own fault: what it reads with nothing on, how far it scatters."""

import re

import pytest
import stories
from stories import Play

from tracekit.judge import handbook
from tracekit.model.finding import Evidence
from tracekit.report.pictures.at_rest import at_rest, usual
from tracekit.report.verdict import verdict
from tracekit.report.words import plain


def of(code, base=None, **more):
    """A result whose first finding is `code`."""
    return stories.result(Play(cycles=30), findings=(stories.finding(code, kind="sensor", **more),), base=base)


def test_a_zero_is_drawn_cycle_by_cycle_beside_the_baseline():
    """One mark per cycle, the idle reading named against the baseline's, the band of a sound sensor from the handbook."""
    result = of("sensor_zero_shift", base=Play(cycles=30, seed=4))
    picture = at_rest(result)
    idle = result.data.cycles.floats("idle_vacuum_kpa")
    assert plain(picture.heading).startswith("With nothing on the sensor reads ")
    assert "in the baseline" in plain(picture.heading)
    assert [row[1] for row in picture.rows] == idle.tolist()
    (marks,) = re.findall(r'class="squares odd" d="([^"]+)"', picture.html)
    assert marks.count("M") == 30
    assert usual("sensor_zero_shift") == (-0.5, 0.5)


def test_scatter_is_held_against_that_of_a_sound_sensor():
    """Without a baseline the heading and the verdict name what is usual."""
    fact = Evidence(measure="noise_kpa", value=1.12, unit="kPa", text="single readings scatter by 1.12 kPa")
    result = of("sensor_noisy", evidence=(fact,))
    assert "a sound sensor at most 0.3\u00a0kPa" in plain(at_rest(result).heading)
    assert plain(verdict(result).lead) == "Single readings scatter by 1.12 kPa. A sound sensor: at most 0.3\u00a0kPa."


def test_other_faults_have_no_such_picture():
    """A leak says nothing of the sensor."""
    assert at_rest(of("leak_steady")) is None
    assert usual("leak_steady") is None


@pytest.mark.parametrize("code", ["sensor_zero_shift", "sensor_noisy"])
def test_what_is_sound_is_what_a_repair_has_to_reach(code):
    """The band of the picture is the handbook's aim for the same measure."""
    (target,) = handbook.entry(code).verify.targets
    assert usual(code) == (dict(target.low).get("constant", 0.0), dict(target.high)["constant"])
