"""`tracekit tune`: what it writes, prints and refuses."""

import json
import re
from dataclasses import replace

import jsonschema
import pytest

from tests.tune import tuned_stations as stations
from tracekit import cli
from tracekit.report.schemas import schema
from tracekit.simulate.station_text import station_text

NAMES = {"tuning.json", "report.html", "setup.html"}


@pytest.fixture(scope="module")
def station_file(tmp_path_factory):
    """The station file of the short-cycling station, with load, price and a device in mbar with relative entries."""
    text = station_text(stations.logged(stations.NARROW).truth) + stations.LOAD + stations.PRICE
    text += '\n[display]\nunit = "mbar"\nstep = 1\nnegative = true\nentry = { supply_on = "below supply_off" }\n'
    path = tmp_path_factory.mktemp("tune") / "station.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def tuned(station_file, tmp_path_factory):
    """Folder of one run with a what-if."""
    out = tmp_path_factory.mktemp("out")
    said = ["tune", stations.written(stations.NARROW), "--station", str(station_file), "--set", "supply_on=66", "--out", str(out), "--quiet"]
    assert cli.run(said) == 0
    return out


def test_the_files(tuned):
    """A run writes tuning.json, the page and the set-up sheet, and nothing else."""
    assert {p.name for p in tuned.iterdir()} == NAMES


def test_the_document_is_as_the_contract_says(tuned):
    """tuning.json fits its schema; settings stand in kPa and in the device's form, effects with intervals."""
    document = json.loads((tuned / "tuning.json").read_text(encoding="utf-8"))
    jsonschema.validate(document, schema("tuning"))
    new = document["settings_suggested"]
    assert set(new) == set(document["settings_now"]) == {"set_point", "reset_point", "supply_off", "supply_on"}
    assert new["supply_on"]["display"]["from"] == "below supply_off"
    assert new["supply_off"]["display"]["value"] == pytest.approx(-10.0 * new["supply_off"]["kpa"])
    for side in document["predicted"].values():
        assert set(side) >= {"evacuation_time_s", "missed_share", "air_l_anr_per_cycle", "supply_switches_per_hour"}
        for effect in side.values():
            assert "reason" in effect or effect["lower"] <= effect["value"] <= effect["upper"]
    assert all(c["holds"] for c in document["constraints"])
    assert document["what_if"]["settings"]["supply_on"]["kpa"] == 66.0
    assert "null" not in (tuned / "tuning.json").read_text(encoding="utf-8").replace('"null"', "")


# Typed by hand from the contract, so that no change of the program changes them.
SETTINGS = {"set_point", "reset_point", "supply_off", "supply_on"}
ESTIMATE = {"value", "lower", "upper", "level", "unit", "n", "method"}
EFFECTS = {
    "evacuation_time_s", "missed_share", "false_drop_share", "chatter_edges_per_hold", "supply_switches_per_hold",
    "supply_switches_per_hour", "supply_on_share", "air_l_anr_per_cycle",
}  # fmt: skip
REPLAYED = {"drops_avoided", "drops_left", "edges_avoided", "edges_left"}


def test_every_key_of_the_contract(tuned):
    """Names and nesting of tuning.json are those that other programs read."""
    document = json.loads((tuned / "tuning.json").read_text(encoding="utf-8"))
    assert document["schema"] == "tracekit.tuning/1"
    for side in ("settings_now", "settings_suggested"):
        assert set(document[side]) == SETTINGS
        for setting in document[side].values():
            assert isinstance(setting["kpa"], float)
            assert set(setting["display"]) == {"value", "unit", "from"}
            assert setting["display"]["unit"] == "mbar"
    assert set(document["predicted"]) == {"now", "suggested"}
    for side in document["predicted"].values():
        assert set(side) == EFFECTS
        for effect in side.values():
            assert set(effect) == ESTIMATE
            assert effect["level"] == 0.95
    assert document["constraints"]
    for rule in document["constraints"]:
        assert set(rule) == {"name", "holds", "margin_kpa"}
        assert rule["holds"] is (rule["margin_kpa"] >= -1e-9)
    changed = [n for n in SETTINGS if document["settings_now"][n]["kpa"] != document["settings_suggested"][n]["kpa"]]
    assert len(document["reasons"]) == len(changed) > 0
    assert all(any(line.startswith(n) for line in document["reasons"]) for n in changed)
    assert set(document["replayed"]) == REPLAYED
    assert all(type(v) is int and v >= 0 for v in document["replayed"].values())


def test_the_page_needs_nothing_but_itself(tuned):
    """The page names no address, holds the settings to copy, the order, the rules, the sliders and the caution."""
    page = (tuned / "report.html").read_text(encoding="utf-8")
    assert not re.search(r"(src|href)=\"(http|//)", page)
    for text in ("data-copy=", "How to enter what was asked", "What if", "not a permission", 'data-slide="supply_on"', "Content-Security-Policy"):
        assert text in page


def test_the_sheet_says_who_what_and_how_to_check(tuned):
    """The set-up sheet has old and new values, the order, lines to sign and how to verify the grip."""
    sheet = (tuned / "setup.html").read_text(encoding="utf-8")
    for text in ("Set-up sheet", "Order of entry", "Check the grip", "Entered by", "Old", "New", "enter the old settings again"):
        assert text in sheet


