"""The sheet, the plan's and the volume's page, and their JSON."""

import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import jsonschema
import pytest

from tests.compare.compared_stations import Scene, recording
from tests.compare.plate_decays import LOGS, Plate, station
from tracekit.compare.engine import Asked, compare
from tracekit.compare.plan import plan_for
from tracekit.compare.plan_share import PlanQuestion
from tracekit.compare.volume import Orifice, volume_of
from tracekit.errors import UsageError
from tracekit.model.comparison import Comparison, Look, Plan, VolumeResult
from tracekit.model.cycle import SettingInForce
from tracekit.model.estimate import Withheld
from tracekit.options.compare import CompareOptions, PlanOptions, SerialOptions, VolumeOptions
from tracekit.report.compare_page import comparison_page, verify_command
from tracekit.report.comparison_json import comparison_json, plan_from_json, plan_json, volume_json
from tracekit.report.comparison_text import comparison_lines, on_screen, plan_lines, volume_lines
from tracekit.report.comparison_words import headline, lead, limits, measure_name, moment, settings_line, text_of
from tracekit.report.pictures.changes import changes, in_margins, ordered
from tracekit.report.pictures.plan_reading import half_width, plan_reading, readings
from tracekit.report.plan_page import plan_page
from tracekit.report.schemas import schema
from tracekit.report.volume_page import volume_page

BEFORE = recording(1, 120, name="before")
FIXED = recording(3, 120, Scene(medians={"decay_rate_kpa_s": 3.0}), start_h=24.0, name="fixed")
SAME = recording(2, 120, start_h=24.0, name="same")
WORSE = recording(4, 120, Scene(medians={"decay_rate_kpa_s": 7.0}), start_h=24.0, name="worse")
SHORT = recording(5, 9, start_h=24.0, name="short")


