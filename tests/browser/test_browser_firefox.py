"""The pages in another engine: Firefox, where the distribution's package is installed."""

import pytest
import stories
from browser_path import firefox_path
from browser_scripts import CLIPPED, OVERLAPS
from firefox_browser import Firefox

pytestmark = pytest.mark.browser

COMMANDS = ("tune", "setup", "inspect", "volume", "trend", "fleet")
PLAIN = ("many", "folder", "plan", "compare", *COMMANDS)  # pages without cycles to look into: nothing to wait for
UNSCRIPTED = ("unmeasurable", *PLAIN)
NAMES = [*sorted(stories.STORIES), *PLAIN]


@pytest.fixture(scope="module", params=["light", "dark"])
def firefox(request, tmp_path_factory):
    """A browser per theme, in which motion is to be reduced; the network leads nowhere."""
    dark = request.param == "dark"
    preferences = {"layout.css.prefers-color-scheme.content-override": 0 if dark else 1, "ui.prefersReducedMotion": 1}
    opened = Firefox(firefox_path(), tmp_path_factory.mktemp("profile"), preferences)
    opened.theme = request.param
    yield opened
    opened.close()


@pytest.mark.parametrize("name", NAMES)
def test_opens_complete_and_silent(firefox, pages, name):
    """From file://: the page becomes ready, the console stays silent, nothing is cut, overlaps or runs sideways."""
    paper = {"light": "rgb(248, 250, 250)", "dark": "rgb(16, 25, 31)"}[firefox.theme]
    for width in (500, 1280):
        firefox.open(pages[name].as_uri(), width=width, ready=name not in UNSCRIPTED)
        assert firefox.run("return document.documentElement.scrollWidth - innerWidth") <= 0
        assert firefox.run(f"return ({CLIPPED})()") == []
        assert firefox.run(f"return ({OVERLAPS})()") == []
    assert firefox.run("return document.querySelector('h1').textContent")
    assert firefox.run("return getComputedStyle(document.body).backgroundColor") == paper
    assert firefox.errors() == []


def test_controls_work(firefox, pages):
    """Unit switch, filter and a click on a cycle do what they do elsewhere; the packed trace is unpacked."""
    firefox.open(pages["torn_cup"].as_uri())
    before = firefox.run("return document.querySelector('main').innerText")
    change = "const u = document.getElementById('unit'); u.value = arguments[0]; u.dispatchEvent(new Event('change', {bubbles: true}))"
    firefox.run(change, "mbar")
    assert "mbar" in firefox.run("return document.querySelector('main').innerText")
    firefox.run(change, "kPa")
    assert firefox.run("return document.querySelector('main').innerText") == before
    firefox.open(pages["dropping"].as_uri())
    firefox.run("[...document.querySelectorAll('button')].find(b => b.textContent.startsWith('Dropped')).click()")
    assert "5 of 62 shown" in firefox.run("return document.querySelector('#evidence .tools').innerText")
    firefox.press("#evidence .stop")
    assert firefox.run("return getComputedStyle(document.querySelector('.panel')).display") != "none"
    assert firefox.run("return document.querySelectorAll('.panel table tr').length") > 3
    assert firefox.errors() == []


def test_an_error_of_a_page_would_be_seen(firefox, tmp_path):
    """The net holds: a page whose script throws, or breaks its policy, is told."""
    page = tmp_path / "bad.html"
    page.write_text("<!doctype html><title>x</title><h1>x</h1><script>throw new Error('torn')</script>", encoding="utf-8")
    firefox.open(page.as_uri(), ready=False)
    assert any("torn" in said for said in firefox.errors())


def test_motion_is_reduced(firefox, pages):
    """A reader who asked for less motion gets none."""
    firefox.open(pages["torn_cup"].as_uri())
    assert firefox.run("return matchMedia('(prefers-reduced-motion: reduce)').matches")
    moving = "return [...document.querySelectorAll('*')].filter(e => parseFloat(getComputedStyle(e).transitionDuration) > 0).length"
    assert firefox.run(moving) == 0
