"""The drawing kit."""

import re

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tracekit.report.plot import (
    Axis,
    Label,
    Plot,
    across,
    band,
    bars,
    dots,
    draw,
    line,
    nice_ticks,
    round_up,
    stairs,
    uprights,
    upward,
)  # fmt: skip
from tracekit.report.words import Num

X = Axis(low=0.0, high=10.0, unit="s", name="seconds")
Y = Axis(low=0.0, high=100.0, unit="kPa", name="{} of vacuum")


@given(st.floats(-1e5, 1e5), st.floats(1e-3, 1e5))
def test_ticks_are_round_and_inside(low, span):
    """Ticks lie between the ends, evenly spaced, at most a handful."""
    ticks = nice_ticks(low, low + span)
    assert all(low - 1e-6 * span <= t <= low + span * (1 + 1e-6) for t in ticks)
    assert 1 <= len(ticks) <= 6
    steps = np.diff(ticks)
    assert np.allclose(steps, steps[:1], rtol=1e-6) if len(steps) else True


@given(st.floats(1e-6, 1e6))
def test_round_up_is_a_little_above(value):
    """The end of an axis lies above the value, at most twice as high."""
    assert value * 0.999 <= round_up(value) <= 2.0 * value


def test_round_up_of_nothing():
    """Without a size the axis ends at one."""
    assert round_up(0.0) == 1.0
    assert round_up(float("nan")) == 1.0


def test_positions():
    """Values of x run to the right, those of y upwards unless it is turned."""
    assert across(X, [0.0, 5.0, 10.0]).tolist() == [0.0, 500.0, 1000.0]
    assert upward(Y, [0.0, 100.0]).tolist() == [1000.0, 0.0]
    assert upward(Axis(low=0.0, high=4.0, down=True), [1.0]).tolist() == [250.0]


def test_marks_skip_what_is_not_finite():
    """A missing value is no mark, and breaks a line."""
    x, y = np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, np.nan, 5.0, 6.0])
    assert line(x, y, "c") == '<path class="c" d="M0 0M2 5L3 6"/>'
    assert dots(x, y, "c") == '<path class="c" d="M0 0h.1M2 5h.1M3 6h.1"/>'
    assert uprights(x, y, y + 1.0, "c").count("V") == 3
    assert bars(x, x + 1.0, y, "c").count("H") == 3
    assert band(x, y, y + 2.0, "c").endswith('Z"/>')
    assert not band(x[:1], y[:1], y[:1], "c")
    assert stairs(x, y[[0, 2, 3, 3]], "c") == '<path class="c" d="M0 0H1V5H2V6H3V6"/>'
    assert not dots(x[:0], y[:0], "c")


def test_plot_needs_no_style_attribute_and_escapes():
    """A policy without inline styles holds, and labels are text."""
    plot = Plot(x=X, y=Y, marks=(dots(np.array([1.0]), np.array([2.0]), "dots usual"),),
                labels=(Label(x=1.0, y=2.0, lines=("<b>", (Num(value=60.0, unit="kPa", step=1.0),))),))  # fmt: skip
    html = draw(plot, described_by='a "quoted" <label>')
    assert " style=" not in html
    assert "&lt;b&gt;" in html
    assert 'aria-labelledby="h-a &quot;quoted&quot; &lt;label&gt; c-a' in html
    assert '<tspan class="q" data-u="kPa" data-v="60"' in html


def test_ticks_follow_the_unit():
    """In another unit the ticks are round in that unit, at the right places."""
    html = draw(Plot(x=X, y=Y, marks=()), "inHg", described_by="x")
    group = html.split('class="axis-y"')[1].split("</g>")[0]
    shown = [float(t) for t in re.findall(r">(\d+)</text>", group)]
    at = [float(t) for t in re.findall(r'<text class="end" x="0" dx="-6" y="([\d.]+)%"', group)]
    assert shown == [0, 10, 20]
    assert np.allclose(at, [100.0 - v * 3.38639 for v in shown], atol=0.1)
    assert "inHg" in html
