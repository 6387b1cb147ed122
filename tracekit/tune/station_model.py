"""The model of one station, fitted from its log: what the loop and the switch of a hold are predicted with."""


import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.model.estimate import Bound, Estimate
from tracekit.model.result import LeakResult
from tracekit.options.tune import TuneOptions
from tracekit.physics.heat import MEMORY_SHARE, exchange_rate_1_s
from tracekit.tune.coasts import Coasts, Recharges, coasts_of, recharges_of
from tracekit.tune.facts import Facts, closed_picks
from tracekit.tune.rise import Rise, rise_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_WALL_S = 0.13  # where the log does not tell: between hose and cup (trade figures: 0.01 to 0.6 s)
_STARTS = 60
_GAP_S = 0.1  # a release this soon after the last supply-off belongs to it
_USUALLY = 0.8
_UNSEEN_RATE = 2.0  # kPa/s: healthy stations of 20 to 200 mL lose 0.2 to 8 (common practice, no source)


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedStation:
    """One station as its log shows it. Arrays have one entry per cycle used.

    rows           rows of the cycles table that were used: picks whose cup closed
    rise           crossing times of the evacuation
    end_s          supply command to the end of suction [s]
    contact_s      supply command to the closing of the cup [s], NaN where it does not show
    evacuation_s   supply command to the set point in force [s]
    rate           isothermal leak rate near the loop's levels [kPa/s]
    rate_u         standard uncertainty of the logarithm of the rate that all cycles share
    wall_s         exchange of heat between gas and wall [s]
    memory_level, memory  e of the gas at the end of an evacuation that is cut at that level
    tau_s          time constant of a recharge [s]
    delay_on_s     supply-on command to the turn of the vacuum [s]
    delay_off_s    overshoot of the first cut over the speed of the rise there [s]
    delay_later_s  the same of later cuts [s]
    later_share    correction on the warming after a recharge
    follows_point  probability that the hold is timed from the set point, so that it ends later where that comes later
    coasts_seen    coasts that the log shows
    recharges_seen recharges that the log shows
    """

    rows: Ints
    rise: Rise
    end_s: Floats
    contact_s: Floats
    evacuation_s: Floats
    rate: Floats
    rate_u: float
    wall_s: float
    memory_level: Floats
    memory: Floats
    tau_s: float
    delay_on_s: float
    delay_off_s: float
    delay_later_s: float
    later_share: float
    follows_point: float
    coasts_seen: int
    recharges_seen: int
    ambient_kpa: float
    facts: Facts

    def memory_at(self, off_kpa: Floats) -> Floats:
        """E at the end of an evacuation cut at `off_kpa`."""
        return np.asarray(np.interp(off_kpa, self.memory_level, self.memory))

    def exchange_1_s(self, off_kpa: Floats) -> Floats:
        """Rate at which the gas near `off_kpa` takes the wall's temperature [1/s]."""
        ratio = np.maximum(1.0 - np.asarray(off_kpa) / self.ambient_kpa, 0.02)
        return np.asarray(1.4 * exchange_rate_1_s(self.wall_s, ratio))


def fit_station(data: StationData, leak: LeakResult, facts: Facts, options: TuneOptions) -> FittedStation:
    """Fit the model from a measured station with at least one closed pick."""
    closed = closed_picks(data)
    held = data.cycles.where("outcome", "held") & closed
    rows = np.flatnonzero(held if held.sum() >= options.least_held else closed)
    if len(rows) > options.cycles_most:
        rows = rows[np.linspace(0, len(rows) - 1, options.cycles_most).astype(np.int64)]
    rise = rise_of(data, rows)
    coasts, recharges = coasts_of(data, closed), recharges_of(data, closed)
    wall = leak.wall_time_constant_s if np.isfinite(leak.wall_time_constant_s) else _WALL_S
    rate, rate_u = _rates(leak, rows, coasts, options)
    delay_off = _delay_off(data, coasts, rise)
    level, memory = _evacuation_memory(data, rise, wall)
    end, delay_on = _ends(data, rows), _delay_on(data, recharges)
    tau = _recharge_tau(data, recharges, rise, delay_on)
    return FittedStation(
        rows=rows,
        rise=rise,
        end_s=end,
        contact_s=data.cycles.floats("contact_s")[rows] - data.timing["try_s"][rows],
        evacuation_s=data.cycles.floats("evacuation_time_s")[rows],
        rate=rate,
        rate_u=rate_u,
        wall_s=wall,
        memory_level=level,
        memory=memory * _first_share(data.ambient_kpa, coasts, level, memory, (float(np.median(rate)), wall)),
        tau_s=tau,
        delay_on_s=delay_on,
        delay_off_s=delay_off,
        delay_later_s=_delay_later(data, coasts, rise, tau, delay_off),
        later_share=1.0,
        follows_point=_follows_point(data, rows, end),
        coasts_seen=len(coasts.cycle),
        recharges_seen=len(recharges.cycle),
        ambient_kpa=data.ambient_kpa,
        facts=facts,
    )


