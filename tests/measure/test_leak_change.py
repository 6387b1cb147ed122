"""A change of leak without coasts, on tables with planted ultimate vacua."""

from dataclasses import replace

import numpy as np

from tests.measure.one_volume import Plant, station
from tracekit.measure.leak_change import leak_change, leak_change_without_coasts
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.result import LeakChange

PLAIN = station(Plant(rates=(1.0,) * 20, reaches=(False,) * 20))


def log(
    ultimate_kpa: float, tau_s: float = 0.2, *, ambient_kpa: float = 100.0, idle_kpa: float = 0.0,
    extrapolated: int | np.ndarray = 0,
) -> StationData:  # fmt: skip
    """A log whose cycles tend to a vacuum, with a little scatter; seen, or `extrapolated`."""
    rng = np.random.default_rng(2)
    tends_to_kpa = ultimate_kpa + 0.02 * rng.normal(size=20)
    cycles = PLAIN.cycles.with_columns(
        ultimate_vacuum_kpa=tends_to_kpa, pump_time_constant_s=np.full(20, tau_s),
        idle_vacuum_kpa=np.full(20, idle_kpa), ultimate_extrapolated=np.full(20, extrapolated),
    )  # fmt: skip
    timing = {**PLAIN.timing, "tends_to_kpa": tends_to_kpa}
    return replace(PLAIN, cycles=cycles, ambient_kpa=ambient_kpa, timing=timing)


def change(now: StationData, before: StationData) -> Estimate:
    """The change, which must be an estimate."""
    found = leak_change_without_coasts(now, before)
    assert isinstance(found, Estimate)
    return found


def test_a_planted_change_is_covered() -> None:
    """Two kPa less ultimate vacuum at τ = 0.2 s mean some 10 kPa/s; true ratios of 0.84–1.44 lie in the interval."""
    found = change(log(82.0), log(84.0))
    for ratio in (0.84, 1.0, 1.44):
        assert found.lower <= ratio * 10.0 <= found.upper
    assert found.lower > 0.0


def test_no_change_includes_zero_and_says_how_wide() -> None:
    """The same vacuum twice gives an interval about zero."""
    found = change(log(84.0), log(84.0))
    assert found.lower < 0.0 < found.upper
    assert abs(found.value) < 0.1


def test_weather_is_no_leak() -> None:
    """A station whose ultimate pressure is a fixed share of ambient shows no change when the ambient rises."""
    found = change(log(0.84 * 103.0, ambient_kpa=103.0), log(0.84 * 100.0))
    assert abs(found.value) < 0.1


def test_unknown_ambient_widens() -> None:
    """An ambient known to ±5 kPa in each log makes the interval several times as wide."""
    now, before = log(82.0), log(84.0)
    vague = change(replace(now, ambient_u_kpa=5.0), replace(before, ambient_u_kpa=5.0))
    sure = change(now, before)
    assert vague.upper - vague.lower > 2.0 * (sure.upper - sure.lower)


def test_a_zero_shift_is_taken_off() -> None:
    """A sensor that reads 1 kPa more at rest and under vacuum shows no change."""
    assert abs(change(log(85.0, idle_kpa=1.0), log(84.0)).value) < 0.1


def test_a_slower_evacuation_is_not_called_a_leak() -> None:
    """Where τ has grown by half, supply or exhaust may be behind it, and the change is withheld."""
    found = leak_change_without_coasts(log(80.0, tau_s=0.3), log(84.0))
    assert isinstance(found, Withheld)
    assert "supply or exhaust" in found.reason


def test_a_weaker_supply_is_not_called_a_leak() -> None:
    """Where the vacuum of the open cup has fallen by a fifth as well, the change is withheld; where it rose it is not."""
    now, before = (replace(log(u), usual_open_kpa=o) for u, o in ((80.0, 4.8), (84.0, 6.0)))
    found = leak_change(now, before)
    assert isinstance(found, Withheld)
    assert "open cup" in found.reason
    assert isinstance(leak_change(replace(now, usual_open_kpa=6.5), before), LeakChange)


def test_too_few_cycles_are_withheld() -> None:
    """Without ultimate vacua there is nothing to compare."""
    found = leak_change_without_coasts(PLAIN, log(84.0))
    assert isinstance(found, Withheld)
    assert "Fewer than 5" in found.reason


