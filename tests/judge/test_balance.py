"""Where a leak sits, told by the cycles of one log among which it varies."""

import numpy as np
import pytest

from tracekit.judge.balance import joined, within_balance
from tracekit.judge.effects import Comparison, Effect
from tracekit.judge.features import Features

N = 60
RNG = np.random.default_rng(5)
NOISE = RNG.normal(0.0, 1.0, N)
STEP = np.where(np.arange(N) < 25, 0.5, 4.5) + 0.1 * RNG.normal(0.0, 1.0, N)
"""A leak that came in the middle of the log [kPa/s]."""
FAST = 1e9


def cycles_with(rate: np.ndarray, top: np.ndarray, noise: float = 0.05) -> Features:
    """Held cycles with a leak [kPa/s] and a speed near the top [kPa/s]."""
    held = np.ones(len(rate), np.bool_)
    return Features(
        values={"decay": rate, "top": top}, floor={"top": 0.2}, held=held, at_least=~held,
        decay_noise=np.full(len(rate), noise),
    )  # fmt: skip


def against(source: str, before: int = 0) -> Comparison:
    """A comparison of that source; with the log's own past, its first cycles are the reference."""
    earlier = np.arange(N) < before
    return Comparison(effects={}, source=source, onset=before or None, now=~earlier, reference=earlier)


SOUND = cycles_with(0.5 + 0.1 * NOISE, 100.0 - 0.1 * NOISE)


@pytest.mark.parametrize(("share", "low", "high"), [(1.0, 0.8, 1.2), (0.0, -0.2, 0.2), (0.5, 0.3, 0.7)])
@pytest.mark.parametrize(("source", "before"), [("baseline", 0), ("earlier cycles", 20)])
def test_what_a_leak_takes_off_the_evacuation(share: float, low: float, high: float, source: str, before: int) -> None:
    """All of it at the cup, nothing behind the check valve; the interval of two errors holds the truth."""
    features = cycles_with(STEP, 100.0 - share * STEP + 0.3 * NOISE)
    found = within_balance(features, against(source, before), SOUND if source == "baseline" else None, FAST)
    assert found is not None
    assert low < found.shift < high
    assert abs(found.shift - share) < 2.0 * found.error
    assert found.error < 0.2


def test_errors_hold_the_truth_as_often_as_they_say() -> None:
    """Over 200 logs two errors hold nineteen of twenty, with odd cycles and a supply that wanders."""
    rng = np.random.default_rng(8)
    held = []
    for _ in range(200):
        leak = np.where(np.arange(N) < 30, 0.5, 5.0) + rng.normal(0.0, 0.3, N)
        wander = 0.4 * rng.normal() * np.arange(N) / N
        top = 100.0 - 0.7 * leak + wander + rng.normal(0.0, 0.6, N)
        top[rng.integers(0, N, 2)] -= 30.0
        found = within_balance(cycles_with(leak, top), against("baseline"), SOUND, FAST)
        assert found is not None
        held.append(abs(found.shift - 0.7) < 2.0 * found.error)
    assert np.mean(held) > 0.93


def test_too_little_that_varies_tells_nothing() -> None:
    """Parts of a sound station, noise, few cycles, a leak that is the same in all, or an evacuation of a few samples."""
    other = cycles_with(STEP[::-1] * 0.9, 100.0 - NOISE)
    assert within_balance(cycles_with(STEP, 100.0 - STEP), against("baseline"), other, FAST) is None
    assert within_balance(cycles_with(STEP, 100.0 - STEP, noise=1.0), against("baseline"), SOUND, FAST) is None
    assert within_balance(cycles_with(STEP[20:32], 100.0 - STEP[20:32]), against("none"), None, FAST) is None
    steady = 5.0 + 0.1 * NOISE
    assert within_balance(cycles_with(steady, 100.0 - steady), against("baseline"), SOUND, FAST) is None
    assert within_balance(cycles_with(STEP, 100.0 - STEP), against("baseline"), SOUND, 90.0) is None
    uneven = 0.3 + 3.0 * np.abs(NOISE)
    assert within_balance(cycles_with(uneven, 100.0 - uneven), against("none"), None, FAST) is not None
    assert within_balance(cycles_with(uneven + 10.0, 100.0 - uneven), against("none"), None, FAST) is None


def balance(share: float, error: float) -> Effect:
    """A balance known so well."""
    return Effect(
        now=share, reference=0.0, shift=share, error=error, n_now=9, n_reference=7, tail_up=0.0, tail_down=0.0,
        scatter=1.0,
    )  # fmt: skip


def test_two_balances_are_joined_by_their_errors() -> None:
    """0.4 ± 0.3 and 0.1 ± 0.15 weigh one to four: 0.16 ± 0.134; where they contradict each other the surer one holds."""
    both = joined(balance(0.4, 0.3), balance(0.1, 0.15))
    assert both is not None
    assert both.shift == pytest.approx(0.16)
    assert both.error == pytest.approx(0.15 * np.sqrt(0.8))
    assert joined(balance(2.0, 0.3), balance(0.1, 0.15)) == balance(0.1, 0.15)
    assert joined(None, balance(0.1, 0.15)) == balance(0.1, 0.15)
    assert joined(balance(0.1, 0.15), None) == balance(0.1, 0.15)
    assert joined(None, None) is None


def test_a_wander_of_the_supply_that_goes_with_the_leak_is_allowed_for() -> None:
    """A leak that grows evenly from 0 to 5.9: 0.4 % of 397 kPa/s over a spread of 1.73 kPa/s are 0.917 of its share."""
    leak = 0.1 * np.arange(N)
    found = within_balance(cycles_with(leak, 400.0 - leak), against("baseline"), SOUND, FAST)
    assert found is not None
    assert found.shift == pytest.approx(1.0)
    assert found.error == pytest.approx(0.004 * 397.05 / np.std(leak), rel=1e-6)


def test_odd_cycles_move_no_slope() -> None:
    """One evacuation in sixty that met no part in time leaves the share as it is."""
    top = 100.0 - STEP + 0.05 * NOISE
    odd = np.where(np.arange(N) == 3, top - 60.0, top)
    clean, found = (within_balance(cycles_with(STEP, t), against("baseline"), SOUND, FAST) for t in (top, odd))
    assert clean is not None
    assert found is not None
    assert found.shift == pytest.approx(clean.shift, abs=0.02)
