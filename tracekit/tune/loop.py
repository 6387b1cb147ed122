"""The air-saving loop of many cycles and settings at once: coasts and recharges of one hold in closed form.

Gas of pressure P with the memory of its temperature e (physics.heat): P = z·exp(0.4·e), where z is the pressure that
the same content would have at ambient temperature and rises at the isothermal leak rate, and e relaxes to z's relative
rate over the exchange rate. A coast is solved for the time to supply_on, a recharge is exponential towards the ultimate
vacuum; delays carry both beyond their thresholds.

Source: first law for an open system (physics.heat [1]); ratio of heats 1.4.
"""


import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass

Floats = NDArray[np.float64]

_EXPLICIT = 3  # coasts followed one by one; the saw-tooth repeats itself after them
_STEPS = 12
_LONGEST_S = 1e4


@dataclass(frozen=True, slots=True, kw_only=True)
class Lanes:
    """What the loop of each lane is made of; arrays that broadcast to the shape of the lanes.

    off, on        thresholds [kPa of vacuum]
    first_cut_s    supply command to the first cut [s]
    end_s          supply command to the end of suction [s]
    rate           isothermal leak rate [kPa/s]
    ambient        ambient pressure [kPa]
    exchange_1_s   rate at which gas takes the wall's temperature [1/s]
    ultimate       vacuum that a recharge tends to [kPa]
    tau_s          its time constant [s]
    delay_on_s     supply-on command to the turn of the vacuum [s]
    delay_off_s    supply-off command to the turn of the vacuum [s], as the overshoot over the speed of the rise
    delay_later_s  the same after a recharge
    first_rise     speed of vacuum at the first cut [kPa/s]
    first_memory   e at the end of the evacuation
    later_share    factor on e after a recharge, by which the log corrects the model
    """

    off: Floats
    on: Floats
    first_cut_s: Floats
    end_s: Floats
    rate: Floats
    ambient: float
    exchange_1_s: Floats
    ultimate: Floats
    tau_s: Floats
    delay_on_s: Floats
    delay_off_s: Floats
    delay_later_s: Floats
    first_rise: Floats
    first_memory: Floats
    later_share: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopCounts:
    """Per lane: edges of the supply in the hold, time with the supply on [s], period of the saw-tooth [s]."""

    switches: Floats
    on_time_s: Floats
    period_s: Floats


def run_loop(lanes: Lanes) -> LoopCounts:
    """Follow the loop of every lane from the first cut to the end of suction."""
    first = np.minimum(lanes.first_cut_s, lanes.end_s)
    room = np.maximum(lanes.ultimate - lanes.off, 0.05)
    overshoot, delay = np.minimum(lanes.first_rise * lanes.delay_off_s, 0.8 * room), lanes.delay_off_s
    memory = lanes.first_memory
    time = lanes.first_cut_s + 0.0 * lanes.rate
    switches = np.where(lanes.first_cut_s < lanes.end_s, 1.0, 0.0)
    on_time = first + 0.0 * lanes.rate
    coast = recharge = np.zeros_like(time)
    for _ in range(_EXPLICIT):
        coast, after, slope = coast_time(lanes, lanes.off + overshoot, memory)
        coast = coast + delay
        recharge, memory = recharge_of(lanes, after, slope)
        switches, on_time = _count(time, coast, recharge, lanes.end_s, switches, on_time)
        time = time + coast + recharge
        overshoot, delay = np.minimum(room / lanes.tau_s * lanes.delay_later_s, 0.8 * room), lanes.delay_later_s
    period = coast + recharge
    left = np.maximum(lanes.end_s - time, 0.0)
    whole = np.floor(left / period)
    switches = switches + 2.0 * whole
    on_time = on_time + whole * recharge
    switches, on_time = _count(time + whole * period, coast, recharge, lanes.end_s, switches, on_time)
    return LoopCounts(switches=switches, on_time_s=on_time, period_s=period)


def _count(
    time: Floats, coast: Floats, recharge: Floats, end: Floats, switches: Floats, on_time: Floats
) -> tuple[Floats, Floats]:
    """Add the edges and the supply time of one coast from `time` on, and of the recharge after it."""
    on = time + coast
    switches = switches + (on < end) + (on + recharge < end)
    return switches, on_time + np.clip(end - on, 0.0, recharge)


def coast_time(lanes: Lanes, from_kpa: Floats, memory: Floats) -> tuple[Floats, Floats, Floats]:
    """Time from the turn at `from_kpa` of vacuum to supply_on [s], e then, and the slope there [kPa/s]."""
    start = lanes.ambient - from_kpa
    z = start / np.exp(0.4 * memory)
    target = lanes.ambient - lanes.on
    k = np.asarray(lanes.exchange_1_s)
    rate = np.maximum(lanes.rate, 1e-4)
    low = np.zeros(np.broadcast_shapes(start.shape, rate.shape, target.shape))
    high = np.minimum(np.maximum(1.6 * (target - z) / rate, 0.0) + 2.0 / k, _LONGEST_S) + low
    for _ in range(_STEPS):  # bisection, finished by one step of Newton's
        middle = 0.5 * (low + high)
        below = _pressure(z, rate, k, memory, middle) < target
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    time = 0.5 * (low + high)
    after = _memory(z, rate, k, memory, time)
    slope = np.maximum(
        rate * np.exp(0.4 * after) + 0.4 * target * (rate / np.maximum(z + rate * time, 1.0) - k * after), 0.0
    )
    short = target - (z + rate * time) * np.exp(0.4 * after)
    time = np.clip(time + short / np.maximum(slope, 1e-3), low, high)
    return time, after, slope


def _memory(z: Floats, rate: Floats, k: Floats, memory: Floats, time: Floats) -> Floats:
    steady = rate / np.maximum(z + 0.5 * rate * np.minimum(time, 2.0 / k), 1.0) / k
    return np.asarray(steady + (memory - steady) * np.exp(-k * time))


def _pressure(z: Floats, rate: Floats, k: Floats, memory: Floats, time: Floats) -> Floats:
    return np.asarray((z + rate * time) * np.exp(0.4 * _memory(z, rate, k, memory, time)))


def coast_pressure(lanes: Lanes, from_kpa: Floats, memory: Floats, time: Floats) -> Floats:
    """Absolute pressure [kPa] a time after the turn at `from_kpa` of vacuum."""
    z = (lanes.ambient - from_kpa) / np.exp(0.4 * memory)
    return _pressure(z, np.maximum(lanes.rate, 1e-4), np.asarray(lanes.exchange_1_s), memory, time)


def recharge_of(lanes: Lanes, memory: Floats, slope: Floats) -> tuple[Floats, Floats]:
    """Time from the supply-on command to the cut [s], and e at the turn after it."""
    lowest = np.minimum(lanes.on - slope * lanes.delay_on_s, lanes.off)
    left = np.maximum(lanes.ultimate - lanes.off, 0.05)
    gap = lanes.ultimate - lowest
    never = (gap <= left) & (lowest < lanes.off)
    rise = np.where(never, _LONGEST_S, lanes.tau_s * np.log(np.maximum(gap / left, 1.0 + 1e-9)))
    speed = np.log(np.maximum(lanes.ambient - lanes.off, 1.0) / np.maximum(lanes.ambient - lowest, 1.0)) / rise
    steady = speed / lanes.exchange_1_s
    after = steady + (memory - steady) * np.exp(-lanes.exchange_1_s * (rise + lanes.delay_later_s) / 1.4)
    return rise + lanes.delay_on_s, after * lanes.later_share
