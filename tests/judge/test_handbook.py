"""The handbook is complete, plain, safe and true to the figures of the trade."""

import dataclasses
import re
from collections.abc import Iterator

import pytest

from tracekit.errors import UsageError
from tracekit.judge import handbook
from tracekit.judge.handbook import Check, Entry, Repair, Target
from tracekit.model.finding import CODES
from tracekit.model.tables import CYCLES

# Minutes of the quick test, typed by hand from the trade's ranges (common practice, no source):
# symptoms 3-10, settings 2-10, recording 5-30; causes and sensors as their recorded test.
TEST_MINUTES = {
    "leak_steady": (5, 10), "leak_part_dependent": (10, 10), "check_valve_leak": (10, 20), "release_valve_leak": (5, 5),
    "supply_valve_passing": (3, 3), "flow_restricted": (8, 8), "exhaust_restricted": (8, 8),
    "supply_pressure_low": (10, 10), "supply_pressure_dips": (10, 10), "supply_pulsation": (10, 10),
    "supply_valve_slow": (30, 40), "release_weak": (3, 10), "collision_or_peel": (10, 10), "motion_dips": (10, 10),
    "part_not_presented": (5, 10), "sensor_zero_shift": (3, 3), "sensor_noisy": (3, 10), "sensor_stuck": (10, 10),
    "sensor_slow": (10, 10), "sensor_clipped": (10, 10),
}  # fmt: skip
KIND_TEST_MINUTES = {"symptom": (3, 10), "setting": (2, 10), "recording": (5, 30)}
REPAIR_MINUTES = {
    "leak_steady": (5, 15), "leak_part_dependent": (10, 60), "check_valve_leak": (15, 30),
    "release_valve_leak": (15, 30), "supply_valve_passing": (15, 30), "flow_restricted": (5, 10),
    "exhaust_restricted": (5, 40), "supply_pressure_low": (5, 60), "supply_pressure_dips": (30, 120),
    "supply_pulsation": (20, 60), "supply_valve_slow": (15, 30), "release_weak": (2, 30),
    "collision_or_peel": (15, 120), "motion_dips": (15, 60), "part_not_presented": (10, 60),
    "valves_overlap": (15, 60), "sensor_zero_shift": (3, 3), "sensor_noisy": (10, 40), "sensor_stuck": (10, 20),
    "sensor_slow": (10, 20), "sensor_clipped": (10, 30),
}  # fmt: skip
KIND_REPAIR_MINUTES = {"symptom": (0, 0), "setting": (2, 10), "recording": (5, 30)}
FIELD_TEST_MINUTES = {
    "T0": (3, 3), "T1": (5, 10), "T2": (10, 20), "T3": (8, 8), "T4": (5, 5), "T5": (10, 10), "T6": (8, 8),
    "T7": (10, 10), "T8": (10, 10), "T9": (4, 4), "T10": (10, 10),
}  # fmt: skip
FIELD_TEST_STATES = {
    "T0": ("locked out",), "T1": ("safe stop",), "T2": ("locked out", "safe stop"), "T3": ("locked out", "safe stop"),
    "T4": ("safe stop",), "T5": ("locked out", "running"), "T6": ("locked out", "safe stop"), "T7": ("running",),
    "T8": ("locked out", "running"), "T9": ("safe stop",), "T10": ("locked out", "safe stop"),
}  # fmt: skip

