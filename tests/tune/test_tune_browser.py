"""The tuning page in a browser: offline, by keyboard, on a phone. Needs a headless Chromium."""

import json
from dataclasses import replace

import pytest

from tests.tune import tuned_stations as stations
from tracekit import cli
from tracekit.model.station import Station
from tracekit.pipeline import diagnose
from tracekit.report.tune_page import tune_page
from tracekit.simulate.scenario import Saving
from tracekit.simulate.station_text import station_text
from tracekit.tune.tuning import tune_station

pytestmark = pytest.mark.browser


NEVER_CUT = stations.scenario(stations.spec(saving=Saving(supply_off_kpa=86.0, supply_on_kpa=80.0)))


@pytest.fixture(scope="module")
def unseen(tmp_path_factory):
    """Page of a station whose supply never cut."""
    out = tmp_path_factory.mktemp("unseen")
    (out / "station.toml").write_text(station_text(stations.logged(NEVER_CUT).truth) + stations.LOAD, encoding="utf-8")
    log = stations.written(NEVER_CUT)
    assert cli.run(["tune", log, "--station", str(out / "station.toml"), "--out", str(out), "--quiet"]) == 0
    return out


@pytest.fixture(scope="module")
def crowded(tmp_path_factory):
    """Page of a station whose four thresholds lie close together, in a broken order."""
    out = tmp_path_factory.mktemp("crowded")
    log = stations.written(stations.ORDER)
    assert cli.run(["tune", log, "--out", str(out), "--quiet"]) == 0
    return out


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Page and sheet of the short-cycling station."""
    text = station_text(stations.logged(stations.NARROW).truth) + stations.LOAD + stations.PRICE
    text += '\n[display]\nunit = "mbar"\nstep = 1\nnegative = true\nentry = { supply_on = "below supply_off" }\n'
    out = tmp_path_factory.mktemp("page")
    (out / "station.toml").write_text(text, encoding="utf-8")
    log = stations.written(stations.NARROW)
    assert cli.run(["tune", log, "--station", str(out / "station.toml"), "--set", "supply_on=66", "--out", str(out), "--quiet"]) == 0
    return out


@pytest.fixture(scope="module")
def refused(tmp_path_factory):
    """Page and sheet of settings that no device holds, without a load."""
    out = tmp_path_factory.mktemp("refused")
    words = ["--set", "reset_point=60", "--set", "set_point=50", "--out", str(out), "--quiet"]
    assert cli.run(["tune", stations.written(stations.NARROW), *words]) == 0
    return out


@pytest.fixture
def visit(chromium, folder):
    """Open a page with the network off; what the console says is collected in `page.said`."""
    opened = []

    def go(name="report.html", *, width=1280, script=True):
        context = chromium.new_context(viewport={"width": width, "height": 800}, offline=True, java_script_enabled=script)
        opened.append(context)
        page = context.new_page()
        page.said = []
        page.on("console", lambda message: page.said.append(message.text))
        page.on("pageerror", lambda error: page.said.append(str(error)))
        page.goto((folder / name).as_uri())
        return page

    yield go
    for context in opened:
        context.close()


def row(page, words):
    """The cells of one row of the what-if table."""
    found = page.locator("#try-rows tr", has_text=words).locator("td").all_inner_texts()
    return [float(v.replace("\u00a0", " ").split()[0]) for v in found]


@pytest.mark.parametrize("width", [320, 360, 1280])
@pytest.mark.parametrize("name", ["report.html", "setup.html"])
def test_nothing_scrolls_sideways(visit, name, width):
    """Page and sheet fit any width from 320 px on, without a word on the console."""
    page = visit(name, width=width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.said == []


@pytest.mark.parametrize("width", [360, 1280])
def test_names_in_the_pictures_do_not_collide(visit, crowded, width):
    """Thresholds within seven kPa of one another: no name in the picture of settings covers another."""
    page = visit(crowded / "report.html", width=width)
    boxes = page.evaluate(
        "[...document.querySelectorAll('#picture-axis svg text')].map(e => e.getBoundingClientRect().toJSON())"
    )
    assert len(boxes) > 8
    for k, a in enumerate(boxes):
        for b in boxes[k + 1 :]:
            apart = a["right"] <= b["left"] + 1 or b["right"] <= a["left"] + 1
            assert apart or a["bottom"] <= b["top"] + 3 or b["bottom"] <= a["top"] + 3, (a, b)


def test_keys_move_a_setting_and_its_effects(visit):
    """Arrow keys on a slider move the threshold, the predicted switches, the entry and the line in the picture."""
    page = visit()
    slide = page.locator("#slide-supply_on")
    before, line = row(page, "Supply changes per hold"), page.locator("#line-supply_on").get_attribute("d")
    slide.focus()
    for _ in range(30):
        page.keyboard.press("ArrowRight")
    after = row(page, "Supply changes per hold")
    assert after[1] > before[1]
    assert after[0] == before[0]
    assert page.locator("#line-supply_on").get_attribute("d") != line
    assert "below supply off" in page.locator("[data-note=supply_on]").inner_text()


@pytest.mark.parametrize("width", [320, 390, 1280])
def test_sliders_stand_in_line(visit, width):
    """Every slider begins and ends where the others do, beside its buttons and box; each says its value now."""
    page = visit(width=width)
    boxes = [one.bounding_box() for one in page.locator("#try input[type=range]").all()]
    assert len(boxes) == 4
    assert len({(round(b["x"]), round(b["width"])) for b in boxes}) == 1
    fields = [one.bounding_box() for one in page.locator("#try input[type=number]").all()]
    assert len({round(b["x"]) for b in fields}) == 1
    if width >= 390:
        assert all(f["x"] > b["x"] + b["width"] for f, b in zip(fields, boxes, strict=True))
    said = page.locator("[data-note=supply_on]").inner_text()
    assert said.startswith("now \u2212")
    assert "enter" in said


def test_chatter_as_recorded_stands_beside_what_is_tried(visit, tmp_path):
    """Thresholds that the log cannot tell apart: the effects now are those recorded, not "not given"."""
    record = diagnose(stations.written(stations.PLAIN))
    one = record.stations[0]
    # Beyond every set point of the grid and a hair over a reset point of it: no neighbour tells what happens there.
    top = round(float(tune_station(one, Station()).fitted.tables.reset[-1]) - 0.1, 5) + 2e-6
    both = {n: replace(one.data.settings[n], value_kpa=top) for n in ("set_point", "reset_point")}
    one = replace(one, data=replace(one.data, settings={**one.data.settings, **both}))
    tuning = tune_station(one, Station(), asked={"reset_point": 79.0})
    seen = tuning.suggestion.predicted_now["chatter_edges_per_hold"].value
    path = tmp_path / "close.html"
    path.write_text(tune_page(replace(record, stations=(one,)), 0, tuning, Station()), encoding="utf-8")
    page = visit(path)
    page.locator("#try-now").click()
    now, these = row(page, "Needless output changes per hold")
    assert now == these == pytest.approx(seen, abs=0.05)
    assert row(page, "Holds that lose the output")[0] == pytest.approx(100.0 * tuning.suggestion.predicted_now["false_drop_share"].value, abs=0.5)
    assert page.said == []


def test_no_way_to_what_is_not_suggested(visit, tmp_path):
    """Where nothing is suggested there is no button for it."""
    assert visit().locator("#try-suggested").is_visible()
    assert cli.run(["tune", stations.written(stations.HEALTHY), "--out", str(tmp_path), "--quiet"]) == 0
    page = visit(tmp_path / "report.html")
    assert page.locator("#try-now").is_visible()
    assert page.locator("#try-suggested").is_hidden()


def sliders(page):
    """The values of all sliders by name [kPa]."""
    found = page.locator("#try input[type=range]").all()
    return {one.get_attribute("data-slide"): float(one.input_value()) for one in found}


def test_sliders_start_at_what_was_asked(visit):
    """They say where they start, and lead back to what was recorded, suggested, and asked."""
    page = visit()
    assert "The sliders start at what was asked." in page.locator("#what-if").inner_text()
    start = sliders(page)
    assert start["supply_on"] == pytest.approx(66.0, abs=0.11)
    for name, expected in (("now", 69.2), ("suggested", None), ("asked", 66.0)):
        page.locator(f"#try-{name}").click()
        if expected is not None:
            assert sliders(page)["supply_on"] == pytest.approx(expected, abs=0.11)
        else:
            assert sliders(page) != start
    assert sliders(page) == start


def test_sliders_tell_what_the_table_above_tells(visit, folder):
    """Where they start, supply changes per hold are those of the prediction for what was asked, not a mean of neighbours."""
    found = json.loads((folder / "tuning.json").read_text(encoding="utf-8"))["what_if"]["predicted"]["supply_switches_per_hold"]
    assert row(visit(), "Supply changes per hold")[1] == pytest.approx(found["value"], abs=0.25)


def test_sliders_start_at_the_suggestion_where_nothing_was_asked(visit, crowded):
    """Without --set there is no way back to what was asked, and the start is told as well."""
    page = visit(crowded / "report.html")
    assert page.locator("#try-asked").count() == 0
    assert "The sliders start at the" in page.locator("#what-if").inner_text()
    assert "asked" not in page.locator("#what-if").inner_text()


def test_the_impossible_has_no_effects(visit, refused):
    """A reset point over the set point is named alone; every effect is not given until the order is mended."""
    page = visit(refused / "report.html")
    told = page.locator("#try-broken").inner_text()
    assert told.startswith("Breaks: reset point + step \u2264 set point (short by 10.1\u00a0kPa). No device can hold")
    cells = page.locator("#try-rows tr td:last-child").all_inner_texts()
    assert set(cells) == {"not given"}
    assert page.locator("#try-copy").is_disabled()
    page.locator("#try-now").click()
    assert row(page, "Part present after")[1] > 0.0
    assert page.said == []


def test_a_set_point_over_the_cut_leaves_no_hold(visit):
    """A set point that the supply cuts before is told as missed picks; no effect on holds is made up."""
    page = visit()
    for name, value in (("supply_off", "-400"), ("supply_on", "-390")):
        box = page.locator(f"[data-box={name}]")
        box.fill(value)
        box.press("Enter")
        box.blur()
    assert "Hardly any pick would reach the set point" in page.locator("#try-broken").inner_text()
    assert row(page, "Closed picks missed")[1] == 100.0
    cells = page.locator("#try-rows tr", has_text="Part present after").locator("td").all_inner_texts()
    assert cells[1] == "not given"


def test_sliders_beyond_the_record_say_so(visit):
    """A supply_off over all that was recorded extrapolates; back inside nothing is said."""
    page = visit()
    page.locator("#try-now").click()
    assert page.locator("#try-beyond").is_hidden()
    box = page.locator("[data-box=supply_off]")
    box.fill("-790")
    box.press("Enter")
    box.blur()
    assert page.locator("#try-beyond").is_visible()
    page.locator("#try-now").click()
    assert page.locator("#try-beyond").is_hidden()


def test_a_broken_rule_is_named_and_blocks_the_copy(visit):
    """A supply_on under the reset point is named as it breaks, and the settings cannot be copied."""
    page = visit()
    assert page.locator("#try-copy").is_enabled()
    box = page.locator("[data-box=supply_on]")
    box.fill("-400")
    box.press("Enter")
    box.blur()
    assert "reset point + guard" in page.locator("#try-broken").inner_text()
    assert page.locator("#try-copy").is_disabled()
    page.locator("#try-suggested").click()
    assert page.locator("#try-broken").is_hidden()
    assert page.locator("#try-copy").is_enabled()


def test_what_was_not_seen_is_not_given(visit, unseen):
    """Of a supply that never cut, nothing is said of its changes with other settings, and nothing is lost as it is now."""
    page = visit(unseen / "report.html")
    cells = page.locator("#try-rows tr", has_text="Supply changes per hold").locator("td").all_inner_texts()
    assert cells == ["not given", "not given"]
    assert row(page, "Holds that lose the output")[0] == 0.0
    assert page.said == []


def test_buttons_move_one_step_of_the_device(visit):
    """Plus and minus move by one step of the device, 1 mbar."""
    page = visit()
    box = page.locator("[data-box=set_point]")
    before = float(box.input_value())
    page.locator("[data-more=set_point]").click()
    assert float(box.input_value()) == before - 1
    page.locator("[data-less=set_point]").click()
    assert float(box.input_value()) == before


def test_without_script_the_controls_are_absent(visit):
    """Without JavaScript the sliders are not there; the settings and their effects are."""
    page = visit(script=False)
    assert page.locator("#try").is_hidden()
    assert page.locator("text=What will change").is_visible()


FULL = {"supply_on": 68.04, "supply_off": 75.5, "set_point": 60.0, "reset_point": 55.0}


@pytest.fixture(scope="module")
def fullest(tmp_path_factory):
    """Sheet of four settings asked for at a station whose supply never cut, at a device with relative entries."""
    out = tmp_path_factory.mktemp("fullest")
    text = station_text(stations.logged(NEVER_CUT).truth) + stations.LOAD
    text += '\n[display]\nunit = "mbar"\nstep = 1\nnegative = true\nentry = { supply_on = "below supply_off", reset_point = "below set_point" }\n'
    (out / "station.toml").write_text(text, encoding="utf-8")
    words = [word for name, value in FULL.items() for word in ("--set", f"{name}={value}")]
    log = stations.written(NEVER_CUT)
    assert cli.run(["tune", log, "--station", str(out / "station.toml"), *words, "--out", str(out), "--quiet"]) == 0
    return out


def test_sheets_print_on_one_page(visit, refused, unseen, fullest):
    """Every set-up sheet is one A4 page: what was asked, what is refused, what is suggested, all four settings with a warning."""
    for folder in (None, refused, unseen, fullest):
        page = visit("setup.html" if folder is None else folder / "setup.html")
        check_pages(page.pdf(format="A4"))


def check_pages(sheet):
    """One page, no more."""
    assert sheet.count(b"/Type /Page\n") + sheet.count(b"/Type /Page/") + sheet.count(b"/Type /Page ") == 1
