"""Every page as Chromium lays it out: on a phone, on a desk, in the dark, on paper."""

import pytest
import stories
from browser_scripts import CLIPPED, EVERY, OVERLAPS

from tracekit.model.station import Limit, Station
from tracekit.report.json import diagnosis_json
from tracekit.report.page import station_page
from tracekit.report.passed import limits_passed

pytestmark = pytest.mark.browser

NAMES = sorted(stories.STORIES)
FIRST_SCREEN_PX = 620
PAPER_PX = (688, 945)  # 182 by 250 mm at 96 px to the inch
SPACING = (
    "* { line-height: 1.5 !important; letter-spacing: .12em !important; word-spacing: .16em !important }"
    "p { margin-bottom: 2em !important }"
)  # WCAG 2.2, 1.4.12


@pytest.mark.parametrize("name", EVERY)
def test_opens_from_a_file_without_network(visit, name):
    """The page opens from file:// with the network off, becomes ready, and the console stays silent."""
    page = visit(name)
    assert page.said == []
    assert page.locator("h1").inner_text()


@pytest.mark.parametrize("width", [320, 360, 768, 1280, 3840])
@pytest.mark.parametrize("name", EVERY)
def test_nothing_is_cut_or_runs_sideways(visit, name, width):
    """At every width there is no sideways scroll, no text is clipped, and no two labels of a picture overlap."""
    page = visit(name, width=width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(CLIPPED) == []
    assert page.evaluate(OVERLAPS) == []


@pytest.mark.parametrize("name", NAMES)
def test_answer_fits_the_first_phone_screen(visit, name):
    """Verdict, first step and settings end by 620 px at 360 px of width."""
    page = visit(name, width=360, height=640)
    end = page.evaluate("document.getElementById('settings').getBoundingClientRect().bottom")
    assert end <= FIRST_SCREEN_PX
    caution = page.locator("#first .caution")
    if caution.count():
        assert caution.bounding_box()["y"] < FIRST_SCREEN_PX


@pytest.mark.parametrize("name", ["healthy", "no_baseline", "torn_cup"])
def test_a_limit_that_is_passed_fits_the_first_phone_screen(visit, tmp_path, name):
    """With a limit above it the first step is still that of the limit, whole, and settings end by 620 px."""
    record = stories.STORIES[name]()
    file = Station(limits={"decay_rate_kpa_s": Limit(max=0.01, severity="critical")})
    path = tmp_path / "report.html"
    path.write_text(station_page(record, 0, limits=limits_passed(diagnosis_json(record), (file,))), encoding="utf-8")
    page = visit(name, width=360, height=640, path=path)
    assert "Find out why a limit is passed".casefold() in page.locator("#first h2").inner_text().casefold()
    assert page.evaluate("document.getElementById('settings').getBoundingClientRect().bottom") <= FIRST_SCREEN_PX


@pytest.mark.parametrize("name", ["torn_cup", "chattering"])
def test_wider_spacing_of_text_breaks_nothing(visit, name):
    """With the text spacing of WCAG 2.2 (1.4.12) there is no sideways scroll and nothing is clipped."""
    page = visit(name, width=360, bypass_csp=True)
    page.add_style_tag(content=SPACING)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert page.evaluate(CLIPPED) == []


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("name", EVERY)
def test_axe_finds_nothing_serious(visit, axe, name, theme):
    """axe-core finds nothing serious or critical in either theme, the cycle panel open."""
    page = visit(name, width=360, theme=theme)
    stop = page.locator(".stop").first
    if stop.count():
        stop.focus()
        page.keyboard.press("Enter")
    page.evaluate(axe)
    found = page.evaluate("axe.run().then(r => r.violations.map(v => [v.impact, v.id, v.nodes[0].html.slice(0, 200)]))")
    assert [v for v in found if v[0] in ("serious", "critical")] == []


@pytest.mark.parametrize("name", ["torn_cup", "chattering", "by_part", "healthy", "no_baseline", "two_faults"])
def test_page_one_of_the_print_is_complete(visit, name):
    """The first sheet holds answer, cautions, hash, steps and causes on 182 by 250 mm, without controls."""
    page = visit(name, width=PAPER_PX[0], height=PAPER_PX[1])
    page.emulate_media(media="print")
    box = page.locator(".page-one").bounding_box()
    assert box["y"] + box["height"] <= PAPER_PX[1]
    assert page.locator(".sheet").is_visible()
    assert stories.HASH in page.locator(".sheet").inner_text()
    for hidden in ("#unit", ".tools", "summary", ".stop"):
        assert not any(item.is_visible() for item in page.locator(hidden).all())
    assert page.evaluate(OVERLAPS) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= PAPER_PX[0]


def test_page_one_with_many_steps_keeps_to_its_sheet(visit, tmp_path):
    """Five steps and more: acts and cautions on the first sheet, the outcomes of all on the next, hidden on a screen."""
    path = tmp_path / "report.html"
    path.write_text(station_page(stories.perhaps_two(), 0), encoding="utf-8")
    page = visit("torn_cup", width=PAPER_PX[0], height=PAPER_PX[1], path=path)
    assert not page.locator("#steps-in-full").is_visible()
    page.emulate_media(media="print")
    box = page.locator(".page-one").bounding_box()
    assert box["y"] + box["height"] <= PAPER_PX[1]
    assert page.locator("#steps-in-full .outcomes").first.is_visible()
    assert not page.locator("#steps .outcomes").first.is_visible()


def test_page_one_of_a_printed_comparison_is_the_sheet(visit):
    """Answer, picture, recordings, rule and signatures stand on one sheet, no label on another; the annex begins the next."""
    page = visit("compare", width=PAPER_PX[0], height=PAPER_PX[1])
    page.emulate_media(media="print")
    box = page.locator(".page-one").bounding_box()
    assert box["y"] + box["height"] <= PAPER_PX[1]
    assert page.evaluate(OVERLAPS) == []
    assert page.evaluate("getComputedStyle(document.getElementById('annex')).breakBefore") == "page"
    assert page.locator(".page-one").get_by_role("columnheader", name="Signature").is_visible()


def test_print_is_light_in_the_dark_theme(visit):
    """Paper stays white whatever the reader's theme."""
    page = visit("torn_cup", theme="dark")
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.querySelector('h1')).color") == "rgb(20, 33, 43)"


