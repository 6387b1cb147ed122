"""Settings that are wrong in themselves: order, reach, hysteresis, band, time-out, overlap.

Each rule gives a probability from how far a condition holds against its uncertainty. All thresholds that are rules of
thumb are common practice, no source, and stand in `options.judge`.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.facts import Fact, known, middle, rows
from tracekit.judge.given_up import WEAK_SUCTION, still_rising, timeout_fact
from tracekit.judge.reach import margin_kpa
from tracekit.judge.signs import logistic
from tracekit.model.cycle import StationData
from tracekit.model.finding import Evidence
from tracekit.model.station import Station
from tracekit.options.judge import JudgeOptions

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_RAISED_LEAST = 4
"""Held picks that tell where the output came on before."""


def setting_facts(data: StationData, station: Station, now: Bools, options: JudgeOptions) -> tuple[Fact, ...]:
    """All setting rules on the cycles `now`, shape (n_cycles,)."""
    if not len(data.cycles):
        return ()
    found = (
        _set_point_over_cut(data) or _set_point_too_high(data, now, options),
        _set_point_too_low(data, options),
        _hysteresis(data),
        _order_broken(data),
        _band(data, now, options),
        _unreachable(data, station, now),
        timeout_fact(data, now, options),
        _overlap(data, now, options),
    )
    return tuple(f for f in found if f is not None)


def _value(data: StationData, name: str) -> float:
    found = data.settings[name].value_kpa
    return float("nan") if found is None else found


def _held(data: StationData) -> Bools:
    return data.cycles.where("outcome", "held")


def _closed_misses(data: StationData) -> Bools:
    """Picks given up although the cup had closed on the part: vacuum near its usual peak, no set point reached."""
    missed = data.cycles.where("outcome", "missed")
    return np.asarray(missed & (data.cycles.floats("peak_vacuum_kpa") > 0.7 * data.usual_peak_kpa), np.bool_)


_USUAL_SHARE = {"set_point_too_high": 0.74, "supply_off_unreachable": 0.80, "timeout_too_short": 0.74}
"""Share of ambient pressure over which a setting is more probably wrong than the generator weak (common practice)."""


def weak_suction(fact: Fact, data: StationData) -> float:
    """Probability that the generator reaches less than it should, from how deep the setting stands against ambient.

    Sound generators reach 70 to 90 % of ambient, and settings stand under 0.85 of that (common practice, no source):
    one that stands deeper is wrong in itself, one that does not was probably within reach once.
    """
    level = fact.evidence[0].reference if fact.evidence else None
    if level is None or not np.isfinite(level):
        return 0.5
    return logistic((_USUAL_SHARE.get(fact.code, 0.74) - level / data.ambient_kpa) / 0.04)


def without_reference(fact: Fact, data: StationData) -> Fact:
    """Without a reference a setting out of reach and a generator grown weak look alike: name both."""
    if not set(fact.explained_by) & {"exhaust_restricted", "supply_pressure_low"} or fact.probability < 0.3:
        return fact
    weak = weak_suction(fact, data)
    if weak < 0.33:
        return fact
    instead = 0.4 * weak * fact.probability
    return replace(
        fact, probability=fact.probability - instead, alternatives=("exhaust_restricted", "supply_pressure_low"),
        instead=instead,
    )  # fmt: skip


def _set_point_over_cut(data: StationData) -> Fact | None:
    """A set point at or above supply_off: the supply is cut before the part counts as gripped."""
    gap = _value(data, "set_point") - _value(data, "supply_off")
    if not np.isfinite(gap) or data.settings["set_point"].spread_kpa + data.settings["supply_off"].spread_kpa > 2.0:
        return None
    if gap < -0.05 or _cut_by_giving_up(data):
        return None
    evidence = Evidence(
        measure="set_point_kpa", value=_value(data, "set_point"), unit="kPa", reference=_value(data, "supply_off"),
        reference_source="supply_off", text=f"the set point stands {gap:.1f} kPa over supply_off",
    )  # fmt: skip
    missed = data.cycles.where("outcome", "missed")
    return Fact(
        code="set_point_too_high", probability=0.97, evidence=(evidence,), cycles=rows(missed), critical=True,
        reason="the set point stands over supply_off",
    )  # fmt: skip


def _cut_by_giving_up(data: StationData) -> bool:
    """Whether the only cuts are those of picks given up: the supply came on again in none of them.

    A supply that is cut by air saving comes on again when vacuum has fallen to supply_on. A cut that is no pressure's
    comes at rest, or elsewhere than the station file says.
    """
    if bool((data.cycles.codes("supply_switches") > 1).any()):
        return False
    written = data.settings["supply_off"].station_file_kpa
    if written is not None and written > _value(data, "set_point"):
        return True
    return not _held(data).any() and not bool(still_rising(data).any())


def _set_point_too_high(data: StationData, now: Bools, options: JudgeOptions) -> Fact | None:
    misses = _closed_misses(data) & ~still_rising(data)
    peak = data.cycles.floats("peak_vacuum_kpa")
    set_point = np.where(
        np.isfinite(data.cycle_settings["set_point"]), data.cycle_settings["set_point"], _value(data, "set_point")
    )
    count = int((misses & now).sum()) or int(misses.sum())
    if count >= 2 and count > 0.02 * len(peak):
        level = float(np.median(peak[misses]))
        evidence = Evidence(
            measure="peak_vacuum_kpa", value=level, unit="kPa", reference=known(middle(set_point)),
            reference_source="set point", cycles=count,
            text=f"{count} picks were given up with {level:.1f} kPa in the cup",
        )  # fmt: skip
        if _raised(data, misses, options):  # no weak generator does that
            return Fact(
                code="set_point_too_high", probability=0.97, evidence=(evidence,), cycles=rows(misses),
                reason="picks are given up with more vacuum than counted as gripped before",
            )  # fmt: skip
        return Fact(
            code="set_point_too_high", probability=0.3 if _odd_picks(data, misses, set_point, options) else 0.97,
            evidence=(evidence,), cycles=rows(misses), explained_by=WEAK_SUCTION,
            reason="picks are given up although the cup has closed",
        )  # fmt: skip
    held = _held(data) & now & np.isfinite(set_point)
    if held.sum() < 4:
        return None
    if data.air_saving:
        return _set_point_near_the_end(data, held, set_point, options)
    ultimate = data.cycles.floats("ultimate_vacuum_kpa")
    seen = held & np.isfinite(ultimate) & (data.cycles.codes("ultimate_extrapolated") == 0)
    reach = ultimate if seen.sum() >= 4 else data.cycles.floats("hold_vacuum_kpa")
    margin = float(np.nanquantile((reach - set_point)[held], 0.1))
    evidence = Evidence(
        measure="ultimate_vacuum_kpa", value=float(np.nanquantile(reach[held], 0.1)), unit="kPa",
        reference=middle(set_point[held]), reference_source="set point", cycles=int(held.sum()),
        text=f"the weakest cycles reach only {margin:.1f} kPa more than the set point",
    )  # fmt: skip
    return _small_margin(margin, evidence, held, f"margin above the set point is {margin:.1f} kPa", options)


def _raised(data: StationData, misses: Bools, options: JudgeOptions) -> bool:
    """Whether picks are given up well above what the output came on at in the log's held picks: it was set higher."""
    at_kpa = data.cycle_settings["set_point"][_held(data)]
    at_kpa = at_kpa[np.isfinite(at_kpa)]
    if len(at_kpa) < _RAISED_LEAST:
        return False
    reached = float(np.quantile(data.cycles.floats("peak_vacuum_kpa")[misses], 0.2))
    return reached > float(np.quantile(at_kpa, 0.9)) + options.raised_kpa


