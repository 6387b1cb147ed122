"""The handbook: for every code what it is, how it shows, a quick test, the repair and how to verify it.

Its facts are common practice where no source is named; each entry says so itself in `source`.
"""

from dataclasses import replace

from tracekit.errors import UsageError, message, nearest
from tracekit.judge.handbook.load import entry_of, field_tests, general_cautions, pairs, state_cautions
from tracekit.judge.handbook.records import (
    TEST_IDS,
    Check,
    Entry,
    FieldTest,
    Pair,
    Repair,
    State,
    TakenFor,
    Target,
    Verify,
)  # fmt: skip
from tracekit.model.finding import CODES

__all__ = [
    "TEST_IDS", "Check", "Entry", "FieldTest", "Pair", "Repair", "State", "TakenFor", "Target", "Verify", "codes",
    "entry", "field_test", "field_tests", "general_cautions", "pairs", "separating_tests", "short_name",
    "state_cautions", "title",
]  # fmt: skip


def codes() -> tuple[str, ...]:
    """All codes that have an entry, in the contract's order."""
    return tuple(CODES)


def entry(code: str) -> Entry:
    """The entry of a code.

    Raises
    ------
    UsageError
        For a code that the contract does not know; names the nearest known one.
    """
    if code not in CODES:
        raise UsageError(message("explain", f'the code "{code}"', "a known code", nearest(code, CODES)))
    return entry_of(code)


def title(code: str, source: str = "ejector") -> str:
    """The heading of a code at a station whose vacuum comes from `source` (ejector, pump, blower).

    Raises
    ------
    UsageError
        For an unknown code.
    """
    found = entry(code)
    return found.title if source == "ejector" else found.pump_title or found.title


def short_name(code: str, source: str = "ejector") -> str:
    """A few words for a code inside a sentence, such as "check valve"; raises as `title` does."""
    found = entry(code)
    return found.short if source == "ejector" else found.pump_short or found.short


def field_test(test_id: str) -> FieldTest:
    """One recorded test by its id, T0 to T10.

    Raises
    ------
    UsageError
        For an id that does not exist.
    """
    for test in field_tests():
        if test.id == test_id:
            return test
    raise UsageError(message("handbook", f'the test "{test_id}"', "one of " + ", ".join(TEST_IDS), "Check the id."))


def separating_tests(code: str, other: str) -> tuple[Check, ...]:
    """The tests that tell `code` from `other`, in order; `expect_if` speaks for `code`. Empty where none is known."""
    for pair in pairs():
        if pair.codes == (code, other):
            return pair.tests
        if pair.codes == (other, code):
            return tuple(_seen_from_second(test) for test in pair.tests)
    return ()


def _seen_from_second(test: Check) -> Check:
    return replace(test, expect_if=test.expect_else, expect_else=test.expect_if, figure_if=None)