class _Text(HTMLParser):
    """Collects the visible words and the ids of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.ids: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.ids += [value for name, value in attrs if name == "id" and value]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def _read(page: str) -> tuple[str, list[str]]:
    reader = _Text()
    reader.feed(page)
    return " ".join(" ".join(reader.words).split()), reader.ids


def _plan(looks: int = 3, frozen: str = "2025-01-01T00:00:00Z") -> Plan:
    question = PlanQuestion(measure="decay_rate_kpa_s", change=1.0, looks=looks)
    return plan_for(question, (), CompareOptions(), PlanOptions(), SerialOptions(), frozen)


def _volume() -> VolumeResult:
    orifice = Orifice(conductance_dm3_s_bar=0.004, critical_ratio=0.4)
    return volume_of(station(Plate()), station(Plate(conductance=0.004), seed=2), LOGS, orifice, VolumeOptions())


CASES = {
    "demonstrated": compare((BEFORE,), (FIXED,)),
    "no_change": compare((BEFORE,), (SAME,)),
    "worse": compare((BEFORE,), (WORSE,)),
    "not_demonstrated": compare((BEFORE,), (SHORT,)),
    "withheld": compare((replace(BEFORE, leak=Withheld("no coast")),), (FIXED,)),
    "planned": compare((BEFORE,), (FIXED,), Asked(plan=_plan(), accept=("decay_rate_kpa_s<=4", "drop_share<=0.001"))),
    "alone": compare((FIXED,), (), Asked(accept=("decay_rate_kpa_s<=2",), accept_side="before")),
    "twice": compare((BEFORE,), (BEFORE,)),
}


@pytest.mark.parametrize("name", CASES)
def test_json_fits_its_schema(name: str) -> None:
    """Every comparison of two sides is a valid document without null and NaN."""
    document = comparison_json(CASES[name])
    text = json.dumps(document, allow_nan=False)
    assert "null" not in text
    if name != "alone":
        jsonschema.validate(json.loads(text), schema("comparison"))


@pytest.mark.parametrize("name", CASES)
def test_the_sheet_is_whole(name: str) -> None:
    """The sheet holds conclusion, hashes, rule, signatures and the command that checks it, each anchor once."""
    case = CASES[name]
    words, ids = _read(comparison_page(case))
    assert headline(case) in words
    for recorded in (*case.before, *case.after):
        assert recorded.facts.log_id in words
    assert case.rule.split(".")[0].replace(case.primary, measure_name(case.primary)) in words
    assert (headline(case) == "Nothing is shown: one log on both sides") == (name == "twice")
    assert ("Nobody agreed on it in advance" in words) == (case.plan_check is None)
    assert verify_command(case) in words
    assert "Name Date Signature Supplier Customer" in words.replace("\xa0", "").replace("  ", " ").replace("  ", " ")
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("name", CASES)
def test_words_keep_their_length(name: str) -> None:
    """The headline has at most 50 characters and the lead at most 160."""
    assert len(headline(CASES[name])) <= 50
    assert len(text_of(lead(CASES[name]))) <= 160
    assert all(len(sentence) < 160 for sentence in limits(CASES[name]))


def test_better_is_not_good_enough() -> None:
    """An improvement that misses the agreed limit does not read as a success."""
    assert headline(CASES["demonstrated"]) == "The improvement is demonstrated"
    missed = compare((BEFORE,), (FIXED,), Asked(accept=("decay_rate_kpa_s<=1",)))
    assert missed.verdict == "demonstrated"
    assert headline(missed) == "Better, but the limit is not kept"
    kept = compare((BEFORE,), (FIXED,), Asked(accept=("decay_rate_kpa_s<=6",)))
    assert headline(kept) == "The improvement is demonstrated"


def test_the_lead_says_what_the_json_says() -> None:
    """Before, after and change on the page are the figures of the document, rounded."""
    case = CASES["demonstrated"]
    said = text_of(lead(case))
    numbers = [float(n.replace("\u2212", "-")) for n in re.findall(r"[\u2212-]?\d+\.\d+", said)]
    document = json.loads(json.dumps(comparison_json(case)))["measures"]["decay_rate_kpa_s"]
    wanted = [document["before"]["value"], document["after"]["value"], document["difference"]["value"]]
    assert numbers[:3] == pytest.approx(wanted, abs=0.06)


def test_hostile_names_are_escaped() -> None:
    """A file named like a script stays text."""
    hostile = replace(FIXED, facts=replace(FIXED.facts, source="<script>alert(1)</script>.csv"), station="<b>x</b>")
    page = comparison_page(compare((replace(BEFORE, station="<b>x</b>"),), (hostile,)))
    assert "<script>alert(1)" not in page
    assert "<b>x</b>" not in page


def test_another_unit() -> None:
    """Pressures follow the unit asked for."""
    words, _ = _read(comparison_page(CASES["demonstrated"], "mbar"))
    assert "mbar/s" in words


def test_the_picture_of_changes() -> None:
    """Rows are the primary first, then what is worse; a change is told in margins, positive for the worse."""
    case = CASES["worse"]
    assert next(name for name, _ in ordered(case)) == "decay_rate_kpa_s"
    span = in_margins(case.measures["decay_rate_kpa_s"])
    assert span is not None
    assert 1.0 < span[1] < span[0] < span[2]
    vacuum = case.measures["ultimate_vacuum_kpa"]
    turned = in_margins(vacuum)
    assert turned is not None
    assert turned[1] <= turned[0] <= turned[2]
    picture = changes(case)
    assert picture is not None
    assert len(picture.rows) == picture.shown
    assert "1 worse" in text_of(picture.heading)


def test_no_picture_without_figures() -> None:
    """A single recording has no change to draw."""
    assert changes(CASES["alone"]) is None


def test_the_terminal_tells_the_same() -> None:
    """The lines on the terminal hold headline, every measure's verdict, obstacles and what would decide."""
    lines = comparison_lines(CASES["not_demonstrated"])
    text = "\n".join(lines)
    assert lines[0] == headline(CASES["not_demonstrated"])
    assert "cycles a side would decide" in text
    assert "Obstacles:" in text
    assert "accepted" in "\n".join(comparison_lines(CASES["planned"]))


def test_a_withheld_primary_is_told_once() -> None:
    """Why the primary is withheld stands once on the screen, whole, with one full stop."""
    why = f"The leak lies between 1 and 9 kPa/s: {'too wide for a value, ' * 6}more coasts would narrow it."
    lines = comparison_lines(compare((replace(BEFORE, leak=Withheld(why)),), (FIXED,)))
    text = "\n".join(lines)
    assert text.count(why) == 1
    assert ".." not in text
    assert "…" not in text