def _small_margin(margin: float, evidence: Evidence, held: Bools, reason: str, options: JudgeOptions) -> Fact:
    """A set point that vacuum passes by so little in held cycles [kPa]."""
    return Fact(
        code="set_point_too_high", probability=0.97 * logistic((options.margin_kpa - margin) / 0.4),
        evidence=(evidence,), cycles=rows(held), explained_by=WEAK_SUCTION, reason=reason,
    )  # fmt: skip


def _set_point_near_the_end(data: StationData, held: Bools, set_point: Floats, options: JudgeOptions) -> Fact | None:
    """Where the supply is cut before vacuum has come to rest: the rise slows down before the set point already."""
    margin = margin_kpa(data, set_point, held)
    if not np.isfinite(margin):
        return None
    evidence = Evidence(
        measure="evacuation_time_s", value=middle(data.cycles.floats("evacuation_time_s")[held]), unit="s",
        cycles=int(held.sum()), text=f"vacuum creeps to the set point and would rest only {margin:.1f} kPa over it",
    )  # fmt: skip
    reason = f"vacuum would come to rest {margin:.1f} kPa over the set point"
    return _small_margin(margin, evidence, held, reason, options)


def _odd_picks(data: StationData, misses: Bools, set_point: Floats, options: JudgeOptions) -> bool:
    """A few picks miss a set point that all the others pass with a margin: those parts sat badly."""
    held = _held(data) & np.isfinite(set_point)
    if misses.sum() > 0.15 * len(misses) or held.sum() < 10:
        return False
    over = (data.cycles.floats("peak_vacuum_kpa") - set_point)[held]
    return float(np.nanquantile(over, 0.05)) > options.margin_kpa


