"""Every control of a page as a reader uses it, by pointer and by keyboard."""

import re
from dataclasses import replace

import numpy as np
import pytest
import stories
from stories import Play

from tracekit.report.page import station_page
from tracekit.report.words import PAGE_UNITS, Num, number

pytestmark = pytest.mark.browser


def text_of(download):
    """A saved file as text, without its byte-order mark."""
    with open(download.path(), encoding="utf-8-sig", newline="") as file:
        return file.read()


def test_unit_switch_rounds_like_the_page_itself(visit):
    """The script words every number as Python does, in every unit."""
    page = visit("torn_cup")
    rng = np.random.default_rng(5)
    nums = [Num(value=60.0, unit="kPa", step=0.5), Num(value=-68.0, unit="kPa", step=0.1), Num(value=12345.0, unit="kPa", step=1.0),
            Num(value=3.0, unit="kPa/s", bound="at least", step=0.1), Num(value=3.0, unit="kPa/s", bare=True)]  # fmt: skip
    for v, half in zip(10.0 ** rng.uniform(-2, 3, 60), 10.0 ** rng.uniform(-3, 2, 60), strict=True):
        nums.append(Num(value=v, lower=v - half, upper=v + 1.3 * half, unit="kPa/s"))
    for num in nums:
        item = {"u": num.unit, "v": num.value, "l": num.lower, "h": num.upper, "s": num.step, "b": num.bound or None, "n": "" if num.bare else None}
        item = {k: v for k, v in item.items() if v is not None}
        for unit in PAGE_UNITS:
            said = page.evaluate("([item, unit]) => tracekit.say(item, unit)", [item, unit])
            assert said == number(num, unit), (num, unit)


def test_unit_switch_reaches_words_axes_and_tables(visit):
    """One choice changes lead, axis names, ticks and tables, and is announced; back again restores every word."""
    page = visit("torn_cup")
    before = page.locator("main").inner_text()
    page.select_option("#unit", "mbar")
    text = page.locator("main").inner_text()
    assert re.search(r"Vacuum falls \d+.mbar/s", text)
    assert "kPa" not in page.locator(".lead").inner_text()
    assert page.locator("#picture-fall svg.labels").first.evaluate("e => e.textContent").count("mbar") == 1
    assert page.locator("#live").inner_text() == "Pressures now in mbar"
    page.select_option("#unit", "kPa")
    assert page.locator("main").inner_text() == before


def test_filter_fades_the_others_and_counts(visit):
    """A choice of outcome fades the other cycles in every picture and says how many are shown."""
    page = visit("dropping")
    page.get_by_role("button", name="Dropped").click()
    assert "5 of 62 shown" in page.locator("#evidence .tools").first.inner_text()
    assert page.get_by_role("button", name="Dropped").get_attribute("aria-pressed") == "true"
    veils = page.evaluate("[...document.querySelectorAll('path.veil')].map(p => (p.getAttribute('d').match(/M/g) || []).length)")
    assert max(veils) == 57
    assert page.locator("h1").inner_text() == "Very likely parts torn off in motion"
    page.get_by_role("button", name="All cycles").click()
    assert page.evaluate("[...document.querySelectorAll('path.veil')].every(p => !p.getAttribute('d'))")


def test_filter_by_context_adds_to_the_filter_by_outcome(visit):
    """Part types of the log can be chosen; what is saved are the cycles that both filters leave."""
    page = visit("by_part")
    page.locator(".choice select").select_option(label="tile 30")
    told = page.locator("#evidence .tools").first.inner_text()
    assert "15 of 62 shown" in told
    assert re.search(r"they lose 10\.\d\skPa/s in the median|they lose 10\skPa/s in the median", told), told
    page.select_option("#unit", "mbar")
    assert "mbar/s in the median" in page.locator("#evidence .tools").first.inner_text()
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save the cycles shown (CSV)").click()
    lines = text_of(saved.value).splitlines()
    assert len(lines) == 16
    column = lines[0].split(",").index("context_part")
    assert {line.split(",")[column] for line in lines[1:]} == {"tile 30"}
    veils = page.evaluate("[...document.querySelectorAll('path.veil')].map(p => (p.getAttribute('d').match(/M/g) || []).length)")
    assert max(veils) == 47


