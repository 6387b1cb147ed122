"""Figures for notebooks: the same numbers and sentences as the page, by name."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
import stories

import tracekit
from tracekit.errors import UsageError
from tracekit.report.figures import FIGURES, figure
from tracekit.report.pictures.choose import choose


@pytest.fixture(scope="module")
def torn():
    """A station with a leak and a baseline."""
    return stories.torn_cup().stations[0]


def test_every_name_gives_a_figure_of_some_story(torn):
    """Each documented name draws at least one trace, titled by a sentence, from a story that shows it."""
    decided = replace(torn, leak=replace(torn.leak, mechanism="hole", form_probability={"hole": 0.97}))
    told = [decided] + [
        make().stations[0] for name, make in stories.STORIES.items() if name not in ("hostile", "unmeasurable")
    ]
    for name in FIGURES:
        drawn = [made for result in told if (made := _try(result, name)) is not None]
        assert drawn, name
        assert all(len(made.data) >= 1 and made.layout.title.text for made in drawn)


def _try(result, name):
    try:
        return figure(result, name)
    except UsageError as error:
        assert f'nothing to draw for "{name}"' in str(error)  # noqa: PT017
        return None


def test_every_picture_of_a_page_has_its_figure():
    """Whatever a page shows can be drawn by the name of its picture."""
    for name, make in stories.STORIES.items():
        record = make()
        lead, others = choose(record.stations[0], record.logs, most=9)
        for picture in (p for p in (lead, *others) if p is not None and name != "unmeasurable"):
            assert figure(record.stations[0], picture.id).data, (name, picture.id)


def test_single_losses_and_a_chattering_hold_keep_their_samples():
    """A line per lost cycle; the samples of the chattering hold with the output on its own axis, in the asked unit."""
    lost = figure(stories.dropping().stations[0], "losses", "mbar")
    assert {t.name for t in lost.data} == {f"cycle {c}" for c in (4, 17, 31, 44, 58)}
    assert max(max(t.y) for t in lost.data) > 500.0
    wild = figure(stories.chattering().stations[0], "chatter")
    assert wild.data[1].yaxis == "y2"
    assert set(wild.data[1].y) == {0, 1}


def test_an_unknown_name_is_refused_with_the_nearest(torn):
    """A slip of the pen is answered with the name that was meant, a stranger with the list."""
    with pytest.raises(UsageError, match=r'"evacuaton".*Did you mean "evacuation"\?'):
        figure(torn, "evacuaton")
    with pytest.raises(UsageError, match=r"Known: budget, causes, chatter, cycles, "):
        figure(torn, "xyz")


def test_rates_are_the_log_s_own_in_the_asked_unit(torn):
    """Every finite rate is drawn once, in the unit asked for."""
    made = figure(torn, "rates", "mbar")
    drawn = np.sort(np.concatenate([t.y for t in made.data]))
    rate = torn.leak.rate[np.isfinite(torn.leak.rate)]
    assert drawn == pytest.approx(np.sort(rate) * 10.0)
    assert made.layout.yaxis.title.text == "vacuum lost [mbar/s]"


def test_recording_keeps_every_spike_and_every_outcome():
    """The band reaches the lowest and highest reading, and dropped cycles carry a sign of their own."""
    result = stories.dropping().stations[0]
    made = figure(result, "recording")
    assert max(made.data[0].y) == pytest.approx(float(np.max(-result.data.strip.lowest_kpa)))
    by_name = {t.name: t for t in made.data}
    assert len(by_name["dropped"].x) == 5
    assert by_name["dropped"].marker.symbol != by_name["held"].marker.symbol


def test_names_from_the_log_cannot_act():
    """Text of the log is escaped in titles, names and hover texts."""
    result = stories.hostile().stations[0]
    for name in FIGURES:
        made = _try(result, name)
        assert made is None or "<script" not in made.to_json().replace("\\u003c", "<"), name


def test_diagnosis_offers_it():
    """`Diagnosis.figure` takes name, station and unit, and documents every name."""
    many = tracekit.Diagnosis(stories.many())
    with pytest.raises(UsageError, match="no station named"):
        many.figure("rates")
    assert many.figure("causes", station="Stacker").layout.title.text.startswith("Stacker: ")
    with pytest.raises(UsageError, match="unit"):
        many.figure("rates", station="Loader 1", units="furlong")
    assert all(name in tracekit.Diagnosis.figure.__doc__ for name in FIGURES)


def test_plotly_is_not_loaded_before_it_is_used():
    """Importing the API loads no plotly."""
    code = "import sys, tracekit.api; print('plotly' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
