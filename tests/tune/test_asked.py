"""Settings that were asked for: understood, held against the rules, predicted only where that makes sense, shown everywhere."""

import json
import re
from dataclasses import replace

import pytest

from tests.tune import tuned_stations as stations
from tracekit import cli
from tracekit.errors import UsageError
from tracekit.model.station import Display
from tracekit.simulate.scenario import Saving
from tracekit.simulate.station_text import station_text
from tracekit.tune.asked import parse_settings
from tracekit.tune.entry_order import margins
from tracekit.tune.tuning import tune_station

DEVICE = '\n[display]\nunit = "mbar"\nstep = 1\nnegative = true\nentry = { supply_on = "below supply_off", reset_point = "below set_point" }\n'


def asked(made, values, display=None):
    """The answer for settings asked of a simulated station."""
    file = stations.filed(made, stations.LOAD)
    file = replace(file, display=display) if display is not None else file
    return tune_station(stations.diagnosed(made, stations.LOAD), file, asked=values)


@pytest.fixture(scope="module")
def station_file(tmp_path_factory):
    """The short-cycling station at a device in mbar with relative entries."""
    path = tmp_path_factory.mktemp("asked") / "station.toml"
    path.write_text(station_text(stations.logged(stations.NARROW).truth) + stations.LOAD + stations.PRICE + DEVICE, encoding="utf-8")
    return path


@pytest.fixture
def told(station_file, tmp_path, capsys):
    """Run the command with some words; gives the screen as one line, the page, the sheet and the document."""

    def go(*words):
        assert cli.run(["tune", stations.written(stations.NARROW), "--station", str(station_file), "--out", str(tmp_path), *words]) == 0
        screen = " ".join(capsys.readouterr().out.split())
        page, sheet = ((tmp_path / n).read_text(encoding="utf-8") for n in ("report.html", "setup.html"))
        return screen, page, sheet, json.loads((tmp_path / "tuning.json").read_text(encoding="utf-8"))

    return go


def words_of(page):
    """The text of a page without its scripts, styles and tags."""
    bare = re.sub(r"(?s)<(script|style).*?</\1>", " ", page)
    return " ".join(re.sub(r"<[^>]+>", " ", bare).replace("&nbsp;", " ").split())


@pytest.mark.parametrize(("text", "kpa"), [
    ("set_point=560mbar", 56.0), ("set_point = -560 mbar", 56.0), ("set_point=\u22120.56 bar", 56.0), ("set_point=16.5inHg", 16.5 * 3.386389),
    ("set_point=5.6e1", 56.0), ("set_point=56 kPa", 56.0),
])  # fmt: skip
def test_a_value_may_say_its_unit(text, kpa):
    """With its unit a value is converted (factors: SI brochure), whatever its sign."""
    assert parse_settings([text])["set_point"] == pytest.approx(kpa, rel=1e-5)


@pytest.mark.parametrize("text", ["set_point=560furlongs", "set_point=56kPa abs", "set_point=560 mbar 3", "set_point=1.2.3"])
def test_a_unit_of_no_vacuum_is_refused(text):
    """No unit, an absolute one or a second figure: one message with what to type."""
    with pytest.raises(UsageError, match=r"--set.*560mbar"):
        parse_settings([text])


def test_another_unit_of_the_screen_asks_for_the_unit():
    """A bare figure beside --units mbar could be either: it is not guessed."""
    with pytest.raises(UsageError, match="set_point=560mbar or set_point=560kPa"):
        parse_settings(["set_point=560"], "mbar")
    assert parse_settings(["set_point=560mbar"], "mbar") == {"set_point": pytest.approx(56.0)}


@pytest.mark.parametrize(("values", "rule", "short_by"), [
    ({"reset_point": 60.0, "set_point": 50.0}, "reset_point + step <= set_point", 10.1),
    ({"reset_point": 56.0}, "reset_point + step <= set_point", 0.1),
    ({"supply_on": 71.0}, "supply_on + step <= supply_off", 1.1),
])  # fmt: skip
def test_what_no_device_holds_is_named_and_not_predicted(values, rule, short_by):
    """The rule that breaks stands alone, short by what lacks to one step; no effect and no replay is made up."""
    found = asked(stations.NARROW, values).what_if
    assert found.impossible
    assert [(c.name, round(-c.margin_kpa, 6)) for c in found.broken] == [(rule, short_by)]
    assert found.newly == (rule,)
    assert found.predicted == {}
    assert found.replayed == {}
    assert found.order is None