@pytest.mark.parametrize("text", ["=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", " =1", "-cmd"])
def test_saved_text_is_no_formula(visit, text):
    """A text that a spreadsheet would run is saved with an apostrophe before it; numbers stay numbers."""
    page = visit("torn_cup")
    assert page.evaluate("t => tracekit.cell(t)", text).strip('"').startswith("'")
    for figure in ("-3.5", "+2", "1e-3", "-68.0"):
        assert page.evaluate("t => tracekit.cell(t)", figure) == figure


def test_a_tap_opens_the_nearest_cycle(visit):
    """A tap in the strip shows that cycle's numbers and trace; Escape gives the focus back."""
    page = visit("dropping")
    stop = page.locator("#picture-strip .stop")
    stop.scroll_into_view_if_needed()
    box = stop.bounding_box()
    start = stories.dropping().stations[0].data
    at = (start.cycles.floats("start_s")[31] + 1.0 - start.strip.time_s[0]) / (start.strip.time_s[-1] - start.strip.time_s[0])
    page.mouse.click(box["x"] + at * box["width"], box["y"] + 0.5 * box["height"])
    assert page.locator("#panel-name").inner_text() == "Cycle 31, dropped"
    assert page.locator(".panel svg path.usual").bounding_box()["width"] > 100
    assert "part lost" in page.locator(".panel").inner_text()
    page.keyboard.press("Escape")
    assert page.locator(".panel").count() == 0
    assert page.evaluate("document.activeElement.closest('figure').id") == "picture-strip"


def test_a_tap_in_the_hold_rows_takes_that_row(visit):
    """Rows are thin: the nearest one is taken."""
    page = visit("torn_cup", width=360)
    stop = page.locator("#picture-holds .stop")
    stop.scroll_into_view_if_needed()
    box = stop.bounding_box()
    rows, top, total = (page.locator("#picture-holds .plot").get_attribute(f"data-{k}") for k in ("rows", "top", "total"))
    at = (int(top) + 40 + 0.5) / int(total)
    page.mouse.click(box["x"] + 20, box["y"] + at * box["height"])
    assert page.locator("#panel-name").inner_text().startswith(f"Cycle {rows.split()[40]}, held, ")


def test_pointing_shows_the_figures_of_a_cycle(visit):
    """Beneath a picture stand outcome and rate of the cycle under the pointer, in the strip also time and vacuum; keys tell too."""
    page = visit("torn_cup")
    for name, pattern in (("rates", r"Cycle 47, held, \d\.\d.kPa/s"), ("strip", r"\d+\.\d\d.s: (\d+\.\d.kPa\. )?Cycle 4\d, held")):
        stop, read = page.locator(f"#picture-{name} .stop"), page.locator(f"#picture-{name} .readout")
        assert "Tap or click a cycle" in read.inner_text()
        stop.scroll_into_view_if_needed()
        box = stop.bounding_box()
        page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"])
        assert re.match(pattern, read.inner_text()), read.inner_text()
        page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] - 60)
        assert "Tap or click a cycle" in read.inner_text()
        assert page.locator(".panel").count() == 0
    page.locator("#picture-rates .stop").focus()
    page.keyboard.press("End")
    assert page.locator("#picture-rates .readout").inner_text().startswith("Cycle 94, held")
    page.select_option("#unit", "mbar")
    assert "mbar/s" in page.locator("#picture-rates .readout").inner_text()


def test_a_picture_is_one_tab_stop_with_arrows(visit):
    """Arrows, Home and End move the cycle, Enter opens it, and the value is spoken with outcome and rate."""
    page = visit("torn_cup")
    stop = page.locator("#picture-rates .stop")
    stop.focus()
    page.keyboard.press("End")
    assert stop.get_attribute("aria-valuenow") == "94"
    page.keyboard.press("ArrowLeft")
    assert re.match(r"Cycle 93, held, \d\.\d.kPa/s", stop.get_attribute("aria-valuetext"))
    page.keyboard.press("Home")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    assert page.locator("#panel-name").inner_text().startswith("Cycle 1, held")
    page.get_by_role("button", name="Next").click()
    assert page.locator("#panel-name").inner_text().startswith("Cycle 2, held")
    page.get_by_label("Cycle number").fill("50")
    page.keyboard.press("Enter")
    assert page.locator("#panel-name").inner_text().startswith("Cycle 50, held")