def _set_point_too_low(data: StationData, options: JudgeOptions) -> Fact | None:
    set_point = _value(data, "set_point")
    missed = data.cycles.where("outcome", "missed")
    fooled = missed & (data.timing["has_output_on"] > 0)
    open_level = data.cycles.floats("open_cup_vacuum_kpa")
    idle = np.nan_to_num(data.cycles.floats("idle_vacuum_kpa"))
    level = float(np.nanquantile(open_level, 0.75)) if np.isfinite(open_level).sum() >= 3 else float("nan")
    count = int(fooled.sum())
    probability = {0: 0.0, 1: 0.85}.get(count, 0.98)
    if np.isfinite(level) and np.isfinite(set_point):
        least = level + max(2.0 * data.sensor.noise_kpa, options.low_margin_kpa)
        probability = max(probability, 0.95 * logistic((least - set_point) / 0.5))
    if not np.isfinite(set_point):
        return None
    share = set_point / max(data.usual_peak_kpa, 20.0)
    shallow = 0.95 * logistic((options.low_share - share) / 0.03)
    if shallow > probability:
        return _far_below_the_hold(set_point, share, shallow, data)
    text = f"the output came on in {count} empty picks" if count else f"an empty cup reaches {level:.1f} kPa"
    evidence = Evidence(
        measure="open_cup_vacuum_kpa", value=level if np.isfinite(level) else middle(idle), unit="kPa",
        reference=set_point, reference_source="set point", cycles=count or None, text=text,
    )  # fmt: skip
    return Fact(
        code="set_point_too_low", probability=probability, evidence=(evidence,), cycles=rows(fooled),
        explained_by=("flow_restricted",), reason=text,
    )  # fmt: skip


def _far_below_the_hold(set_point: float, share: float, probability: float, data: StationData) -> Fact:
    """A set point that a part hardly held passes as well as one held firmly."""
    text = f"the set point stands at {100.0 * share:.0f} % of what a held part reaches"
    evidence = Evidence(
        measure="set_point_kpa", value=set_point, unit="kPa", reference=data.usual_peak_kpa,
        reference_source="usual peak", text=text,
    )  # fmt: skip
    return Fact(code="set_point_too_low", probability=probability, evidence=(evidence,), cycles=(), reason=text)


def chatter_cycles(data: StationData) -> Bools:
    """Held cycles with more output edges than the one on and one off that belong there."""
    return np.asarray((data.cycles.codes("chatter_edges") > 0) & _held(data), np.bool_)


def order_gap(data: StationData) -> float:
    """supply_on minus reset point [kPa], NaN where either is unknown or the reset point is known badly."""
    reset = data.settings["reset_point"]
    if reset.value_kpa is None or reset.spread_kpa > 3.0:
        return float("nan")
    return _value(data, "supply_on") - reset.value_kpa