def test_a_pair_that_was_not_touched_is_not_called_impossible():
    """A reset point that the log shows as high as the set point is no fault of who asks about supply_on."""
    one = stations.diagnosed(stations.NARROW, stations.LOAD)
    same = {**one.data.settings, "reset_point": replace(one.data.settings["reset_point"], value_kpa=56.0)}
    one = replace(one, data=replace(one.data, settings=same))
    found = tune_station(one, stations.filed(stations.NARROW, stations.LOAD), asked={"supply_on": 66.0}).what_if
    assert not found.impossible


def test_values_stand_on_the_steps_of_the_device():
    """What the device cannot take is put on its nearest step, and both are told; a relative entry on its distance."""
    found = asked(stations.NARROW, {"supply_on": 66.04}).what_if
    assert found.typed == {"supply_on": 66.04}
    assert found.values["supply_on"] == pytest.approx(66.0)
    display = Display(unit="mbar", step=5.0, entry={"supply_on": "below supply_off"})
    found = asked(stations.NARROW, {"supply_on": 66.04}, display).what_if
    assert found.shown["supply_on"] == pytest.approx(40.0)
    assert found.values["supply_on"] == pytest.approx(66.0)


def test_a_rule_broken_before_does_not_forbid_what_makes_it_better():
    """Of a broken order that the asked settings keep or ease, nothing is new; what they break anew is."""
    better = asked(stations.ORDER, {"supply_on": 64.0}).what_if
    assert better.broken
    assert not better.newly
    assert better.order is not None
    worse = asked(stations.ORDER, {"supply_on": 62.0}).what_if
    assert "reset_point + guard <= supply_on" in worse.newly
    assert worse.order is None
    assert worse.predicted


def test_the_order_of_entry_breaks_nothing_on_the_way():
    """A supply_off lowered under the present supply_on is entered after it, whatever order they were typed in."""
    tuning = asked(stations.HEALTHY, {"supply_off": 62.0, "supply_on": 57.0, "set_point": 52.0, "reset_point": 47.0})
    found, state = tuning.what_if, {n: k.value for n, k in tuning.known.items()}
    assert found.order.safe
    assert {s.name for s in found.order.steps} == set(state)
    for step in found.order.steps:
        state[step.name] = found.values[step.name]
        assert min(margins(state, 1.0, 0.1)) >= 0.0
    assert state == pytest.approx(dict(found.values))


def test_the_sheet_is_of_what_was_asked(told):
    """Old, asked and suggested values stand side by side in the device's form, with the order of entry of those asked."""
    screen, page, sheet, document = told("--set", "supply_on=66")
    text = words_of(sheet)
    assert "As asked on the command line, not as suggested." in text
    assert "Old New, as asked Suggested" in text
    order = document["what_if"]["order_of_entry"]
    assert [(s["setting"], s["enter"], s["from"]) for s in order] == [("supply_on", 40.0, "below supply_off")]
    assert "Supply on, below supply off: 8 → 40 mbar" in text
    assert "Entered by" in text
    assert "Order of entry of what was asked: supply on." in screen
    assert 'data-copy="40"' in page
    assert document["what_if"]["settings"]["supply_on"]["display"] == {"value": 40.0, "unit": "mbar", "from": "below supply_off"}


@pytest.mark.parametrize("words", [("--set", "reset_point=60", "--set", "set_point=50"), ("--set", "supply_on=52")])
def test_what_breaks_a_rule_is_not_to_be_entered(words, told):
    """Screen, page and sheet say so, name the rule, and give neither an order of entry nor lines to sign."""
    screen, page, sheet, document = told(*words)
    for text in (screen, words_of(page), words_of(sheet)):
        assert "Do not enter what was asked." in text
        assert "Breaks: reset point + " in text
    assert "Order of entry" not in words_of(sheet)
    assert "Entered by" not in words_of(sheet)
    assert "How to enter" not in words_of(page)
    assert "Asked settings, not those suggested" not in words_of(page)
    assert document["what_if"]["breaks"]
    assert document["what_if"]["order_of_entry"] == []


def test_nothing_is_told_of_the_impossible(told):
    """tuning.json withholds each effect with the reason; no column of effects is printed for what was asked."""
    screen, page, _, document = told("--set", "reset_point=60", "--set", "set_point=50")
    effects = document["what_if"]["predicted"]
    assert effects
    assert all(e["status"] == "withheld" and "no device" in e["reason"] for e in effects.values())
    assert document["what_if"]["replayed"] == {}
    assert screen.count("asked") == screen.count("what was asked") + 1  # the column of settings alone
    assert "No device can hold what was asked" in words_of(page)
    assert "replayed over" not in words_of(page)


