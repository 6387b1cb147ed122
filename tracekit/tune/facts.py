"""What the recorded cycles say about how far settings may go: empty cup, weakest reach, dips, delays, noise."""


import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.options.tune import TuneOptions
from tracekit.signal.pieces import whole_runs
from tracekit.tune.quantile import high_bound, low_bound

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_HOLDS = 5
_GAP_S = 0.1  # a release this soon after the last supply-off belongs to it
_SETTLED_S = 0.15  # a coast's first part is shaped by valve, sensor and warming gas


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Levels and distances of a station, in kPa; NaN where the log does not show them.

    sigma        noise of single readings
    open_high    highest vacuum that an empty cup reaches
    reach_low    vacuum that the weakest healthy cycle reaches, from below
    undershoot   how far vacuum falls below supply_on before the supply works again
    overshoot    how far it rises over supply_off
    dip          deepest healthy loss of vacuum with the motion
    floor        lowest vacuum of a healthy hold once it has settled
    slope        usual fall of vacuum in a coast [kPa/s]
    overshoot_seen  highest vacuum recorded over supply_off, 0 where none [kPa]
    """

    sigma: float
    open_high: float
    reach_low: float
    undershoot: float
    overshoot: float
    dip: float
    floor: float
    slope: float
    overshoot_seen: float


def station_facts(data: StationData, options: TuneOptions) -> Facts:
    """Levels and distances that settings must respect."""
    held = closed_picks(data)
    return Facts(
        sigma=max(data.sensor.noise_kpa, 0.02) if np.isfinite(data.sensor.noise_kpa) else 0.1,
        open_high=_open_high(data),
        reach_low=_reach_low(data, held, options),
        undershoot=_beyond(data, held, "recharge", options),
        overshoot=(over := _beyond(data, held, "coast", options)),
        dip=deepest_dip(data, held, options),
        floor=_floor(data, held, options),
        slope=_slope(data, held),
        overshoot_seen=float(np.nan_to_num(over)),
    )


def closed_picks(data: StationData) -> Bools:
    """Picks whose cup closed on a part: held ones, and those given up with vacuum near its usual peak."""
    peak = data.cycles.floats("peak_vacuum_kpa")
    closed = data.cycles.where("outcome", "missed") & (peak > 0.7 * data.usual_peak_kpa)
    held = data.cycles.where("outcome", "held")
    length = data.cycles.floats("hold_end_s") - data.cycles.floats("hold_start_s")
    if np.isfinite(length[held]).sum() >= _HOLDS:  # a hold of next to no length is one that slow samples have cut short
        held &= ~(length < 0.2 * float(np.nanmedian(length[held])))
    return np.asarray(held | closed, np.bool_)


def cuts_unseen(data: StationData) -> bool:
    """Whether the supply is cut before the set point is reached: an air-saving loop whose thresholds no hold shows."""
    edges = data.edges
    off = edges.where("signal", "supply") & (edges.codes("value") == 0)
    owner, time = edges.codes("cycle")[off], edges.floats("time_s")[off]
    start, stop = data.cycles.floats("hold_start_s")[owner], data.timing["release_s"][owner]
    early = (time < np.where(np.isfinite(start), start, stop)) & closed_picks(data)[owner]
    early &= time < np.where(np.isfinite(stop), stop, np.inf) - _GAP_S
    return len(np.unique(owner[early])) > 0.1 * max(int(closed_picks(data).sum()), 1)


def open_levels(data: StationData) -> Floats:
    """Vacuum with the cup open: of the open-cup stretches, and the peaks of picks without a part [kPa]."""
    levels = data.cycles.floats("open_cup_vacuum_kpa")
    peak = data.cycles.floats("peak_vacuum_kpa")
    empty = data.cycles.where("outcome", "missed") & (peak < 0.5 * data.usual_peak_kpa)
    return np.concatenate([levels[np.isfinite(levels)], peak[empty]])


def _open_high(data: StationData) -> float:
    levels = open_levels(data)
    return high_bound(levels, 0.05) if len(levels) else float("nan")


def peaks(data: StationData) -> Floats:
    """Highest vacuum of each cycle; one that was cut in the hold reached supply_off, whatever the samples show."""
    peak = data.cycles.floats("peak_vacuum_kpa")
    setting = data.settings.get("supply_off")
    if setting is None or setting.value_kpa is None or not data.air_saving:
        return peak
    cut = data.cycles.codes("coasts") > 0
    return np.where(cut, np.fmax(peak, setting.value_kpa - setting.spread_kpa), peak)


def _reach_low(data: StationData, held: Bools, options: TuneOptions) -> float:
    """What the weakest healthy cycle reaches: seen where the supply stayed on, else extrapolated."""
    ultimate = data.timing.get("tends_to_kpa", data.cycles.floats("ultimate_vacuum_kpa"))
    peak = peaks(data)
    seen = held & (ultimate > peak - 2.0) & (data.cycles.codes("ultimate_extrapolated") == 0)
    if seen.sum() >= options.least_held:
        return low_bound(np.minimum(ultimate, peak)[seen], options.quantile)
    shown = held & np.isfinite(ultimate)
    if shown.sum() < options.least_held:
        return low_bound(peak[held], options.quantile)
    # an extrapolated level is believed half of the way beyond what was reached, and not far
    beyond = np.clip(ultimate - peak, 0.0, options.beyond_most_kpa)
    return low_bound((peak + 0.5 * beyond)[shown], options.quantile)


def _beyond(data: StationData, held: Bools, then: str, options: TuneOptions) -> float:
    """How far vacuum goes on beyond the threshold that starts a period of the kind `then` [kPa]."""
    periods, bins = data.periods, data.bins
    kind = periods.where("kind", then)
    owner = periods.codes("cycle")
    name = "supply_on" if then == "recharge" else "supply_off"
    setting = data.settings[name].value_kpa if name in data.settings else None
    if not kind.any() or setting is None or not len(bins.time_s):
        return float("nan")
    sign = -1.0 if then == "recharge" else 1.0
    extreme = np.full(len(periods), -np.inf)
    np.maximum.at(extreme, bins.period, -sign * bins.pressure_kpa)
    use = kind & np.isfinite(extreme) & held[owner]
    past = extreme[use] - sign * setting
    return max(high_bound(past, options.quantile), 0.0) if len(past) else float("nan")


def settled(data: StationData, held: Bools) -> Bools:
    """Bins in which a held cycle has reached its hold's usual vacuum: coasts, recharges, and steady supply late on."""
    bins, periods = data.bins, data.periods
    coast, recharge, steady = (periods.where("kind", kind) for kind in ("coast", "recharge", "steady"))
    tau = data.cycles.floats("pump_time_constant_s")
    wait = np.nan_to_num(4.0 * np.nanmedian(tau), nan=0.5) if np.isfinite(tau).any() else 0.5
    contact = np.nan_to_num(data.cycles.floats("contact_s"), nan=-np.inf)
    start_s, found = periods.floats("start_s"), np.zeros(len(bins.time_s), np.bool_)
    for some in whole_runs(bins.period):
        time, period, cycle = bins.time_s[some], bins.period[some], bins.cycle[some]
        since = time - start_s[period]
        reached = recharge[period] | (coast[period] & (since > _SETTLED_S))
        reached |= steady[period] & (since > wait) & (time > contact[cycle] + wait)
        found[some] = reached & held[cycle]
    return found


