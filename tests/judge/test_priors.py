"""The priors are those of the trade, sum to one, and shift with the surroundings."""

import pytest

from tracekit.errors import UsageError
from tracekit.judge.priors import NOTHING_TO_REPAIR_ROUTINE, SURROUNDINGS, prior, shift, trust_factor
from tracekit.model.finding import CODES

# Typed by hand (common practice, no source). They sum to 1; supply_valve_passing adds an assumed 0.005 before scaling.
TRADE = {
    "leak_steady": 0.27, "leak_part_dependent": 0.12, "part_not_presented": 0.10, "flow_restricted": 0.08,
    "supply_pressure_low": 0.06, "exhaust_restricted": 0.05, "check_valve_leak": 0.04, "supply_pressure_dips": 0.04,
    "collision_or_peel": 0.04, "release_weak": 0.03, "release_valve_leak": 0.02, "supply_valve_slow": 0.02,
    "motion_dips": 0.02, "supply_pulsation": 0.01,
}  # fmt: skip


@pytest.mark.parametrize(("code", "chance"), TRADE.items())
def test_priors_of_the_trade(code: str, chance: float) -> None:
    """Each prior is the hand-typed one, scaled by 1/1.005 for the cause that has no figure."""
    assert prior(code) == pytest.approx(chance / 1.005, rel=1e-12)


@pytest.mark.parametrize("words", [(), *((word,) for word in SURROUNDINGS), SURROUNDINGS])
def test_priors_sum_to_one(words: tuple[str, ...]) -> None:
    """In any surroundings the chances of all codes sum to one, in a routine log to one in ten."""
    assert sum(prior(code, words) for code in CODES) == pytest.approx(1.0)
    assert sum(prior(code, words, complaint=False) for code in CODES) == pytest.approx(1 - NOTHING_TO_REPAIR_ROUTINE)
    assert pytest.approx(0.9) == NOTHING_TO_REPAIR_ROUTINE


def test_groups_share_their_prior() -> None:
    """Eight settings share 0.08 and five sensor faults 0.02; symptoms and recordings are no repair."""
    assert prior("set_point_too_low") == pytest.approx(0.01 / 1.005)
    assert prior("sensor_stuck") == pytest.approx(0.004 / 1.005)
    assert {prior(code) for code, kind in CODES.items() if kind in ("symptom", "recording")} == {0.0}


def test_dusty_surroundings() -> None:
    """Dust triples a blocked filter and doubles exhaust and check valve.

    The weights grow by 2 x 0.08 + 0.05 + 0.04 = 0.25, so they are divided by 1.255.
    """
    assert prior("flow_restricted", ["dusty"]) == pytest.approx(0.24 / 1.255)
    assert prior("exhaust_restricted", ["dusty"]) == pytest.approx(0.10 / 1.255)
    assert prior("leak_steady", ["dusty"]) == pytest.approx(0.27 / 1.255)


def test_shifts_by_surroundings() -> None:
    """The factors are the hand-typed ones; a word said twice or in another spelling counts once."""
    expected = {
        ("motion_dips", "oily"): 2.0, ("leak_steady", "oily"): 1.5, ("leak_part_dependent", "cardboard"): 3.0,
        ("leak_steady", "cardboard"): 1.3, ("leak_steady", "warm_parts"): 2.0, ("supply_valve_slow", "cold_damp"): 2.0,
        ("hysteresis_too_small", "new"): 4.0, ("supply_pressure_low", "new"): 2.0, ("log_gaps", "new"): 3.0,
        ("check_valve_leak", "new"): 0.3, ("sensor_noisy", "after_maintenance"): 2.0,
        ("valves_overlap", "recipe_change"): 3.0, ("part_not_presented", "recipe_change"): 2.0,
        ("leak_steady", "recipe_change"): 1.0,
    }  # fmt: skip
    assert {key: shift(key[0], [key[1]]) for key in expected} == expected
    assert shift("exhaust_restricted", ["cold, damp", "Damp", "cold_damp"]) == 2.0
    # A quarter of the steady leaks sit in fittings, and maintenance doubles those: 0.75 + 2 x 0.25.
    assert shift("leak_steady", ["after maintenance"]) == pytest.approx(1.25)
    assert shift("exhaust_restricted", ["dusty", "oily"]) == pytest.approx(3.0)


def test_trust_factor() -> None:
    """Small priors are trusted less: a factor of three below 0.05, else two."""
    assert trust_factor("leak_steady") == 2.0
    assert trust_factor("motion_dips") == 3.0


def test_unknown_words_are_refused() -> None:
    """Unknown codes and surroundings are usage errors that name the nearest."""
    with pytest.raises(UsageError, match='the code "leak"'):
        prior("leak")
    with pytest.raises(UsageError, match=r'surroundings: "dustyy".*Did you mean "dusty"'):
        prior("leak_steady", ["dustyy"])