# What each code is taken for in the trade, where that has a code of its own. Typed by hand.
TAKEN_FOR = (
    ("leak_steady", "check_valve_leak"), ("leak_steady", "leak_part_dependent"),
    ("leak_part_dependent", "leak_steady"), ("check_valve_leak", "leak_steady"),
    ("release_valve_leak", "check_valve_leak"), ("supply_valve_passing", "sensor_zero_shift"),
    ("flow_restricted", "exhaust_restricted"), ("exhaust_restricted", "supply_pressure_low"),
    ("supply_pressure_low", "exhaust_restricted"), ("supply_pressure_dips", "leak_steady"),
    ("supply_pulsation", "sensor_noisy"), ("supply_valve_slow", "sensor_slow"), ("release_weak", "sensor_zero_shift"),
    ("collision_or_peel", "leak_steady"), ("motion_dips", "supply_pressure_dips"),
    ("part_not_presented", "leak_steady"), ("part_not_presented", "set_point_too_high"),
    ("part_dropped", "supply_on_below_reset"), ("part_dropped", "switch_chatter"),
    ("part_missed", "timeout_too_short"), ("part_missed", "part_not_presented"), ("seal_lost_partly", "leak_steady"),
    ("supply_short_cycling", "supply_band_too_narrow"), ("supply_never_cuts", "supply_is_request"),
    ("release_slow", "release_weak"), ("set_point_too_high", "leak_steady"),
    ("set_point_too_high", "supply_pressure_low"), ("set_point_too_low", "flow_restricted"),
    ("supply_on_below_reset", "part_dropped"), ("supply_band_too_narrow", "leak_steady"),
    ("timeout_too_short", "leak_steady"), ("valves_overlap", "supply_valve_slow"),
    ("sensor_zero_shift", "supply_valve_passing"), ("sensor_zero_shift", "release_weak"),
    ("sensor_noisy", "supply_pulsation"), ("sensor_noisy", "motion_dips"), ("sensor_stuck", "sensor_slow"),
    ("sensor_slow", "supply_valve_slow"), ("sensor_slow", "flow_restricted"),
    ("log_undersampled", "supply_valve_slow"), ("clock_step", "log_gaps"), ("clock_step", "supply_pressure_dips"),
    ("supply_is_request", "supply_never_cuts"),
)  # fmt: skip

OTHER_MEASURES = {
    "drop_share", "miss_share", "supply_switches_per_hour", "set_point_kpa", "reset_point_kpa", "supply_off_kpa",
    "supply_on_kpa", "guard_kpa", "gaps", "sample_interval_s", "tight_decay_rate_kpa_s", "constant",
}  # fmt: skip
CAPITALS = {"ISO", "UTC", "Hz", "kHz", "kPa", "kPa/s", "mA", "mL", "L", "L/min", "dB(A", "2003/10/EC"}
ENTRIES = tuple(handbook.entry(code) for code in CODES)


def _texts(thing: object) -> Iterator[str]:
    if isinstance(thing, str):
        yield thing
    elif isinstance(thing, tuple):
        for part in thing:
            yield from _texts(part)
    elif dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        for field in dataclasses.fields(thing):
            yield from _texts(getattr(thing, field.name))


ALL_TEXTS = tuple(
    filter(
        None, dict.fromkeys(_texts((ENTRIES, handbook.pairs(), handbook.field_tests(), handbook.general_cautions())))
    )
)


def _sentences(text: str) -> list[str]:
    return [part for part in re.split(r"(?<=[.!?])\s+", text) if part]


def _works(entry: Entry) -> list[Check | Repair]:
    works = (entry.test, entry.repair, entry.pump_test, entry.pump_repair)
    return [work for work in works if work is not None]


def _all_works() -> list[Check | Repair]:
    return [w for e in ENTRIES for w in _works(e)] + [test for pair in handbook.pairs() for test in pair.tests]


def test_every_code_has_an_entry() -> None:
    """The handbook covers the contract's codes, all of them and no other."""
    assert handbook.codes() == tuple(CODES)
    assert [(entry.code, entry.kind) for entry in ENTRIES] == list(CODES.items())


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda e: e.code)
def test_entry_is_complete(entry: Entry) -> None:
    """Every part of an entry says something."""
    assert all(len(text) > 10 for text in (entry.what, entry.title, entry.verify.expect, entry.source))
    assert all((entry.shows, entry.taken_for, entry.cautions, entry.verify.measures))
    for work in _works(entry):
        assert min(len(work.do), len(work.caution)) > 10
        assert work.state
    for check in (entry.test, entry.pump_test):
        assert check is None or (len(check.expect_if) > 10 and len(check.expect_else) > 10)
        assert check is None or check.expect_if != check.expect_else


