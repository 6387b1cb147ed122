"""The unit switch on every page: no number is left behind, none is rounded twice, the uncertainty decides the digits.

What is typed into the device stays in the device's own unit: settings to enter (`.one`, the sliders of `#try`), recipes (`pre`).
"""

import re

import pytest
from browser_scripts import EVERY

from tracekit.report.words import OFFERED_UNITS, Num, number

pytestmark = pytest.mark.browser

MARKS = """() => [...document.querySelectorAll('.q')].map(e => [Object.assign({}, e.dataset), e.textContent])"""
LEFT = """unit => { const found = [];
const names = ['kPa', 'mbar', 'hPa', 'bar', 'psi', 'inHg', 'mmHg', 'Torr'].filter(n => n !== unit).join('|');
const told = new RegExp('\\\\d[\\\\s\\\\u00a0\\\\u202f]*(' + names + ')(?![a-z])');
document.querySelectorAll('h1,h2,h3,p,td,th,dt,dd,li,text,summary,label,button').forEach(e => {
  if (!e.closest('pre,.one') && !e.querySelector('select,.one') && told.test(e.textContent)) { found.push(e.textContent.slice(0, 200)); } });
[...document.querySelectorAll('[aria-label],[aria-valuetext],[title]')].filter(e => !e.closest('#try')).forEach(e => { ['aria-label', 'aria-valuetext', 'title'].forEach(a => {
  if (told.test(e.getAttribute(a) || '')) { found.push(e.getAttribute(a)); } }); });
return found; }"""
CODES = {"v": "value", "l": "lower", "h": "upper", "s": "step"}


def as_num(facts):
    """The number that a mark keeps."""
    known = {CODES[k]: float(v) for k, v in facts.items() if k in CODES}
    return Num(unit=facts["u"], bound=facts.get("b", ""), bare="n" in facts, unsaid="i" in facts, told="t" in facts, **known)


@pytest.mark.parametrize("name", EVERY)
def test_every_pressure_of_every_page_follows_the_switch(visit, name):
    """In each unit every number reads as Python writes its exact value, none in another unit is left, and back is back."""
    page = visit(name)
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    marks = page.evaluate(MARKS)
    if not marks:
        assert not re.search(r"\d.kPa", page.locator("main").inner_text())
        return
    for unit in (*OFFERED_UNITS[1:], "kPa"):
        page.select_option("#unit", unit)
        wrong = [(text, number(as_num(facts), unit)) for facts, text in page.evaluate(MARKS) if text != number(as_num(facts), unit)]
        assert wrong == [], unit
        assert page.evaluate(LEFT, unit) == [], unit
    assert page.evaluate(MARKS) == marks


@pytest.mark.parametrize("name", EVERY)
def test_one_reading_in_kpa_is_one_reading_in_every_unit(visit, name):
    """A figure read from a sentence is never another one in psi than the exact figure that it repeats."""
    page = visit(name)
    nums = [as_num(facts) for facts, _ in page.evaluate(MARKS.replace("'.q'", "'.q:not(td)'"))]
    exact = {}
    for num in (n for n in nums if not n.told and n.lower is not None):
        exact.setdefault((num.unit, number(num).partition("(")[0].strip()), num)
    for num in (n for n in nums if n.told and not n.bare):
        own = exact.get((num.unit, number(num)))
        for unit in OFFERED_UNITS if own is not None else ():
            assert number(own, unit).partition(" (")[0] == number(num, unit)