def test_a_vacuum_that_was_seen_is_not_held_against_one_that_was_extrapolated() -> None:
    """Seen against extrapolated is withheld with the reason; where both logs have some of one kind these are compared."""
    found = leak_change(log(82.0), log(84.0, extrapolated=1))
    assert isinstance(found, Withheld)
    assert "extrapolated" in found.reason
    both = leak_change(log(82.0, extrapolated=1), log(84.0, extrapolated=1))
    assert isinstance(both, LeakChange)
    some = np.arange(20) % 2
    mixed = log(84.0, extrapolated=some)
    further = {**mixed.timing, "tends_to_kpa": mixed.timing["tends_to_kpa"] + 5.0 * some}
    mixed = replace(mixed, timing=further)
    like = leak_change(mixed, log(84.0))
    assert isinstance(like, LeakChange)
    assert abs(like.rise_kpa) < 0.1
    assert like.change.n == 10


def test_the_record_says_what_it_rests_on_and_how_to_do_better() -> None:
    """The record holds rise, time constant, the smallest change that shows, a budget, and the way to a decay."""
    found = leak_change(log(82.0), log(84.0))
    assert isinstance(found, LeakChange)
    assert abs(found.rise_kpa - 2.0) < 0.05
    assert found.time_constant_s == 0.2
    u = np.sqrt(sum(line.u_kpa_s**2 for line in found.budget))
    assert abs(found.change.upper - found.change.value - 1.96 * u) < 1e-9
    assert 0.0 < found.smallest_kpa_s < 1.96 * u
    assert "close the supply" in found.how
    assert "5 minutes" in found.how


def test_logs_with_coasts_are_sent_to_their_rates() -> None:
    """Where a log coasts its rate itself is the better measure."""
    found = leak_change(replace(log(82.0), air_saving=True), log(84.0))
    assert isinstance(found, Withheld)
    assert "coasts" in found.reason


def evacuated(rng: np.random.Generator, leak_kpa_s: float, pump: dict[str, float]) -> tuple[float, float]:
    """Vacuum reached and time constant seen of a pump with a bent suction curve against a leak, both [kPa, s].

    The pump draws (1 − y)(1 + bend·y), y vacuum over the vacuum at no flow; the gas cools on the way, which makes the
    evacuation seem faster by `cooling`. The time constant is that of the straight line through the logarithm of what is
    left, between 60 and 93 % of the way.
    """
    ambient, deepest, bend = pump["ambient"], pump["deepest"], pump["bend"]
    vacuum = np.linspace(0.0, deepest, 4001)
    share, x = vacuum / deepest, 1.0 - vacuum / ambient
    beyond = np.clip((x - pump["b"]) / (1.0 - pump["b"]), 0.0, 1.0)
    inward = leak_kpa_s * (np.sqrt(1.0 - beyond**2) if pump["hole"] else (1.0 - x**2) / (1.0 - 0.4**2))
    speed = deepest / pump["tau"] * (1.0 - share) * (1.0 + bend * share) - inward
    end = int(np.argmax(speed <= 0.0)) - 1
    part = slice(int(0.6 * end), int(0.93 * end))
    time = np.cumsum((vacuum[1] - vacuum[0]) / (pump["cooling"] * speed[part]))
    slope = np.polyfit(time, np.log(vacuum[end] - vacuum[part]), 1)[0]
    return float(vacuum[end] + 0.05 * rng.normal()), float(-1.0 / slope)


def test_the_interval_holds_over_many_pumps_and_leaks() -> None:
    """Over 300 drawn pumps with bent curves, cooling gas, holes and pores, 93 % of the intervals hold the change."""
    rng, inside = np.random.default_rng(11), []
    for _ in range(300):
        ambient = rng.uniform(95.0, 103.0)
        pump = {
            "ambient": ambient, "deepest": rng.uniform(0.76, 0.92) * ambient, "bend": rng.uniform(-0.05, 0.35),
            "b": rng.uniform(0.2, 0.5), "hole": rng.random() < 0.6, "tau": rng.uniform(0.04, 0.35),
            "cooling": rng.uniform(1.0, 1.2),
        }  # fmt: skip
        old, grown = rng.uniform(0.05, 0.6), rng.choice([0.0, rng.uniform(0.2, 8.0)])
        day = {**pump, "deepest": pump["deepest"] * (1.0 + 0.0015 * rng.normal())}
        before, after = (evacuated(rng, r, p) for r, p in ((old, pump), (old + grown, day)))
        logs = (log(u, t, ambient_kpa=ambient) for u, t in (after, before))
        found = leak_change(*logs)
        if isinstance(found, LeakChange):
            inside.append(found.change.lower <= grown <= found.change.upper)
    assert len(inside) > 240
    assert np.mean(inside) >= 0.93
