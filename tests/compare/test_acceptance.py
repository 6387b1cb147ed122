"""Decisions against an agreed limit by JCGM 106."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.compare.compared_stations import Scene, recording
from tracekit.compare.acceptance import accept, read_demand
from tracekit.compare.judging import Question
from tracekit.compare.matching import PartMix
from tracekit.errors import UsageError
from tracekit.model.comparison import Acceptance, Recording
from tracekit.model.estimate import Estimate, Withheld
from tracekit.options.compare import CompareOptions, SerialOptions

AFTER = recording(2, 200)


def _decide(text: str, side: Recording = AFTER, rule: str = "guarded") -> Acceptance:
    question = Question(
        before=(side,), after=(side,), mix=PartMix(), options=CompareOptions(), serial=SerialOptions()
    )
    return accept(read_demand(text), (side,), "after", rule, question)


def test_the_written_form() -> None:
    """A limit names measure, operator and number; < means at most."""
    demand = read_demand(" decay_rate_kpa_s < 2.5 ")
    assert (demand.measure, demand.operator, demand.limit, demand.unit) == ("decay_rate_kpa_s", "<=", 2.5, "kPa/s")
    assert read_demand("ultimate_vacuum_kpa>=7e1").limit == 70.0
    assert read_demand("drop_share<=0.01").unit == ""


@pytest.mark.parametrize("text", ["decay_rate_kpa_s", "decay_rate_kpa_s=2", "decay_rate_kpa_s<=x", "<=2", ""])
def test_what_is_no_limit(text: str) -> None:
    """Anything else is refused with an example."""
    with pytest.raises(UsageError, match="decay_rate_kpa_s<=2"):
        read_demand(text)


def test_an_unknown_measure() -> None:
    """An unknown measure is refused with the nearest known one."""
    with pytest.raises(UsageError, match='Did you mean "decay_rate_kpa_s"'):
        read_demand("decay_rate<=2")


@pytest.mark.parametrize(
    ("limit", "guarded", "simple"),
    [("5.5", "accepted", "accepted"), ("5.05", "undecided", "accepted"), ("4.97", "undecided", "rejected"),
     ("4.5", "rejected", "rejected")],
)  # fmt: skip
def test_guarded_and_simple(limit: str, guarded: str, simple: str) -> None:
    """Guarded accepts where the whole interval keeps the limit, simple where the value does."""
    assert _decide(f"decay_rate_kpa_s<={limit}").decision == guarded
    assert _decide(f"decay_rate_kpa_s<={limit}", rule="simple").decision == simple


def test_the_guard_band() -> None:
    """The guard band is the distance from the value to the end of the interval; the simple rule has none."""
    found = _decide("decay_rate_kpa_s<=5.5")
    assert isinstance(found.quantity, Estimate)
    assert found.guard_band == pytest.approx(found.quantity.upper - found.quantity.value)
    assert _decide("decay_rate_kpa_s<=5.5", rule="simple").guard_band == 0.0


def test_the_risks_are_named() -> None:
    """Acceptance names the customer's risk, rejection the producer's, with the general limit of the rule."""
    assert "Customer's risk" in _decide("decay_rate_kpa_s<=5.5").risk
    assert "at most 2.5 %" in _decide("decay_rate_kpa_s<=5.5").risk
    assert "up to 50 %" in _decide("decay_rate_kpa_s<=5.5", rule="simple").risk
    assert "Producer's risk" in _decide("decay_rate_kpa_s<=4.5").risk


@given(st.floats(4.0, 6.0))
def test_conformity_agrees_with_the_decision(limit: float) -> None:
    """Guarded acceptance goes with a probability of conformity of 97.5 % and more, rejection with 2.5 % and less."""
    found = _decide(f"decay_rate_kpa_s<={limit:.6f}")
    expected = "accepted" if found.conformity >= 0.975 else "rejected" if found.conformity <= 0.025 else "undecided"
    assert found.decision == expected


def test_a_lower_limit() -> None:
    """At least 80 kPa is kept by a median of 84, at least 88 is not."""
    assert _decide("ultimate_vacuum_kpa>=80").decision == "accepted"
    assert _decide("ultimate_vacuum_kpa>=88").decision == "rejected"
    assert _decide("ultimate_vacuum_kpa>=80").conformity > 0.99


def test_a_share_by_its_exact_limits() -> None:
    """No drop in 200: a share of 2 % is kept (exact upper limit 1.83 %), 1 % is not decided, simple accepts it."""
    assert _decide("drop_share<=0.02").decision == "accepted"
    assert _decide("drop_share<=0.01").decision == "undecided"
    assert _decide("drop_share<=0.01", rule="simple").decision == "accepted"
    dropping = recording(3, 200, Scene(drops=0.3))
    assert _decide("drop_share<=0.01", dropping).decision == "rejected"


def test_a_share_with_a_flat_prior() -> None:
    """The probability that the share is below 1 % after no drop in 200 is 1 − 0.99^201 (beta distribution)."""
    assert _decide("drop_share<=0.01").conformity == pytest.approx(1.0 - 0.99**201)


def test_a_withheld_leak_is_not_decided() -> None:
    """What the log cannot give is not decided, with its reason, under both rules."""
    withheld = replace(AFTER, leak=Withheld("no held cycle has a usable coast"))
    for rule in ("guarded", "simple"):
        found = _decide("decay_rate_kpa_s<=2", withheld, rule)
        assert found.decision == "undecided"
        assert "usable coast" in found.risk


def test_too_few_values() -> None:
    """Five cycles decide nothing."""
    assert _decide("decay_rate_kpa_s<=2", recording(1, 5)).decision == "undecided"