def test_the_screen(station_file, tmp_path, capsys):
    """Without --quiet the screen has settings, effects and where the files are, in lines of at most 90 characters."""
    log = stations.written(stations.NARROW)
    assert cli.run(["tune", log, "--station", str(station_file), "--out", str(tmp_path), "--show-model"]) == 0
    told = capsys.readouterr()
    assert told.err == ""
    for text in ("enter", "supply changes per hold", "report.html", "Model of the station", "not a permission", "Form of the leak",
                 "Supply-off to the turn", "Supply-on to the turn", "Scatter between cycles"):
        assert text in told.out
    shown = [line for line in told.out.splitlines() if str(tmp_path) not in line]
    assert max(map(len, shown)) <= 90


def test_why_something_is_not_in_the_model_is_told_in_full(tmp_path, capsys):
    """Without coasts the screen gives the whole reason why there is no leak, over several lines."""
    assert cli.run(["tune", stations.written(stations.PLAIN), "--show-model", "--out", str(tmp_path)]) == 0
    told = capsys.readouterr().out
    reason = stations.diagnosed(stations.PLAIN, with_file=False).leak.decay_rate.reason
    assert len(reason) > 60
    assert " ".join(reason.split()) in " ".join(told.split())
    assert "\u2026" not in told


@pytest.mark.parametrize("made", [stations.NARROW, stations.HEALTHY], ids=["with a suggestion", "without"])
def test_what_is_asked_stands_beside_what_is(made, tmp_path, capsys):
    """A what-if shows each effect as it is now and as asked, on the screen, the page and in the file, suggestion or not."""
    words = ["tune", stations.written(made), "--set", "set_point=55", "--out", str(tmp_path)]
    assert cli.run(words) == 0
    told = [line for line in capsys.readouterr().out.splitlines() if str(tmp_path) not in line]
    assert max(map(len, told)) <= 80
    head = next(line.split() for line in told if line.startswith("  effect "))
    assert (head[1], head[-1]) == ("now", "asked")
    row = next(line for line in told if line.startswith("  part present after "))
    assert len(re.findall(r"[0-9.]+ s\b", row)) == len(head) - 1
    document = json.loads((tmp_path / "tuning.json").read_text(encoding="utf-8"))
    withheld = document["settings_suggested"].get("status") == "withheld"
    assert withheld is ("suggested" not in head)
    now, asked = (document["what_if"][k]["evacuation_time_s"]["value"] for k in ("now", "predicted"))
    assert now > asked
    heads = re.findall(r"<th[^>]*>(Now|Suggested|Asked)<", (tmp_path / "report.html").read_text(encoding="utf-8"))
    assert heads[:3] == (["Now", "Asked", "Now"] if withheld else ["Now", "Suggested", "Asked"])


def test_json_prints_the_file(station_file, tmp_path, capsys):
    """--json prints what is written."""
    log = stations.written(stations.NARROW)
    assert cli.run(["tune", log, "--station", str(station_file), "--out", str(tmp_path), "--json"]) == 0
    written = json.loads((tmp_path / "tuning.json").read_text(encoding="utf-8"))
    assert json.loads(capsys.readouterr().out) == written


def test_goals_shift_the_weights(station_file, tmp_path):
    """A goal of grip keeps at least as much vacuum as a goal of air."""
    log, levels = stations.written(stations.NARROW), {}
    for goal in ("air", "grip"):
        out = tmp_path / goal
        assert cli.run(["tune", log, "--station", str(station_file), "--goal", goal, "--out", str(out), "--quiet"]) == 0
        document = json.loads((out / "tuning.json").read_text(encoding="utf-8"))
        assert document["goal"] == goal
        values = document["settings_suggested"]
        values = values if "supply_on" in values else document["settings_now"]
        levels[goal] = values["supply_off"]["kpa"] + values["supply_on"]["kpa"]
    assert levels["grip"] >= levels["air"]


@pytest.mark.parametrize(("words", "found"), [
    (["--set", "set_pint=56"], 'Did you mean "set_point"'),
    (["--set", "set_point=deep"], "a number"),
    (["--set", "set_point=500"], "less than 110 kPa"),
    (["--goal", "speed"], "one of air, time, valve, grip"),
    (["--only", "Nowhere"], "a station of the log"),
])  # fmt: skip
def test_what_makes_no_sense_is_refused(words, found, tmp_path, capsys):
    """A wrong setting, number, goal or station ends with 2 and one message that helps."""
    assert cli.run(["tune", stations.written(stations.PLAIN), "--out", str(tmp_path), *words]) == 2
    told = capsys.readouterr().err
    assert found in told
    assert "Traceback" not in told


def test_a_setting_that_is_not_there_is_refused(tmp_path, capsys):
    """A what-if on the air saving of a station without any names the settings that there are."""
    log = stations.written(stations.PLAIN)
    assert cli.run(["tune", log, "--set", "supply_on=60", "--out", str(tmp_path)]) == 2
    assert "not in force here" in capsys.readouterr().err


def test_a_log_without_picks_is_no_error(tmp_path):
    """A log of a few picks gives a page that says what to record."""
    few = stations.written(replace(stations.PLAIN, cycles=3))
    assert cli.run(["tune", few, "--out", str(tmp_path), "--quiet"]) == 0
    document = json.loads((tmp_path / "tuning.json").read_text(encoding="utf-8"))
    assert document["settings_suggested"]["status"] == "withheld"
    jsonschema.validate(document, schema("tuning"))