def test_rough_settings_are_rough_on_the_sheet() -> None:
    """A setting whose crossings scatter by more than its last digit is told with "about", and with fewer digits."""
    sharp = SettingInForce(value_kpa=47.93, source="edges", spread_kpa=0.04)
    loose = SettingInForce(value_kpa=31.91, source="edges", spread_kpa=1.4)
    told = replace(BEFORE, settings={"set_point": sharp, "reset_point": loose})
    assert settings_line(told, "set_point", "reset_point").replace("\xa0", " ") == "47.9 kPa, about 32 kPa"
    assert settings_line(told, "supply_off", "supply_on") == "not known"


def test_what_was_asked_stands_on_the_sheet() -> None:
    """Plan and agreed limits are listed beside the options."""
    words, _ = _read(comparison_page(CASES["planned"]))
    assert "accept decay_rate_kpa_s<=4 by the guarded rule" in words
    assert "primary decay_rate_kpa_s (frozen plan); plan with SHA-256" in words
    assert "thresholds all at their defaults" in words


def test_the_command_quotes_names() -> None:
    """File names with blanks are quoted, station files are named."""
    spaced = replace(FIXED, facts=replace(FIXED.facts, source="after repair.csv"))
    case: Comparison = replace(compare((BEFORE,), (spaced,)), station_files={"loader 2.toml": "0" * 64})
    assert verify_command(case).endswith('before.csv "after repair.csv" --station "loader 2.toml"')


@pytest.mark.parametrize("plan", [_plan(), _plan(1), _plan(frozen="")])
def test_a_plan_is_read_back(plan: Plan) -> None:
    """A plan that was written and read is the same plan with the same hash, and valid."""
    document = json.loads(json.dumps(plan_json(plan), allow_nan=False))
    jsonschema.validate(document, schema("plan"))
    found = plan_from_json(document, "plan.json")
    assert replace(found, warnings=plan.warnings) == plan


@pytest.mark.parametrize(
    ("change", "words"),
    [({"schema": "tracekit.volume/1"}, "tracekit.plan/1"), ({"cycles": "many"}, "unreadable"), ({"looks": 3}, "unreadable"),
     ({"looks": [{"cycles": 3}]}, "no 'bound'")],
)  # fmt: skip
def test_plans_that_are_refused(change: dict[str, object], words: str) -> None:
    """Another document, a word for a number and a missing key are refused, naming the file."""
    with pytest.raises(UsageError, match="plan.json.*" + re.escape(words)):
        plan_from_json({**plan_json(_plan()), **change}, "plan.json")
    bare = {k: v for k, v in plan_json(_plan()).items() if k != "margin"}
    with pytest.raises(UsageError, match="no 'margin'"):
        plan_from_json(bare, "plan.json")


def test_the_plan_on_page_and_terminal() -> None:
    """Cycles, looks, rule and hash stand on the page and on the terminal."""
    plan = replace(_plan(), parts=(("plain", 70), ("glazed", 30)))
    words, _ = _read(plan_page(plan))
    told = "\n".join(plan_lines(plan))
    for text in (words, told):
        assert plan.sha256 in text
        assert f"{plan.looks[0].bound:.3f}" in text
        assert "glazed" in text
    rule = plan.rule.replace(plan.measure, measure_name(plan.measure))
    assert " ".join(rule.split()) in " ".join(words.replace("\u2212", "-").split())


def test_the_picture_of_a_plan_follows_its_rule() -> None:
    """Interval and verdict are those of the rule; a wide margin shows no change, a narrow one does not."""
    plan = replace(_plan(), change=1.0, margin=0.2, power=0.8, unit="kPa/s", better="lower", looks=(Look(cycles=50, bound=1.96),))
    assert half_width(plan) == pytest.approx(1.96 / (1.96 + 0.8416), rel=1e-3)
    assert [row[3] for row in readings(plan)] == ["better", "not shown", "not shown"]
    assert [row[3] for row in readings(replace(plan, margin=0.9))] == ["better", "not shown", "no change"]
    assert readings(replace(plan, better="higher"))[0][3] == "better"
    assert readings(replace(plan, better="higher"))[0][0] == 1.0
    words, _ = _read(plan_page(plan))
    assert "The planned change of 1.00 kPa/s shows; half of it may not; that nothing changed cannot be shown." in words.replace("\u00a0", " ")
    assert plan_reading(replace(plan, change=0.0)) is None