def _hysteresis(data: StationData) -> Fact | None:
    chatter = chatter_cycles(data)
    held = _held(data)
    if not held.any() or not chatter.any():
        return None
    share = float(chatter.sum() / held.sum())
    edges = int(data.cycles.codes("chatter_edges")[chatter].sum())
    broken = data.air_saving and order_gap(data) < 0.3
    low = middle(data.cycle_settings["reset_point"][chatter])
    hysteresis = middle(data.cycle_settings["set_point"][chatter]) - low
    probability = logistic((edges - 3.0) / 1.2) * logistic((share - 0.03) / 0.008)
    if broken:
        probability *= 0.2
    deep = middle((data.cycles.floats("hold_vacuum_kpa") - data.cycles.floats("hold_min_vacuum_kpa"))[chatter])
    if np.isfinite(hysteresis) and hysteresis > max(3.0, 8.0 * data.sensor.noise_kpa) and deep > hysteresis:
        probability *= 0.35  # the vacuum itself moves by more than the hysteresis: not a matter of noise
    evidence = Evidence(
        measure="chatter_edges", value=edges / max(int(held.sum()), 1), unit="per hold", cycles=int(chatter.sum()),
        reference=known(hysteresis), reference_source="hysteresis in force, kPa",
        text=f"{edges} output edges too many in {int(chatter.sum())} of {int(held.sum())} holds",
    )  # fmt: skip
    return Fact(
        code="hysteresis_too_small", probability=min(probability, 0.98), evidence=(evidence,), cycles=rows(chatter),
        explained_by=("motion_dips", "supply_pulsation", "leak_steady", "sensor_noisy"),
        reason=f"the output toggles in {int(chatter.sum())} of {int(held.sum())} holds",
    )  # fmt: skip


def _standing(gap: float) -> str:
    """Where the supply resumes, in words; `gap` over the reset point [kPa]."""
    if abs(gap) < 0.05:
        return "supply resumes at the reset point"
    return f"supply resumes {abs(gap):.1f} kPa {'below' if gap < 0 else 'above'} the reset point"


def _order_broken(data: StationData) -> Fact | None:
    gap = order_gap(data)
    written = all(data.settings[name].station_file_kpa is not None for name in ("supply_on", "reset_point"))
    if not (data.air_saving or written) or not np.isfinite(gap):
        return None
    chatter = chatter_cycles(data)
    recharged = data.cycles.codes("supply_switches") >= 2
    seen = bool((chatter & recharged).any())
    probability = 0.98 * logistic((0.25 - gap) / 0.12) if seen else 0.8 * logistic((0.0 - gap) / 0.3)
    evidence = Evidence(
        measure="supply_on_kpa", value=_value(data, "supply_on"), unit="kPa", reference=_value(data, "reset_point"),
        reference_source="reset point", cycles=int(chatter.sum()), text=_standing(gap),
    )  # fmt: skip
    return Fact(
        code="supply_on_below_reset", probability=probability, evidence=(evidence,), cycles=rows(chatter),
        critical=True, reason=_standing(gap),
    )  # fmt: skip


def _band(data: StationData, now: Bools, options: JudgeOptions) -> Fact | None:
    band = _value(data, "supply_off") - _value(data, "supply_on")
    held = _held(data) & now
    if not data.air_saving or not np.isfinite(band) or not held.any():
        return None
    recharges = float(np.median(data.cycles.codes("supply_switches")[held])) / 2.0
    refills = {0: "no refill", 1: "1 refill"}.get(int(recharges), f"{int(recharges)} refills")
    probability = 0.97 * logistic((0.8 * options.band_kpa - band) / 0.25) * logistic((recharges - 0.9) / 0.2)
    evidence = Evidence(
        measure="supply_switches", value=2.0 * recharges, unit="per hold", reference=band, reference_source="band, kPa",
        cycles=int(held.sum()), text=f"the supply resumes {band:.1f} kPa under its cut",
    )  # fmt: skip
    return Fact(
        code="supply_band_too_narrow", probability=probability, evidence=(evidence,), cycles=rows(held),
        reason=f"the band is {band:.1f} kPa and a usual hold has {refills}",
    )  # fmt: skip