def test_headings_say_what_stands_below_them(told):
    """Broken rules come first, under a heading that counts them; where all hold the heading says so."""
    text = words_of(told("--set", "supply_on=52")[1])
    bad = re.search(r"(\d+) of (\d+) rules (?:is|are) broken by what was asked Rule, after rounding Holds Margin (.*?) What if", text)
    assert bad[3].count("broken") == int(bad[1]) > 0
    assert bad[3].count("broken") + bad[3].count("holds") == int(bad[2])
    assert bad[3].rindex("broken") < bad[3].index("holds")
    text = words_of(told("--set", "supply_on=66")[1])
    assert re.search(r"All \d+ rules hold with what was asked Rule", text)


def test_the_page_tells_what_the_command_asked(told):
    """The options of the page hold --set and --goal; without either they are at their defaults."""
    _, page, sheet, _ = told("--set", "supply_on=66", "--goal", "air")
    assert "--set supply_on=66kPa --goal air; thresholds of the analysis: all at their defaults" in words_of(page)
    assert "--set supply_on=66kPa --goal air" in words_of(sheet)
    assert re.search(r"Options all at their defaults", words_of(told()[1]))


@pytest.mark.parametrize("words", [("--set", "supply_on=52kPa"), ("--set", "supply_on=66kPa"), ()])
def test_one_unit_everywhere(words, told):
    """With --units inHg no pressure is left in kPa, but for what was typed; settings stand as the device takes them."""
    screen, page, sheet, _ = told(*words, "--units", "inHg", "--show-model")
    for text in (screen, words_of(page), words_of(sheet)):
        text = text.replace(" ".join(words), "")
        assert not re.search(r"\d\s?kPa", text), re.findall(r".{40}\d\s?kPa", text)
        assert "mbar" in text
    assert "inHg" in screen
    assert "inHg" in words_of(page)


def test_the_screen_says_that_it_extrapolates(told):
    """Settings beyond the vacuum that was recorded: the screen says so, and does not where they are inside."""
    assert "those figures extrapolate" in told("--set", "supply_off=79", "--set", "supply_on=72")[0]
    assert "extrapolate" not in told("--set", "set_point=57")[0]


def test_a_loop_that_never_cut_is_entered_with_the_leak_in_mind():
    """Where no cut was recorded, what was asked carries the warning that a leak was not seen."""
    far = stations.scenario(stations.spec(saving=Saving(supply_off_kpa=86.0, supply_on_kpa=80.0)))
    found = asked(far, {"supply_off": 76.0, "supply_on": 69.0}).what_if
    assert any("how fast this station leaks was not seen" in note for note in found.notes)
    assert asked(stations.NARROW, {"supply_on": 66.0}).what_if.notes == ()


def test_what_no_device_holds_is_never_said_to_be_in_force():
    """Of a set point known to 20 kPa the asked pair is still the fault, not the settings in force."""
    one = stations.diagnosed(stations.NARROW, stations.LOAD)
    rough = replace(one.data.settings["set_point"], station_file_kpa=None, spread_kpa=20.0)
    one = replace(one, data=replace(one.data, settings={**one.data.settings, "set_point": rough}))
    found = tune_station(one, stations.filed(stations.NARROW, stations.LOAD), asked={"set_point": 50.0, "reset_point": 60.0}).what_if
    assert found.newly == ("reset_point + step <= set_point",)
    assert found.order is None


def test_a_rule_that_only_may_break_is_told_as_such(tmp_path, capsys):
    """Without a station file a reset point is known roughly: raised inside its interval it may be lower, not surely so."""
    log = stations.written(stations.PLAIN)
    assert cli.run(["tune", log, "--json", "--out", str(tmp_path)]) == 0
    reset = json.loads(capsys.readouterr().out)["settings_now"]["reset_point"]
    assert reset["upper"] > reset["kpa"] + 0.4
    assert cli.run(["tune", log, "--set", f"reset_point={reset['kpa'] + 0.2:.1f}", "--out", str(tmp_path)]) == 0
    screen = " ".join(capsys.readouterr().out.split())
    assert "Not sure to hold, since settings in force are known only roughly: no load given: reset point not lowered" in screen
    assert "under [settings]" in screen
    assert "Breaks" not in screen
    assert "Enter it only once these settings are known exactly." in screen
    assert "Do not enter" not in screen
    page = words_of((tmp_path / "report.html").read_text(encoding="utf-8"))
    assert "What was asked may break 1 rule" in page
    assert re.search(r"Not sure that all \d+ rules hold with what was asked Rule, after rounding Holds Margin no load given: [^\u2212]*not sure", page)
