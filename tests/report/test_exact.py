"""Figures that a page reads from sentences are the exact ones that it marks elsewhere."""

import re

from tracekit.model.finding import Evidence, Finding
from tracekit.report.exact import facts_of, settled
from tracekit.report.markup import numbers
from tracekit.report.words import Num, html, number

RATE = Num(value=17.644, lower=17.2, upper=18.1, unit="kPa/s")


def texts(page):
    """The words of the marks of a page, in order."""
    return re.findall(r">([^<]+)</span>", page)


def test_a_rounded_figure_takes_the_exact_one_that_reads_the_same():
    """17.644 kPa/s is 2.559 psi/s; 17.6, rounded already, would read 2.55: on one page both read 2.56."""
    page = html((RATE,), "psi") + numbers("now 17.6 kPa/s", "psi")
    assert texts(page)[1] == "2.55\u00a0psi/s"
    first, second = texts(settled(page, "psi"))
    assert first.startswith("2.56\u00a0psi/s (")
    assert second == "2.56\u00a0psi/s"


def test_an_interval_is_taken_over_for_its_digits_and_not_said():
    """The digits of both are decided by the same interval, in every unit."""
    wide = Num(value=17.6, lower=16.9, upper=18.5, unit="kPa/s")
    page = settled(html((wide,), "inHg") + numbers("now 17.6 kPa/s", "inHg"), "inHg")
    assert texts(page) == ["5.2\u00a0inHg/s (4.9\u00a0to\u00a05.5)", "5.2\u00a0inHg/s"]


def test_what_none_explains_keeps_its_own_figure():
    """Another value, another unit of time, and a figure with other digits are not exchanged."""
    page = html((RATE,)) + numbers("now 17.7 kPa/s, 17.6 kPa and 18 kPa/s")
    assert settled(page, "kPa") == page


def test_the_sign_of_the_sentence_stays():
    """A fall that is told as −17.6 is the exact one with that sign."""
    page = settled(html((RATE,), "mbar") + numbers("changed by -17.6 kPa/s", "mbar"), "mbar")
    assert texts(page)[1] == "\u2212176\u00a0mbar/s"


def test_facts_of_findings_are_known_with_their_distance_from_the_reference():
    """What a finding rests on explains figures that the page marks nowhere else."""
    fact = Evidence(measure="idle_vacuum_kpa", value=-2.547, unit="kPa", reference=0.032)
    known = facts_of((Finding(code="sensor_zero_shift", kind="sensor", severity="minor", confidence=0.9, share=1.0, title="", evidence=(fact,)),))
    page = settled(numbers("off by 2.58 kPa; shifted to -2.5 kPa", "psi"), "psi", known)
    assert texts(page) == [number(Num(value=2.579, unit="kPa", step=0.01), "psi"), number(Num(value=-2.547, unit="kPa", step=0.1), "psi")]
    assert 'data-v="2.579"' in page


def test_a_figure_with_its_interval_in_a_sentence_is_marked_whole():
    """The ends in brackets follow the unit too."""
    page = numbers("changed by 0 kPa/s (-20 to 20) since", "mbar")
    assert re.sub(r"<[^>]+>", "", page) == "changed by 0\u00a0mbar/s (\u2212200\u00a0to\u00a0200) since"