def _unreachable(data: StationData, station: Station, now: Bools) -> Fact | None:
    cut = _value(data, "supply_off")
    wanted = station.settings.supply_off_kpa
    if data.wiring.supply_on_level is None or (not np.isfinite(cut) and wanted is None):
        return None
    level = cut if np.isfinite(cut) else float(wanted or 0.0)
    held = _held(data) & now
    cycles = data.cycles
    length = cycles.floats("hold_end_s") - cycles.floats("hold_start_s")
    long = held & (length > 0.3)
    if long.sum() < 4:
        return None
    never = long & (cycles.codes("coasts") == 0) & (cycles.floats("peak_vacuum_kpa") < level)
    uncut, near = _hardly_cut(data, level)
    earlier = _held(data) & ~now
    # cut before and never since: it was set out of reach, wherever it stood then
    moved = earlier.sum() >= 4 and np.mean(uncut[earlier]) < 0.2
    never |= long & uncut & (near | moved)
    share = float(never.sum() / long.sum())
    peak = middle(cycles.floats("peak_vacuum_kpa")[never]) if never.any() else float("nan")
    evidence = Evidence(
        measure="peak_vacuum_kpa", value=peak if np.isfinite(peak) else level, unit="kPa", reference=level,
        reference_source="supply_off", cycles=int(never.sum()),
        text=f"in {int(never.sum())} of {int(long.sum())} holds vacuum stays under supply_off or hardly touches it",
    )  # fmt: skip
    return Fact(
        code="supply_off_unreachable", probability=0.97 * logistic((share - 0.5) / 0.06), evidence=(evidence,),
        cycles=rows(never), explained_by=WEAK_SUCTION,
        reason=f"vacuum reaches supply_off in {int((long & ~never).sum())} of {int(long.sum())} holds",
    )  # fmt: skip


def _hardly_cut(data: StationData, level: float) -> tuple[Bools, Bools]:
    """Holds whose supply is cut in their second half or never; those of them that noise alone may lift to the level.

    Where it is cut in the second half, vacuum had ceased to rise before: it was not on its way there.
    """
    n = len(data.cycles)
    kind, cycle = data.periods.codes("kind"), data.periods.codes("cycle")
    coasts = kind == data.periods.categories["kind"].index("coast")
    first = np.full(n, np.inf)
    np.fmin.at(first, cycle[coasts], data.periods.floats("start_s")[coasts])
    start, end = data.cycles.floats("hold_start_s"), data.cycles.floats("hold_end_s")
    by_noise = max(4.0 * data.sensor.noise_kpa, data.sensor.quantisation_kpa)
    with np.errstate(invalid="ignore"):
        late = first - start > 0.5 * (end - start)
        settled = data.cycles.codes("ultimate_extrapolated") == 0
        uncut = np.asarray(late & (settled | np.isinf(first)), np.bool_)
        return uncut, np.asarray(uncut & (data.cycles.floats("peak_vacuum_kpa") < level + by_noise), np.bool_)


def _overlap(data: StationData, now: Bools, options: JudgeOptions) -> Fact | None:
    overlap = data.timing["overlap_s"]
    least = max(options.overlap_s, 1.6 * data.sensor.sample_interval_s)
    flag = now & (overlap > least)
    share = float(flag.sum() / max(now.sum(), 1))
    if share < 0.1:
        return None
    evidence = Evidence(
        measure="overlap_s", value=float(np.median(overlap[flag])), unit="s", reference=options.overlap_s,
        reference_source="common practice", cycles=int(flag.sum()), text="supply and release are on together",
    )  # fmt: skip
    return Fact(
        code="valves_overlap", probability=0.95 * logistic((share - 0.3) / 0.06), evidence=(evidence,),
        cycles=rows(flag), reason="supply and release are commanded on together",
    )  # fmt: skip