def test_the_recording_zooms_to_samples(visit):
    """Closer shows fewer seconds and the cycle's own samples; Whole restores; a drag moves."""
    page = visit("dropping")
    plot = page.locator("#picture-strip")
    ticks = "[...document.querySelectorAll('#picture-strip svg.labels text.mid')].map(t => Number(t.textContent)).filter(isFinite)"
    whole = page.evaluate(ticks)
    for _ in range(5):
        plot.get_by_role("button", name="Closer").click()
    near = page.evaluate(ticks)
    assert max(near) - min(near) < 0.1 * (max(whole) - min(whole))
    assert plot.locator("svg.data path.ink").count() >= 1
    stop = plot.locator(".stop")
    stop.scroll_into_view_if_needed()
    box = stop.bounding_box()
    page.mouse.move(box["x"] + 200, box["y"] + 30)
    page.mouse.down()
    page.mouse.move(box["x"] + 60, box["y"] + 30, steps=4)
    page.mouse.up()
    assert page.evaluate(ticks) != near
    assert page.locator(".panel").count() == 0
    plot.get_by_role("button", name="Whole").click()
    assert page.evaluate(ticks) == whole


def test_a_setting_is_copied_in_plain_characters(visit):
    """A tap copies what a keypad can type and says so."""
    page = visit("chattering", permissions=["clipboard-read", "clipboard-write"])
    button = page.locator("button.one").first
    button.click()
    button.locator(".done:not(:empty)").wait_for()
    assert button.inner_text().split()[-1] in ("copied", "selected")
    assert page.locator("#live").inner_text().startswith("-58.0 ")
    assert button.bounding_box()["height"] >= 48


def test_shown_numbers_are_saved(visit):
    """The numbers of a picture and the cycles shown are saved as CSV, the cycles as filtered."""
    page = visit("dropping")
    page.get_by_role("button", name="Dropped").click()
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save the cycles shown (CSV)").click()
    rows = text_of(saved.value).strip().split("\r\n")
    assert [r.split(",")[0] for r in rows] == ["cycle", "4", "17", "31", "44", "58"]
    header = rows[0].split(",")
    drop = stories.dropping().stations[0].data.cycles.floats("drop_s")[17]
    assert float(rows[2].split(",")[header.index("drop_s")]) == pytest.approx(drop, abs=1e-3)
    page.locator("#picture-losses summary").click()
    with page.expect_download() as saved:
        page.locator("#picture-losses").get_by_role("button", name="Save these numbers (CSV)").click()
    assert text_of(saved.value).startswith("cycle,time from loss [s],vacuum [kPa]\r\n4,-0.")


@pytest.mark.parametrize("name", ["torn_cup", "chattering"])
def test_without_script_only_the_controls_are_gone(visit, name):
    """Without script every word and picture is there, and no dead control."""
    bare, full = visit(name, script=False), visit(name)
    assert bare.locator("h1").inner_text() == full.locator("h1").inner_text()
    assert bare.locator("figure").count() == full.locator("figure").count()
    for gone in ("#unit", ".tools", ".stop"):
        assert not any(item.is_visible() for item in bare.locator(gone).all())
    bare.locator("summary").first.click()
    assert bare.locator("details[open] table").first.is_visible()


def test_hostile_names_do_nothing(visit):
    """A name that is a script is shown, not run, in the panel and the saved file too."""
    page = visit("hostile")
    assert page.said == []
    assert "<script>alert" in page.locator("header").inner_text()
    page.locator("#picture-rates .stop").focus()
    page.keyboard.press("Enter")
    assert page.locator("#panel-name").inner_text().startswith("Cycle 0")
    assert page.said == []


def test_index_leads_to_its_stations(visit, pages):
    """The index opens each station's page beside it."""
    page = visit("many")
    page.get_by_role("link", name="Stacker").click()
    page.wait_for_selector("html[data-ready]")
    assert page.locator("h1").inner_text() == "Very likely parts torn off in motion"
    assert (pages["many"].parent / "stations" / "Loader-1.html").exists()