def floors(data: StationData, held: Bools) -> Floats:
    """Lowest settled vacuum of each held cycle that shows one [kPa]."""
    use = settled(data, held)
    lowest = np.full(len(data.cycles), np.inf)
    np.minimum.at(lowest, data.bins.cycle[use], -data.bins.pressure_kpa[use])
    return np.asarray(lowest[np.isfinite(lowest)])


def _floor(data: StationData, held: Bools, options: TuneOptions) -> float:
    lowest = floors(data, held)
    return low_bound(lowest, options.quantile) if len(lowest) else float("nan")


def _slope(data: StationData, held: Bools) -> float:
    coast = data.periods.where("kind", "coast") & held[data.periods.codes("cycle")]
    slopes = data.periods.floats("slope_kpa_s")[coast]
    slopes = slopes[np.isfinite(slopes)]
    return float(np.median(slopes)) if len(slopes) else float("nan")


def deepest_dip(data: StationData, held: Bools, options: TuneOptions) -> float:
    """Loss of vacuum within `dip_window_s` beyond the usual loss of the same period: the motion's doing [kPa]."""
    bins = data.bins
    use = np.flatnonzero(settled(data, held) & ~_kind(data, "recharge"))
    lost, owner = [np.zeros(0)], [np.zeros(0, np.int32)]
    for some in whole_runs(bins.period[use]):
        time, vacuum, period = bins.time_s[use[some]], -bins.pressure_kpa[use[some]], bins.period[use[some]]
        later = np.searchsorted(time, time + options.dip_window_s)
        known = (later < len(time)) | (some.stop == len(use))  # else in the next piece: another period
        later = np.minimum(later, len(time) - 1)
        same = known & (period[later] == period) & (later > np.arange(len(time)))
        lost.append((vacuum - vacuum[later])[same])
        owner.append(bins.cycle[use[some]][same])
    loss, cycle = np.concatenate(lost), np.concatenate(owner)
    if len(use) < 4 or not len(loss):
        return float("nan")
    most = np.full(len(data.cycles), -np.inf)
    np.maximum.at(most, cycle, loss - np.nanmedian(loss))
    found = most[np.isfinite(most)]
    return max(high_bound(found, options.quantile), 0.0)


def _kind(data: StationData, name: str) -> Bools:
    return np.asarray(data.periods.where("kind", name)[data.bins.period], np.bool_)
