"""Numbers and chances in words."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.model.estimate import Bound, Estimate, Withheld
from tracekit.report.words import (
    Num,
    chance,
    count,
    digits,
    html,
    in_unit,
    number,
    of_quantity,
    outward,
    place_of_interval,
    plain,
    say,
    share_of,
    strength,
    urgency,
)  # fmt: skip

NBSP = "\u00a0"


def spaces(text):
    """No-break and narrow spaces as plain ones, for readable expectations."""
    return text.replace(NBSP, " ").replace("\u202f", " ")


@pytest.mark.parametrize(
    ("num", "said"),
    [
        (Num(value=7.41, lower=7.21, upper=7.65, unit="kPa/s"), "7.4 kPa/s (7.2 to 7.7)"),
        (Num(value=7.41, lower=7.21, upper=7.58, unit="kPa/s"), "7.41 kPa/s (7.21 to 7.58)"),
        (Num(value=394.3, lower=216.0, upper=571.0, unit="mL"), "390 mL (210 to 580)"),
        (Num(value=0.4, lower=0.2, upper=0.6, unit="kPa/s"), "0.4 kPa/s (0.2 to 0.6)"),
        (Num(value=123.4, lower=88.0, upper=160.0, unit="s"), "120 s (80 to 160)"),
        (Num(value=0.1621, lower=0.1604, upper=0.1649, unit="s"), "0.162 s (0.160 to 0.165)"),
        (Num(value=-68.0, unit="kPa", step=0.1), "\u221268.0 kPa"),
        (Num(value=60.2, unit="kPa", step=0.5), "60.2 kPa"),
        (Num(value=60.2, unit="kPa", step=1.0), "60 kPa"),
        (Num(value=5.0, unit="kPa/s", bound="at least", step=0.1), "at least 5.0 kPa/s"),
        (Num(value=5.04, unit="kPa/s", bare=True, step=0.1), "5.0"),
        (Num(value=7.4, lower=7.4, upper=7.4, unit="kPa"), "7.40 kPa (7.40 to 7.40)"),
        (Num(value=float("nan"), unit="s"), "unknown s"),
    ],
)
def test_number_wording(num, said):
    """The first digit of the interval's half-width is the last digit shown, the second behind a 1; without interval the step decides."""
    assert spaces(number(num)) == said


@given(
    st.floats(-1e4, 1e4).filter(lambda v: abs(v) > 1e-3 or v == 0),
    st.floats(1e-4, 1e3),
    st.floats(1e-4, 1e3),
)
def test_bounds_are_rounded_outward(value, down, up):
    """The bounds shown never lie inside the true ones, and the value shown lies between them."""
    lower, upper = value - down, value + up
    place = place_of_interval(lower, upper)
    low, high = outward(lower, upper, place)
    slack = 1e-6 * 10.0**place
    assert low <= lower + slack
    assert high >= upper - slack
    assert low - slack <= round(value / 10.0**place) * 10.0**place <= high + slack


def test_unit_switch_rounds_from_the_unrounded_value():
    """Another unit has its own digits, from the value as measured."""
    num = Num(value=7.41, lower=7.21, upper=7.65, unit="kPa/s")
    assert spaces(number(num, "inHg")) == "2.19 inHg/s (2.12 to 2.26)"
    assert spaces(number(num, "mbar")) == "74 mbar/s (72 to 77)"
    assert in_unit(num, "mbar").value == pytest.approx(74.1)
    assert in_unit(Num(value=0.3, unit="s"), "mbar").unit == "s"


@pytest.mark.parametrize(
    ("value", "place", "said"),
    [
        (9999.0, 0, "9999"), (10000.0, 0, "10\u202f000"), (1234567.0, 0, "1\u202f234\u202f567"), (0.0, -1, "0.0"),
        (-0.04, -1, "0.0"), (-12345.6, -1, "\u221212\u202f345.6"), (1234.0, 2, "1200"),
    ],
)  # fmt: skip
def test_digits(value, place, said):
    """Narrow spaces from 10 000, a true minus sign, no minus before zero."""
    assert digits(value, place) == said