def _rates(leak: LeakResult, rows: Ints, coasts: Coasts, options: TuneOptions) -> tuple[Floats, float]:
    """Isothermal rates per cycle, and the standard uncertainty of their logarithm that they share."""
    rate, found = leak.rate[rows], leak.decay_rate
    seen = np.isfinite(rate)
    usual, half = _plain_rate(coasts), float("nan")
    if isinstance(found, Estimate):
        usual, half = found.value, 0.5 * (found.upper - found.lower)
    elif isinstance(found, Bound):
        usual, half = found.limit, 0.5 * found.limit
    usual = float(np.median(rate[seen])) if seen.sum() >= 3 else usual
    if not np.isfinite(usual):
        return np.full(len(rows), _UNSEEN_RATE), options.rate_unseen_u
    spread = half / max(abs(usual), 0.05) / 1.96 if np.isfinite(half) else 0.3
    return np.maximum(np.where(seen, rate, usual), 0.01), float(np.clip(spread, 0.01, options.rate_unseen_u))


def _plain_rate(coasts: Coasts) -> float:
    """Loss per second after the surge, where no leak was estimated [kPa/s]."""
    late = coasts.duration_s - coasts.turn_s - coasts.surge_for_s
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = (coasts.turn_kpa - coasts.surge_kpa - coasts.end_kpa) / late
    good = np.isfinite(slope) & (late > 0.15)
    return float(np.median(slope[good])) if good.any() else float("nan")


def _delay_off(data: StationData, coasts: Coasts, rise: Rise) -> float:
    """Overshoot of first cuts over the speed of the rise there [s]."""
    off = data.settings["supply_off"].value_kpa if "supply_off" in data.settings else None
    first = coasts.first & np.isfinite(coasts.turn_kpa)
    if off is None or not first.any():
        return 0.03
    over = float(np.median(coasts.turn_kpa[first])) - off
    speed = float(np.median(rise.speed(np.array([off]))))
    return float(np.clip(over / max(speed, 1e-3), 0.002, 0.1))


def _delay_later(data: StationData, coasts: Coasts, rise: Rise, tau_s: float, first_s: float) -> float:
    """Overshoot after a recharge over the speed of that recharge [s]; as after an evacuation where none shows."""
    off = data.settings["supply_off"].value_kpa if "supply_off" in data.settings else None
    later = ~coasts.first & np.isfinite(coasts.turn_kpa) & (coasts.duration_s > 0.05)
    if off is None or later.sum() < 3:
        return first_s
    room = max(float(np.median(rise.ultimate)) - off, 0.05)
    over = float(np.median(coasts.turn_kpa[later])) - off
    return float(np.clip(over * tau_s / room, 0.0, 0.3))


def _evacuation_memory(data: StationData, rise: Rise, wall_s: float) -> tuple[Floats, Floats]:
    """E of the gas along the usual evacuation, at levels up to just under the ultimate vacuum."""
    top = float(np.median(rise.ultimate)) - 0.2
    level = np.linspace(0.0, max(top, 1.0), _STARTS)
    times = rise.at(level)
    usual = np.array([np.median(t[np.isfinite(t)]) if np.isfinite(t).any() else np.nan for t in times.T])
    usual = np.maximum.accumulate(np.nan_to_num(usual, nan=float(np.nanmax(usual))))
    ratio = np.maximum(1.0 - level / data.ambient_kpa, 0.02)
    log_p = np.log(ratio)
    y, memory = 0.0, np.zeros(_STARTS)
    for i in range(1, _STARTS):  # 60 levels, not samples
        turns = float(exchange_rate_1_s(wall_s, ratio[i])) * (usual[i] - usual[i - 1])
        y = float(log_p[i]) + (y - float(log_p[i])) * float(np.exp(-turns))
        memory[i] = (1.0 - MEMORY_SHARE) * (float(log_p[i]) - y)
    return level, memory


