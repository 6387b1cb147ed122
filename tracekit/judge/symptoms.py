"""Symptoms: what the station suffers from, never a repair target."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tracekit.judge.facts import Fact, middle, rows
from tracekit.judge.features import deepest_dip
from tracekit.judge.partial import stepped
from tracekit.judge.signs import logistic
from tracekit.model.cycle import StationData
from tracekit.model.finding import Evidence
from tracekit.options.judge import JudgeOptions

Bools = NDArray[np.bool_]

EXPLAINS: Mapping[str, tuple[str, ...]] = {
    "leak_steady": (
        "part_dropped", "part_missed", "supply_short_cycling", "supply_never_cuts", "seal_lost_partly",
        "switch_chatter",
    ),
    "leak_part_dependent": ("part_dropped", "part_missed", "supply_short_cycling", "supply_never_cuts"),
    "check_valve_leak": ("supply_short_cycling", "part_dropped"),
    "release_valve_leak": ("supply_short_cycling", "part_dropped"),
    "flow_restricted": ("part_dropped", "part_missed"),
    "exhaust_restricted": ("part_missed", "supply_never_cuts"),
    "supply_pressure_low": ("part_missed", "supply_never_cuts", "release_slow"),
    "supply_pressure_dips": ("part_missed", "part_dropped"),
    "supply_valve_slow": ("part_missed",),
    "release_weak": ("release_slow",),
    "collision_or_peel": ("part_dropped",),
    "motion_dips": ("part_dropped", "switch_chatter"),
    "part_not_presented": ("part_missed",),
    "set_point_too_high": ("part_missed", "switch_chatter"),
    "hysteresis_too_small": ("switch_chatter",),
    "supply_on_below_reset": ("switch_chatter", "part_dropped"),
    "supply_band_too_narrow": ("supply_short_cycling",),
    "supply_off_unreachable": ("supply_never_cuts",),
    "timeout_too_short": ("part_missed",),
    "sensor_stuck": ("part_missed",),
    "sensor_noisy": ("switch_chatter",),
    "supply_pulsation": ("switch_chatter",),
}  # fmt: skip


def _counted(code: str, flag: Bools, what: str) -> Fact | None:
    count, n = int(flag.sum()), len(flag)
    if not count:
        return None
    text = f"{count} of {n} cycles {what}"
    evidence = Evidence(measure="outcome", value=float(count), unit="cycles", cycles=count, text=text)
    return Fact(code=code, probability=0.99, evidence=(evidence,), cycles=rows(flag), reason=text)


def symptom_facts(data: StationData, options: JudgeOptions) -> tuple[Fact, ...]:
    """All symptoms that the cycles show."""
    if not len(data.cycles):
        return ()
    cycles = data.cycles
    held = cycles.where("outcome", "held")
    found = [
        _counted("part_dropped", cycles.where("outcome", "dropped"), "lost their part"),
        _counted("part_missed", cycles.where("outcome", "missed"), "never gripped"),
        _chatter(data, held),
        _short_cycling(data, held),
        _never_cuts(data, held),
        _partly(data, held, options),
        _release_slow(data, held, options),
    ]
    return tuple(f for f in found if f is not None)


def _release_slow(data: StationData, held: Bools, options: JudgeOptions) -> Fact | None:
    """Parts that leave late: the release takes long, or never gets near the idle level while it is commanded."""
    time = data.cycles.floats("release_time_s")
    given = held & np.isfinite(data.timing["release_s"])
    left = given & ~np.isfinite(time) & (data.cycles.floats("residual_vacuum_kpa") > 0.15 * data.usual_peak_kpa)
    late = given & ((time > options.slow_release_s) | left)
    share = float(late.sum() / max(given.sum(), 1))
    if late.sum() < 3 or share < 0.2:
        return None
    seen = time[late & np.isfinite(time)]
    text = f"{int(late.sum())} of {int(given.sum())} releases take long or leave vacuum in the cup"
    evidence = Evidence(
        measure="release_time_s", value=float(np.median(seen)) if len(seen) else float(late.sum()),
        unit="s" if len(seen) else "cycles", reference=options.slow_release_s, reference_source="common practice",
        cycles=int(late.sum()), text=text,
    )  # fmt: skip
    return Fact(
        code="release_slow",
        probability=0.97 * logistic((share - 0.35) / 0.05),
        evidence=(evidence,),
        cycles=rows(late),
        reason=text,
    )


def _chatter(data: StationData, held: Bools) -> Fact | None:
    edges = data.cycles.codes("chatter_edges")
    flag = (edges > 0) & held
    total = int(edges[flag].sum())
    if total < 4 or flag.sum() < 0.02 * max(held.sum(), 1):
        return None
    text = f"{total} output edges too many in {int(flag.sum())} of {int(held.sum())} holds"
    evidence = Evidence(measure="chatter_edges", value=float(total), unit="edges", cycles=int(flag.sum()), text=text)
    return Fact(code="switch_chatter", probability=0.98, evidence=(evidence,), cycles=rows(flag), reason=text)


def _short_cycling(data: StationData, held: Bools) -> Fact | None:
    length = data.cycles.floats("hold_end_s") - data.cycles.floats("hold_start_s")
    recharges = data.cycles.codes("supply_switches") / 2.0
    with np.errstate(invalid="ignore", divide="ignore"):
        period = np.where(held & (recharges >= 2), length / recharges, np.nan)
    fast = held & (period < 1.0)
    share = float(fast.sum() / max(held.sum(), 1))
    if not fast.any():
        return None
    text = f"the supply resumes every {middle(period):.2f} s in {int(fast.sum())} of {int(held.sum())} holds"
    evidence = Evidence(
        measure="supply_switches", value=middle(period), unit="s", reference=1.0,
        reference_source="common practice", cycles=int(fast.sum()), text=text,
    )  # fmt: skip
    return Fact(
        code="supply_short_cycling", probability=0.97 * logistic((share - 0.25) / 0.05), evidence=(evidence,),
        cycles=rows(fast), reason=text,
    )  # fmt: skip


def _never_cuts(data: StationData, held: Bools) -> Fact | None:
    cut = data.settings["supply_off"]
    if data.wiring.supply_on_level is None or (cut.value_kpa is None and cut.station_file_kpa is None):
        return None
    length = data.cycles.floats("hold_end_s") - data.cycles.floats("hold_start_s")
    long = held & (length > 0.3)
    never = long & (data.cycles.codes("coasts") == 0)
    share = float(never.sum() / max(long.sum(), 1))
    if share < 0.2 or never.sum() < 3:
        return None
    text = f"the supply stays on through {int(never.sum())} of {int(long.sum())} holds"
    evidence = Evidence(measure="coasts", value=0.0, unit="", cycles=int(never.sum()), text=text)
    return Fact(
        code="supply_never_cuts",
        probability=0.97 * logistic((share - 0.35) / 0.05),
        evidence=(evidence,),
        cycles=rows(never),
        reason=text,
    )


def _partly(data: StationData, held: Bools, options: JudgeOptions) -> Fact | None:
    """A partial loss that stays: vacuum falls by a step with the supply on, and the hold goes on at the lower level."""
    flag = np.zeros(len(held), np.bool_) if data.air_saving else stepped(data, held, options)
    if not flag.any():
        return None
    peak = data.cycles.floats("peak_vacuum_kpa")
    last = np.interp(data.timing["quit_s"] - 0.05, data.bins.time_s, -data.bins.pressure_kpa)
    # what comes back in other holds is met by the end of some: a lost cup stays lost
    back = held & ~flag & (deepest_dip(data) > 0.5 * middle((peak - last)[flag]))
    undone = float(back.sum() / (back.sum() + flag.sum()))
    text = f"vacuum falls by a step and stays low in {int(flag.sum())} holds"
    evidence = Evidence(
        measure="hold_min_vacuum_kpa", value=middle(last[flag]), unit="kPa",
        reference=middle(peak[flag]), reference_source="peak of the same holds", cycles=int(flag.sum()),
        text=text,
    )  # fmt: skip
    probability = 0.85 * logistic((0.3 - undone) / 0.04)
    return Fact(code="seal_lost_partly", probability=probability, evidence=(evidence,), cycles=rows(flag), reason=text)
