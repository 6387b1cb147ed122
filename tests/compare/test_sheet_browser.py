"""The acceptance sheet in a browser: one page to sign, nothing sideways. Needs a headless Chromium."""

from dataclasses import replace

import numpy as np
import pytest

from tests.compare.compared_stations import Scene, recording
from tracekit.compare.engine import Asked, compare
from tracekit.compare.plan import plan_for
from tracekit.compare.plan_share import PlanQuestion
from tracekit.model.comparison import Comparison, HoldRows
from tracekit.options.compare import CompareOptions, PlanOptions, SerialOptions
from tracekit.report.compare_page import comparison_page

pytestmark = pytest.mark.browser

ROOM_PX = (182.0 / 25.4 * 96.0, 250.0 / 25.4 * 96.0)  # A4 and Letter both hold this within margins of 14 mm


def _rows(n: int, refills: int) -> HoldRows:
    row = np.repeat(np.arange(n), refills)
    start = np.tile(1.0 + np.arange(refills), n)
    return HoldRows(
        cycle=np.arange(n), first=np.full(n, 0.3), end=np.full(n, 4.0), row=row, start=start, stop=start + 0.2,
        refills=np.full(n, refills),
    )  # fmt: skip


def _full() -> Comparison:
    """A sheet with as much on it as there may be: plan, remarks, two limits, obstacles, refills."""
    parts = {"plain tile": (0.0, 0.6), "glazed tile": (0.5, 0.4)}
    before = recording(1, 120, Scene(parts=parts), name="before")
    after = recording(2, 100, Scene(medians={"decay_rate_kpa_s": 3.0}, day=0.02), start_h=24.0, name="after",
                      settings={"set_point": 58.0, "reset_point": 52.0, "supply_off": 71.0, "supply_on": 64.0})  # fmt: skip
    before, after = replace(before, holds=_rows(20, 3)), replace(after, holds=_rows(20, 0))
    question = PlanQuestion(measure="decay_rate_kpa_s", change=0.6, looks=3)
    plan = plan_for(question, (before,), CompareOptions(), PlanOptions(), SerialOptions(), "2030-01-01T00:00:00Z")
    return compare((before,), (after,), Asked(plan=plan, accept=("decay_rate_kpa_s<=4", "drop_share<=0.001")))


@pytest.fixture(scope="module")
def sheet(tmp_path_factory):
    path = tmp_path_factory.mktemp("sheet") / "report.html"
    path.write_text(comparison_page(_full()), encoding="utf-8")
    return path.as_uri()


def test_one_page_to_sign(chromium, sheet):
    """Conclusion, recordings, rule, obstacles and signatures fill one printed page of A4 or Letter at most."""
    page = chromium.new_page(viewport={"width": int(ROOM_PX[0]), "height": 800})
    page.emulate_media(media="print")
    page.goto(sheet)
    page.locator("text=Signature").first.wait_for()
    bottom = page.evaluate("document.querySelector('.page-one').getBoundingClientRect().bottom")
    inside = page.evaluate("document.querySelector('.page-one').innerText")
    page.close()
    for words in ("Signature", "What stands in the way", "No safety function", "Refills in a hold", "Plan frozen"):
        assert words in inside
    assert 0.4 * ROOM_PX[1] < bottom <= ROOM_PX[1]


@pytest.mark.parametrize("width", [320, 360, 1280])
def test_nothing_scrolls_sideways(chromium, sheet, width):
    """The sheet fits phones and desks; on a phone every figure of the annex says what it is."""
    page = chromium.new_page(viewport={"width": width, "height": 800})
    page.goto(sheet)
    wide = page.evaluate("document.documentElement.scrollWidth")
    name = page.evaluate("getComputedStyle(document.querySelector('#annex td'), '::before').content")
    page.close()
    assert wide <= width
    assert ("before" in name or "attr" in name) == (width < 640)