def test_marks_are_drawn(visit):
    """Bars of the hold rows have the size that their numbers say: a mark per row, inside the plot."""
    page = visit("torn_cup")
    rows = page.locator("#picture-holds .plot").get_attribute("data-rows").split()
    drawn = page.evaluate(
        """() => { const p = document.querySelector('#picture-holds svg.data path.usual').getAttribute('d');
        return p.match(/M/g).length }"""
    )
    assert drawn == len(rows) == 95
    inner = page.locator("#picture-holds .inner").first.bounding_box()
    bars = page.locator("#picture-holds svg.data path.odd").first.bounding_box()
    assert inner["x"] < bars["x"] < inner["x"] + inner["width"]
    assert bars["height"] > 0.7 * inner["height"]


def test_themes_differ_in_contrast_not_in_content(visit):
    """Both themes show the same words, in the colours of their own."""
    light, dark = visit("torn_cup"), visit("torn_cup", theme="dark")
    assert light.locator("main").inner_text() == dark.locator("main").inner_text()
    paint = "getComputedStyle(document.body).backgroundColor"
    assert light.evaluate(paint) == "rgb(248, 250, 250)"
    assert dark.evaluate(paint) == "rgb(16, 25, 31)"


@pytest.mark.parametrize("name", ["dropping", "many", "folder", "plan"])
def test_nothing_moves_where_motion_is_to_be_reduced(visit, name):
    """With reduced motion no transition, animation or smooth scrolling is left, also while a filter is in use."""
    moving = """() => [...document.querySelectorAll('*')].filter(e => { const s = getComputedStyle(e);
    return parseFloat(s.transitionDuration) > 0 || s.animationName !== 'none' || s.scrollBehavior === 'smooth' }).length"""
    page = visit(name, reduced_motion="reduce")
    if name == "dropping":
        page.get_by_role("button", name="Dropped").click()
    assert page.evaluate(moving) == 0
    assert page.evaluate("document.getAnimations().length") == 0


def test_motion_is_short_where_it_is_welcome(visit):
    """Without that wish marks fade, for 150 ms at most: so the test above can fail."""
    page = visit("dropping", reduced_motion="no-preference")
    spans = page.evaluate("[...document.querySelectorAll('.plot path')].map(e => parseFloat(getComputedStyle(e).transitionDuration))")
    assert 0 < max(spans) <= 0.15


def test_the_source_of_a_page_is_small_on_paper(visit):
    """On paper what follows the first sheet is set smaller, and where the page comes from smaller still."""
    page = visit("torn_cup", width=PAPER_PX[0])
    page.emulate_media(media="print")
    size = "s => parseFloat(getComputedStyle(document.querySelector(s)).fontSize)"
    body, after, source = (page.evaluate(size, s) for s in ("body", ".page-one~.block", "dl.provenance"))
    assert source < after < body
