"""One modelled pick as a curve, to be laid over the recorded ones."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import StationData
from tracekit.model.tuning import Curve
from tracekit.tune.cost import lanes_of
from tracekit.tune.loop import Lanes, coast_pressure, coast_time, recharge_of
from tracekit.tune.order import Values
from tracekit.tune.station_model import FittedStation

Floats = NDArray[np.float64]

_LEVELS, _PER_COAST, _MOST_COASTS = 60, 24, 60


def model_curve(model: FittedStation, values: Values) -> Curve:
    """The modelled pick of a cycle whose leak is the middle one, up to the end of its suction."""
    middle = int(np.argsort(model.rate, kind="stable")[len(model.rate) // 2])
    end = float(np.median(model.end_s))
    saving = "supply_off" in values  # one that never resumed shows no supply_on: its pick ends in one coast
    ultimate = float(model.rise.ultimate[middle])
    top = min(values["supply_off"], ultimate - 0.1) if saving else ultimate - 0.05
    level = np.linspace(0.0, top, _LEVELS)
    time = model.rise.at(level)[middle]
    time, level = time[np.isfinite(time)], level[np.isfinite(time)]
    if saving and values["supply_off"] < ultimate:
        loop = _loop(model, middle, values, end, float(time[-1]))
        time, level = np.concatenate([time, loop.time_s]), np.concatenate([level, loop.vacuum_kpa])
    elif len(time) and time[-1] < end:
        time, level = np.append(time, end), np.append(level, top)
    inside = time <= end
    return Curve(time_s=time[inside], vacuum_kpa=level[inside])


def _loop(model: FittedStation, cycle: int, values: Values, end: float, start: float) -> Curve:
    """Coasts and recharges from the first cut on."""
    on = values.get("supply_on", 0.0)
    lanes = lanes_of(model, np.array([cycle]), np.array([values["supply_off"]]), np.array([on]))
    memory, time = lanes.first_memory, start
    room = np.maximum(lanes.ultimate - lanes.off, 0.05)
    over, delay = np.minimum(lanes.first_rise * lanes.delay_off_s, 0.8 * room), lanes.delay_off_s
    times: list[Floats] = []
    levels: list[Floats] = []
    for _ in range(_MOST_COASTS):
        turn = lanes.off + over
        length, after, slope = coast_time(lanes, turn, memory)
        fall = np.linspace(0.0, min(float(length.item()), max(end - time, 0.0) + 1.0), _PER_COAST)
        first = time + float(delay.item())
        times.append(first + fall)
        levels.append(_vacuum(lanes, turn, memory, fall))
        time = first + float(length.item())
        if time >= end:
            break
        rise, memory = recharge_of(lanes, after, slope)
        times.append(np.array([time + float(lanes.delay_on_s.item())]))
        levels.append(np.array([float((lanes.on - slope * lanes.delay_on_s).item())]))
        time += float(rise.item())
        over, delay = np.minimum(room / lanes.tau_s * lanes.delay_later_s, 0.8 * room), lanes.delay_later_s
    return Curve(time_s=np.concatenate(times), vacuum_kpa=np.concatenate(levels))


def _vacuum(lanes: Lanes, turn: Floats, memory: Floats, time: Floats) -> Floats:
    wide = replace(lanes, rate=np.broadcast_to(lanes.rate, (1, 1)))
    return np.asarray(lanes.ambient - coast_pressure(wide, turn, memory, time[None, :]), np.float64).ravel()


def recorded_curves(data: StationData, model: FittedStation, most: int) -> tuple[Curve, ...]:
    """Averaged traces of some recorded picks, evenly taken, up to the end of suction."""
    rows = model.rows[np.unique(np.linspace(0, len(model.rows) - 1, most).astype(np.int64))]
    bins, start, stop = data.bins, data.timing["try_s"], data.timing["quit_s"]
    found = []
    for row in rows.tolist():
        use = (bins.cycle == row) & (bins.time_s >= start[row]) & (bins.time_s <= stop[row])
        found.append(Curve(time_s=bins.time_s[use] - start[row], vacuum_kpa=-bins.pressure_kpa[use]))
    return tuple(found)


def misfit_kpa(recorded: tuple[Curve, ...], model: Curve) -> float:
    """Median distance of the recorded readings from the model at the same time [kPa], NaN without any."""
    if not recorded or len(model.time_s) < 2:
        return float("nan")
    apart = [
        np.abs(c.vacuum_kpa - np.interp(c.time_s, model.time_s, model.vacuum_kpa)) for c in recorded if len(c.time_s)
    ]
    return float(np.median(np.concatenate(apart))) if apart else float("nan")