@pytest.mark.parametrize(
    ("p", "said"),
    [
        (0.0, "under 1 in 20"), (0.049, "under 1 in 20"), (0.05, "1 in 20"), (0.1, "1 in 10"), (0.44, "4 in 10"),
        (0.9, "9 in 10"), (0.93, "19 in 20"), (0.98, "over 19 in 20"), (1.0, "over 19 in 20"),
    ],
)  # fmt: skip
def test_chance(p, said):
    """A probability is said in tenths, and in twentieths at both ends."""
    assert chance(p) == said


def test_strength_and_urgency_follow_their_steps():
    """Confidence and severity have fixed words."""
    assert [strength(c) for c in (0.93, 0.92, 0.75, 0.74, 0.55, 0.54)] == [
        "", "very likely", "very likely", "probably", "probably", "either",
    ]  # fmt: skip
    assert urgency("critical") == "Stop. Do not run parts."
    assert [urgency(s) for s in ("major", "minor", "info")] == [
        "Repair this shift.", "Plan a repair.", "Nothing found to repair.",
    ]  # fmt: skip


def test_share_of_names_its_base():
    """A count always says of what."""
    assert share_of(95, 95, "cycles") == "all 95 cycles"
    assert share_of(1, 62, "cycles") == "1 of 62 cycles"
    assert share_of(0, 40, "cycles") == "none of 40 cycles"
    assert share_of(1, 1, "cycles") == "the only cycle"


def test_quantities_say_their_side():
    """A bound is one-sided, and what is withheld has no number."""
    common = {"unit": "kPa/s", "n": 5, "method": "m"}
    assert number(of_quantity(Bound(status="lower_bound", limit=5.0, **common))).startswith("at least 5.0")
    assert number(of_quantity(Bound(status="upper_bound", limit=0.31, **common))).startswith("less than 0.31")
    assert of_quantity(Withheld("no coast")) is None
    assert of_quantity(Estimate(value=1.0, lower=0.9, upper=1.2, **common)).upper == 1.2


def test_say_counts_its_places():
    """A pattern with too few values is refused."""
    with pytest.raises(ValueError, match="2 places for 1 values"):
        say("{} of {}", 1)
    assert plain(say("{} of {}", 3, "four")) == "3 of four"
    assert count(12) == "12"


def test_html_marks_pressures_alone():
    """Pressures keep their unrounded value beside the words; words are escaped."""
    marked = html(say("<b> {} {}", Num(value=7.4123456, unit="kPa/s", step=0.1), Num(value=2.0, unit="s", step=1.0)))
    assert marked.startswith("&lt;b&gt; <span")
    assert 'data-v="7.4123456"' in marked
    assert marked.count("data-v") == 1
    assert math.isclose(float(marked.split('data-v="')[1].split('"')[0]), 7.4123456)


def test_one_number_has_one_word():
    """Every chance that reads the same has the same word of strength."""
    words = {}
    for p in (k / 1000.0 for k in range(30, 1000)):
        words.setdefault(chance(p), set()).add(strength(p))
    assert all(len(found) == 1 for found in words.values())


@pytest.mark.parametrize(("value", "step", "unit", "shown"), [
    (86.1, 0.1, "kPa", "86.1"), (86.1, 0.1, "mbar", "861"), (86.1, 0.1, "bar", "0.861"), (86.1, 0.1, "inHg", "25.4"),
    (86.1, 0.1, "psi", "12.49"), (86.1, 0.1, "mmHg", "646"), (60.0, 1.0, "psi", "8.7"), (60.0, 1.0, "mbar", "600"),
])  # fmt: skip
def test_another_unit_shows_no_place_worth_less_than_half_of_the_step(value, step, unit, shown):
    """A step of 0.1 kPa leaves 1 mbar, 0.1 inHg, 0.01 psi: no digit that the reading does not have."""
    assert number(Num(value=value, step=step, unit="kPa", bare=True), unit) == shown


@pytest.mark.parametrize(("value", "place", "shown"), [(0.25, -1, "0.3"), (2.5, 0, "3"), (-2.5, 0, "\u22123"), (35.0, 1, "40")])
def test_halves_are_rounded_away_from_nothing(value, place, shown):
    """As the page's script does, whatever the sign."""
    assert digits(value, place) == shown