def test_titles_are_short_and_unique() -> None:
    """A title fits a page's verdict with "Very likely: " before it, and names one code only."""
    titles = [handbook.title(code, source) for code in CODES for source in ("ejector", "pump")]
    assert max(map(len, titles)) <= 50 - len("Very likely: ")
    assert len({entry.title for entry in ENTRIES}) == len(ENTRIES)
    assert len({entry.short for entry in ENTRIES}) == len(ENTRIES)
    assert handbook.title("exhaust_restricted", "pump") == "Worn pump or blocked outlet"
    assert handbook.title("exhaust_restricted", "ejector") == "Clogged silencer or dirty generator"


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda e: e.code)
def test_minutes_are_those_of_the_trade(entry: Entry) -> None:
    """Minutes of test and repair lie within the ranges of the hand-typed tables."""
    low, high = TEST_MINUTES.get(entry.code) or KIND_TEST_MINUTES[entry.kind]
    assert low <= entry.test.minutes[0] <= entry.test.minutes[1] <= high
    assert entry.repair.minutes == (REPAIR_MINUTES.get(entry.code) or KIND_REPAIR_MINUTES[entry.kind])


def test_recorded_tests_are_those_of_the_trade() -> None:
    """T0 to T10 have the minutes and machine states of the hand-typed tables, and say how to record them."""
    tests = {test.id: test for test in handbook.field_tests()}
    assert {name: test.minutes for name, test in tests.items()} == FIELD_TEST_MINUTES
    assert {name: test.state for name, test in tests.items()} == FIELD_TEST_STATES
    assert tuple(tests) == handbook.TEST_IDS
    assert "--blanked plate.csv" in tests["T1"].record
    assert all(".csv" in test.record or test.id in {"T9", "T5"} for test in tests.values())


def test_every_cited_test_exists() -> None:
    """A test that an entry or pair refers to has the minutes and state of its record."""
    cited = [work for work in _all_works() if isinstance(work, Check) and work.ref in handbook.TEST_IDS]
    assert len(cited) > 50
    for check in cited:
        assert check.minutes == FIELD_TEST_MINUTES[check.ref]
        assert check.state == FIELD_TEST_STATES[check.ref]


@pytest.mark.parametrize(("code", "other"), TAKEN_FOR)
def test_what_it_is_taken_for_can_be_told_apart(code: str, other: str) -> None:
    """For each code and what the trade takes it for there is a test with two different outcomes."""
    tests = handbook.separating_tests(code, other)
    assert tests
    assert tests[-1].settles
    assert all(test.expect_if != test.expect_else for test in tests)
    back = handbook.separating_tests(other, code)
    assert [(t.expect_else, t.expect_if) for t in back] == [(t.expect_if, t.expect_else) for t in tests]


def test_entries_name_only_rivals_with_a_test() -> None:
    """Whatever an entry says looks like it, and has a code, has a separating test too."""
    named = {(entry.code, other.code) for entry in ENTRIES for other in entry.taken_for if other.code}
    assert len(named) > 30
    assert [pair for pair in named if not handbook.separating_tests(*pair)] == []


def test_pairs_are_unique_and_known() -> None:
    """No pair stands twice, and both of its codes belong to the contract."""
    pairs = [frozenset(pair.codes) for pair in handbook.pairs()]
    assert len(pairs) == len(set(pairs))
    assert all(len(pair) == 2 and pair <= set(CODES) for pair in pairs)
    assert handbook.separating_tests("sensor_clipped", "log_gaps") == ()


@pytest.mark.parametrize("text", ALL_TEXTS)
def test_sentences_are_short(text: str) -> None:
    """A technician reads it in one go: at most 20 words a sentence, on any console's character set."""
    assert max(map(len, map(str.split, _sentences(text))), default=0) <= 20
    assert text.encode("cp1252")


@pytest.mark.parametrize("text", ALL_TEXTS)
def test_no_name_of_a_product(text: str) -> None:
    """A capital inside a sentence belongs to a unit or a standard, never to a brand."""
    inner = [word.strip('.,:;()"') for part in re.split(r"(?<=[.!?:])\s+", text) for word in part.split()[1:]]
    capital = {word for word in inner if re.search("[A-Z]", word)}
    assert capital <= CAPITALS
    assert not re.search("[®™]", text)


