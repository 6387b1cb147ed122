"""Does a sheet still hold."""

import json

import pytest

from tests.compare.compared_stations import Scene, recording
from tracekit.compare.engine import Asked, compare
from tracekit.compare.verify import asked_of, differences, options_of, sides_of
from tracekit.errors import UsageError
from tracekit.options.compare import CompareOptions
from tracekit.report.comparison_json import comparison_json

BEFORE = recording(1, 100, name="before")
AFTER = recording(3, 100, Scene(medians={"decay_rate_kpa_s": 3.0}), start_h=24.0, name="after")
ASKED = Asked(primary="decay_rate_kpa_s", accept=("decay_rate_kpa_s<=4",), accept_rule="simple")
CHANGED = CompareOptions(margin_share=0.2, part_types=7)


def _sheet(asked: Asked = ASKED, options: CompareOptions = CHANGED) -> dict[str, object]:
    written: dict[str, object] = json.loads(json.dumps(comparison_json(compare((BEFORE,), (AFTER,), asked, options))))
    return written


def test_a_sheet_holds() -> None:
    """Question, options and sides are read back from the sheet, and the same figures follow."""
    sheet = _sheet()
    asked, options = asked_of(sheet, None, "sheet.json"), options_of(sheet, "sheet.json")
    assert (asked.primary, asked.accept, asked.accept_rule) == (ASKED.primary, ASKED.accept, "simple")
    assert options == CHANGED
    before, after, faults = sides_of(sheet, (AFTER, BEFORE), (AFTER, BEFORE))
    assert (before, after, faults) == ((BEFORE,), (AFTER,), ())
    assert differences(sheet, comparison_json(compare(before, after, asked, options))) == ()


def test_a_figure_that_was_altered() -> None:
    """One figure changed in its third digit is named with both values; in its ninth it is rounding."""
    sheet = _sheet()
    now = json.loads(json.dumps(sheet))
    value = now["measures"]["decay_rate_kpa_s"]["difference"]["value"]
    now["measures"]["decay_rate_kpa_s"]["difference"]["value"] = value * (1.0 + 1e-8)
    assert differences(sheet, now) == ()
    now["measures"]["decay_rate_kpa_s"]["difference"]["value"] = value * 1.01
    (fault,) = differences(sheet, now)
    assert fault.startswith("measures.decay_rate_kpa_s.difference.value is")


@pytest.mark.parametrize(
    ("key", "value"), [("verdict", "no_change"), ("measures", {}), ("obstacles", []), ("reasons", ["none"])]
)
def test_anything_else_that_was_altered(key: str, value: object) -> None:
    """Verdict, measures, obstacles and reasons are compared too; the time of making is not."""
    sheet = _sheet()
    assert differences(sheet, {**sheet, key: value})
    assert differences(sheet, {**sheet, "created": "1999-01-01T00:00:00Z"}) == ()


def test_a_log_that_is_missing_or_foreign() -> None:
    """A hash without its log and a log without its hash are both named."""
    other = recording(9, 50, name="other")
    faults = sides_of(_sheet(), (BEFORE, other), (BEFORE, other))[2]
    assert any("no log with hash after" in f for f in faults)
    assert any("other.csv is not the log" in f for f in faults)


def test_one_recording_against_a_limit() -> None:
    """A sheet of one recording is read back with its side."""
    sheet = json.loads(
        json.dumps(comparison_json(compare((BEFORE,), (), Asked(accept=("drop_share<=0.1",), accept_side="before"))))
    )
    asked = asked_of(sheet, None, "sheet.json")
    assert asked.primary is None
    assert asked.accept_side == "before"
    before, after, faults = sides_of(sheet, (BEFORE,), (BEFORE,))
    assert (len(before), len(after), faults) == (1, 0, ())
    assert differences(sheet, comparison_json(compare(before, after, asked))) == ()


def test_what_is_no_sheet() -> None:
    """Another document and an option of another version are refused."""
    with pytest.raises(UsageError, match=r"tracekit\.comparison/1"):
        asked_of({"schema": "tracekit.plan/1"}, None, "plan.json")
    with pytest.raises(UsageError, match='option "magic"'):
        options_of({"options": {"magic": {"value": 1.0}}}, "sheet.json")