def _first_share(
    ambient_kpa: float, coasts: Coasts, level: Floats, memory: Floats, leak_and_wall: tuple[float, float]
) -> float:
    """Factor on the warming after an evacuation that makes the recorded fall of first coasts come out.

    leak_and_wall  usual leak rate [kPa/s] and exchange with the wall [s]
    """
    use = coasts.first & np.isfinite(coasts.surge_kpa)
    if use.sum() < 3:
        return 1.0
    rate, wall_s = leak_and_wall
    lost, took = float(np.median(coasts.surge_kpa[use])), float(np.median(coasts.surge_for_s[use]))
    turn = float(np.median(coasts.turn_kpa[use]))
    e = float(np.interp(turn, level, memory))
    left = ambient_kpa - turn
    k = 1.4 * float(exchange_rate_1_s(wall_s, max(left / ambient_kpa, 0.02)))
    warming = left * (np.exp(-0.4 * e * (1.0 - np.exp(-k * took))) - 1.0)
    return float(np.clip((lost - rate * took) / max(warming, 1e-3), 0.0, 3.0))


def _delay_on(data: StationData, recharges: Recharges) -> float:
    if np.isfinite(recharges.turn_s).sum() >= 3:
        return float(np.nanmedian(recharges.turn_s))
    response = data.cycles.floats("response_delay_s")
    usual = float(np.nanmedian(response)) if np.isfinite(response).any() else 0.02
    return usual + 0.02  # the generator comes up to strength (common practice, no source)


def _recharge_tau(data: StationData, recharges: Recharges, rise: Rise, delay_on: float) -> float:
    """Time constant of a recharge [s]: from recorded ones, else that of the end of the evacuation."""
    off = data.settings["supply_off"].value_kpa if "supply_off" in data.settings else None
    ultimate = float(np.median(rise.ultimate))
    usual = float(np.median(rise.steep))
    if off is None or np.isfinite(recharges.turn_kpa).sum() < 3 or ultimate <= off + 0.2:
        return usual
    lowest = float(np.nanmedian(recharges.turn_kpa))
    length = float(np.median(recharges.duration_s)) - delay_on
    bent = float(np.log((ultimate - lowest) / (ultimate - off)))
    return float(np.clip(length / max(bent, 1e-3), 0.1 * usual, 5.0 * usual))


def _ends(data: StationData, rows: Ints) -> Floats:
    """Supply command to the end of suction [s]; where the loop cut early, suction lasts until the release."""
    stop, release = data.timing["quit_s"][rows], data.timing["release_s"][rows]
    stop = np.where(np.isfinite(release) & (release - stop > _GAP_S), release, stop)
    end = stop - data.timing["try_s"][rows]
    held = data.cycles.where("outcome", "held")[rows] & np.isfinite(end)
    usual = float(np.median(end[held])) if held.any() else float(np.nanmedian(end)) if np.isfinite(end).any() else 1.0
    return np.asarray(np.where(held | (not held.any()) & np.isfinite(end), end, usual))


def _follows_point(data: StationData, rows: Ints, end_s: Floats) -> float:
    """Probability that the hold is timed from part present and not from the supply command.

    The two laws differ in what the end of suction scatters about; most machines wait for part present (common
    practice, no source).
    """
    present = data.edges.where("signal", "part_present") & (data.edges.codes("value") == 1)
    first = np.full(len(data.cycles), np.inf)
    np.minimum.at(first, data.edges.codes("cycle")[present], data.edges.floats("time_s")[present])
    on = first[rows] - data.timing["try_s"][rows]
    good = np.isfinite(on) & np.isfinite(end_s)
    if good.sum() < 5:
        return _USUALLY
    spread = [max(float(np.std(v[good])), 0.25 * data.sensor.sample_interval_s) for v in (end_s - on, end_s)]
    odds = _USUALLY / (1.0 - _USUALLY) * float(np.exp(np.clip(good.sum() * np.log(spread[1] / spread[0]), -30.0, 30.0)))
    return odds / (1.0 + odds)