def test_the_volume_on_page_terminal_and_in_json() -> None:
    """The volume, its budget and its warnings stand everywhere; the JSON is valid."""
    volume = replace(_volume(), warnings=("Mind the gap.",))
    document = json.loads(json.dumps(volume_json(volume), allow_nan=False))
    jsonschema.validate(document, schema("volume"))
    assert sum(line["share"] for line in document["budget"]) == pytest.approx(1.0)
    words, _ = _read(volume_page(volume))
    told = "\n".join(volume_lines(volume))
    for text in (words, told):
        assert "Mind the gap." in text
        assert "sonic conductance" in text
        assert "mL" in text


def test_shares_are_told_in_per_cent() -> None:
    """A share of cycles is per cent with its interval, on the sheet and on the terminal; the JSON stays as it is."""
    case = CASES["demonstrated"]
    found = dict(ordered(case))["drop_share"]
    assert found.difference.unit == "%"
    assert found.difference.upper == pytest.approx(100.0 * case.rates["drop_share"].difference.upper)
    assert in_margins(found) == pytest.approx(in_margins(case.rates["drop_share"]))
    row = re.search(r"share of dropped cycles</th>.*?</tr>", comparison_page(case), re.DOTALL)
    assert row is not None
    assert row[0].count("%") >= 3
    assert comparison_json(case)["rates"]["drop_share"]["difference"]["upper"] < 1.0


@pytest.mark.parametrize("name", sorted(CASES))
def test_the_terminal_screen_is_no_wider_than_80(name: str) -> None:
    """Every line of a comparison fits 80 columns, and what decides stands on the first 24 lines."""
    lines = on_screen(comparison_lines(CASES[name])).splitlines()
    assert max(map(len, lines)) <= 80
    assert headline(CASES[name]) in lines[0]
    assert len(lines) <= 24 or CASES[name].acceptance


def test_a_hash_is_not_broken_on_the_screen() -> None:
    """What has no blank stays whole, so that it can be copied."""
    told = on_screen(plan_lines(_plan())).splitlines()
    assert f"SHA-256 {_plan().sha256}" in told
    assert max(len(line) for line in told) <= 80


def test_when_a_sheet_was_made_is_a_date_for_people() -> None:
    """Date and minute in words, not a stamp."""
    assert moment("2026-11-30T06:34:05Z") == "30 Nov 2026 06:34 UTC"
    assert moment("some day") == "some day"
    page = comparison_page(replace(CASES["worse"], created="2026-11-30T06:34:05Z"))
    assert "made 30 Nov 2026 06:34 UTC" in page


def test_no_name_lies_on_the_margin() -> None:
    """The margin is drawn beside each bar alone, and a change off the scale is an arrow, not a mark at its end."""
    picture = changes(CASES["demonstrated"])
    assert picture is not None
    margins = sorted(float(y) for y in re.findall(r'class="f-base" d="M[0-9.]+ ([0-9.]+)L', picture.html))
    names = [10.0 * float(y) for y in re.findall(r'x="0.00%" y="([0-9.]+)%"[^>]*>[a-z]', picture.html)]
    assert len(margins) == len(names) > 1
    assert all(12.0 < margin - name < 50.0 for name, margin in zip(names, margins, strict=True))
    assert picture.html.count("←") == sum((row[1] or 0.0) < -4.0 for row in picture.rows) == 1
    assert len(re.findall('class="dots usual"', picture.html)) == len(names) - 1


def test_a_file_name_is_no_station() -> None:
    """A log without a station is named after its file, which says nothing of the two sides."""
    case = CASES["demonstrated"]
    before = case.before[0]
    nameless = replace(before, station="before", facts=replace(before.facts, source="before.parquet"))
    words, _ = _read(comparison_page(replace(case, before=(nameless,))))
    assert "Comparison" in words
    named, _ = _read(comparison_page(case))
    assert case.before[0].station in named