def test_no_codes_in_the_words() -> None:
    """The texts speak plainly; a code stands only in the field made for it."""
    for entry in ENTRIES:
        words = " ".join((entry.title, entry.short, entry.what, *entry.shows, *entry.cautions, entry.test.do,
                          entry.test.expect_if, entry.test.expect_else, entry.repair.do, entry.verify.expect))  # fmt: skip
        assert [code for code in CODES if code in words] == []


def test_measures_exist() -> None:
    """Every measure by which a repair is verified is one that tracekit writes."""
    columns = {column.name for column in CYCLES}
    known = columns | OTHER_MEASURES | {f"baseline_{c}" for c in columns} | {f"{c}_p95" for c in columns}
    for entry in ENTRIES:
        assert set(entry.verify.measures) <= known
        targets: list[Target] = [*entry.verify.targets, *filter(None, [entry.test.figure_if])]
        named = {name for target in targets for name, _ in (*target.low, *target.high)}
        assert named <= known
        assert entry.verify.picks_from in {"", "drop_share", "miss_share"}


HANDS_ON = re.compile(
    r"\b(plug|unscrew|take (the|off)|tighten|recut|renew|change the (cup|filter|valve)|fit an?)\b", re.IGNORECASE
)


def test_hands_on_work_is_locked_out() -> None:
    """Whoever plugs, opens or changes a part of the air's way is told to lock out and vent first."""
    works = [work for work in _all_works() if HANDS_ON.search(work.do)]
    assert len(works) > 15
    for work in works:
        assert "locked out" in work.state or "locked out" in work.caution, work.do
    assert re.search("[Ll]ock out.*vent", dict(handbook.state_cautions())["locked out"])


def test_cautions_where_valves_or_vacuum_are_touched() -> None:
    """Valve commands, plates, settings, blow-off and supply work carry the caution that belongs to them."""
    for work in _all_works():
        assert work.caution
        if "safe stop" in work.state:
            assert "Valves move" in dict(handbook.state_cautions())["safe stop"]
        if re.search("clean flat plate", work.do):
            assert "never with a hand or the face" in work.caution
        if re.search("[Ff]ire the release|bag", work.do):
            assert "goggles" in work.caution
    for entry in ENTRIES:
        if entry.kind == "setting" and entry.repair.minutes == (2, 10):
            assert "Photograph" in entry.repair.caution
            assert "area clear" in entry.repair.caution
        if re.search("(release|supply) valve", entry.repair.do):
            assert "feed" in entry.repair.caution


def test_no_dangerous_advice() -> None:
    """Nobody is told to close a cup by hand, to use soap, or to poke a wire into a port."""
    for text in ALL_TEXTS:
        for sentence in _sentences(text):
            if re.search(r"[Cc]lose.*\b(hand|face)\b|by hand or", sentence):
                assert "ever" in sentence
            if re.search(r"\b[Ss]oap|\bair jet|\bwire in\b", sentence):
                assert re.search(r"\bNo\b", sentence)


def test_general_cautions_defer_to_those_in_charge() -> None:
    """The cautions for every station name local codes, risk assessment, licensed practice and stored energy."""
    together = " ".join(handbook.general_cautions())
    for words in ("Local codes", "risk assessment", "licensed practice", "receivers", "no safety function", "soap"):
        assert words in together


def test_source_status_is_stated() -> None:
    """Each entry and recorded test says on what it rests."""
    for thing in (*ENTRIES, *handbook.field_tests()):
        assert re.search("common practice, no source|physics|ISO", thing.source)


def test_unknown_code_names_the_nearest() -> None:
    """A mistyped code is refused with the code that was meant."""
    with pytest.raises(UsageError, match=r'explain: the code "leak_stedy".*Did you mean "leak_steady"'):
        handbook.entry("leak_stedy")
    with pytest.raises(UsageError, match='the test "T11"; expected one of T0'):
        handbook.field_test("T11")