def test_keyboard_reaches_every_control_in_order(visit):
    """Tab walks from the link to the answer through every control, each with a visible focus."""
    page = visit("chattering")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    seen = []
    for _ in range(60):
        page.keyboard.press("Tab")
        where = page.evaluate(
            "[document.activeElement.tagName, document.activeElement.className, getComputedStyle(document.activeElement).outlineStyle]"
        )
        if where[0] == "BODY":
            break
        seen.append(where)
    assert {"SELECT", "BUTTON", "SUMMARY"} <= {s[0] for s in seen}
    assert sum(s[1] == "one" for s in seen) == 4
    assert sum("stop" in s[1].split() for s in seen) == 3
    assert all(s[2] != "none" for s in seen)


@pytest.fixture(scope="module")
def long_page(tmp_path_factory):
    """The page of an hour at a thousand samples a second: 1300 cycles, five lost, the samples of 32 carried whole."""
    lost = (4, 317, 611, 944, 1258)
    found = stories.finding("collision_or_peel", severity="critical", confidence=0.85, share=5 / 1300, cycles=lost)
    result = stories.result(Play(cycles=1300, rate=3.9, dropped=lost), findings=(found,))
    starts, ends = (result.data.cycles.floats(name) for name in ("start_s", "end_s"))
    rng = np.random.default_rng(7)
    excerpts = []
    for cycle in (*lost, *range(20, 1280, 47)):
        time = np.arange(starts[cycle], ends[cycle], 1e-3)
        level = np.interp(time, result.data.bins.time_s, result.data.bins.pressure_kpa)
        noisy = level + rng.normal(0.0, 0.08, len(time))
        one = result.data.excerpts[0]
        excerpts.append(replace(one, cycle=cycle, time_s=time, pressure_kpa=noisy, present=np.ones(len(time), np.int8)))
    record = stories.record(replace(result, data=replace(result.data, excerpts=tuple(excerpts))))
    path = tmp_path_factory.mktemp("long") / "report.html"
    path.write_text(station_page(record, 0), encoding="utf-8")
    return path


def test_a_page_of_an_hour_is_small_and_shows_every_sample(visit, long_page):
    """It weighs less than 3 MB, and a cycle that matters is drawn from each of its samples."""
    assert long_page.stat().st_size < 3_000_000
    page = visit("long", path=long_page)
    page.locator("#picture-strip .stop").focus()
    page.evaluate("tracekit.lab.open(611, document.querySelector('#picture-strip .stop'))")
    assert page.locator("#panel-name").inner_text() == "Cycle 611, dropped"
    assert page.evaluate("tracekit.lab.traces.get(611).time.length") > 3000
    assert page.said == []


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("which", ["usual", "long"])
def test_interactive_soon_on_a_slow_machine(browser, pages, long_page, which, width):
    """With the processor slowed four times, the page is painted in one second of its time and ready in two."""
    path = long_page if which == "long" else pages["torn_cup"]
    spent = []
    for script in (False, True):
        context = browser.new_context(viewport={"width": width, "height": 800}, offline=True, java_script_enabled=script)
        page = context.new_page()
        session = context.new_cdp_session(page)
        session.send("Performance.enable", {"timeDomain": "threadTicks"})
        session.send("Emulation.setCPUThrottlingRate", {"rate": 4})
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-ready]" if script else "h1")
        figures = session.send("Performance.getMetrics")["metrics"]
        spent.append(next(m["value"] for m in figures if m["name"] == "TaskDuration"))
        context.close()
    assert 0.0 < spent[0] < 1.0, spent
    assert 0.0 < spent[1] < 2.0, spent


def test_folder_index_leads_to_its_pages_and_follows_the_unit(visit):
    """A name in the index of a folder opens that page; pressures in its rows follow the switch."""
    page = visit("folder")
    assert page.locator("h1").inner_text().endswith("recordings need work, 1 cannot be judged")
    page.select_option("#unit", "mbar")
    assert "mbar/s" in page.locator("table.stations").inner_text()
    assert "kPa" not in page.locator("table.stations").inner_text()
    page.locator("a.go").first.click()
    page.wait_for_selector("html[data-ready]")
    assert page.locator("h1").inner_text() == "Very likely parts torn off in motion"
    assert page.said == []
