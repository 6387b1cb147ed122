"""What to record so that a stated change will show: cycles, sampling, looks."""

import math
from collections.abc import Sequence
from dataclasses import replace

from tracekit.compare.judging import Question, prepared_values, scatter_of, value_fit
from tracekit.compare.matching import PartMix, part_mix
from tracekit.compare.measures import MEASURES, RATES, Measure, measure_named
from tracekit.compare.needed import Scatter, cycles_for
from tracekit.compare.plan_check import plan_hash
from tracekit.compare.plan_share import PlanQuestion, plan_share, rounded
from tracekit.compare.sequential import bounds_at, chance_of_crossing, drift_for, information_of
from tracekit.compare.typical import TYPICAL
from tracekit.compare.verdicts import looks_text, rule_text
from tracekit.errors import NotEnoughData, UsageError, message, nearest
from tracekit.frozen import dataclass
from tracekit.model.comparison import Look, Plan, Recordings
from tracekit.model.estimate import Withheld
from tracekit.options.compare import CompareOptions, PlanOptions, SerialOptions

_Z = 1.959964
_MEDIAN_OVER_MEAN = 1.2533
_LEAST_SCATTER = 0.05
_NICE_INTERVALS_S = (0.0005, 0.001, 0.002, 0.005)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ground:
    """Level and scatter that a plan stands on."""

    level: float
    scatter: Scatter
    basis: str
    mix: PartMix
    interval_s: float | None = None
    pilot_ids: tuple[str, ...] = ()


def plan_for(
    asked: PlanQuestion, pilot: Recordings, options: CompareOptions, plan_options: PlanOptions,
    serial: SerialOptions, frozen_at: str = "",
) -> Plan:  # fmt: skip
    """How to record so that the change shows with the power asked for.

    Raises UsageError for an unknown measure or a change of nothing, NotEnoughData where no number of cycles is enough.
    """
    asked = replace(asked, power=asked.power or plan_options.power)
    if asked.measure in RATES:
        return plan_share(asked, pilot, options, plan_options, frozen_at)
    measure = measure_named(asked.measure)
    if measure is None:
        known = [*(m.column for m in MEASURES), *RATES]
        todo = nearest(asked.measure, known)
        raise UsageError(message("plan", f'measure "{asked.measure}"', "a measure that can be compared", todo))
    ground = _ground(measure, pilot, options, serial)
    change = abs(asked.change) * (abs(ground.level) if asked.relative else 1.0)
    if not change > 0.0:
        raise UsageError(message("plan", "a change of nothing", "the smallest change that matters", "Give --change."))
    cycles, looks = _cycles(change, ground, asked, options, plan_options)
    interval = _sample_interval(measure, ground.level, change, plan_options)
    usual = max(options.margin_share * abs(ground.level), _least(measure, interval, options))
    margin = usual if asked.margin is None else asked.margin
    return _finished(asked, measure, ground, (change, margin, interval), cycles, looks, options, frozen_at)


def _finished(
    asked: PlanQuestion, measure: Measure, ground: _Ground, figures: tuple[float, float, float], cycles: int,
    looks: tuple[Look, ...], options: CompareOptions, frozen_at: str,
) -> Plan:  # fmt: skip
    """The plan with its rule and hash."""
    change, margin, interval = figures
    plan = Plan(
        measure=measure.column,
        unit=measure.unit,
        better=measure.better,
        change=rounded(change),
        margin=rounded(margin),
        power=asked.power or 0.0,
        cycles=cycles,
        sample_interval_s=interval,
        looks=looks,
        rule=rule_text(measure.column, options, looks_text(looks)),
        basis=ground.basis,
        sha256="",
        frozen_at=frozen_at,
        parts=_parts(ground.mix, cycles),
        pilot_log_ids=ground.pilot_ids,
        warnings=tuple(_warnings(ground, interval)),
    )
    return replace(plan, sha256=plan_hash(plan))


def _ground(
    measure: Measure, pilot: Recordings, options: CompareOptions, serial: SerialOptions
) -> _Ground:
    """Level and scatter from the pilot, else from typical figures."""
    if not pilot:
        usual = TYPICAL[measure.column]
        deviation = _MEDIAN_OVER_MEAN * usual.scatter * usual.level
        common = 2.0 * (options.day_share * usual.level) ** 2
        if measure.leak or measure.depth:
            power = options.flow_exponent if measure.leak else 1.0
            common += 2.0 * (power * options.weather_kpa / 100.0 * usual.level) ** 2
        scatter = Scatter(per_cycle=2.0 * deviation**2 / usual.worth, common=common, widening=options.widening)
        return _Ground(level=usual.level, scatter=scatter, basis="typical figures", mix=PartMix())
    mix = part_mix(pilot, pilot, (), options)
    question = Question(before=pilot, after=pilot, mix=mix, options=options, serial=serial)
    sides, _ = prepared_values(measure, question)
    if len(sides[0]) < options.fewest_cycles:
        found = f"{len(sides[0])} values of {measure.column}"
        raise NotEnoughData(message("pilot log", found, f"at least {options.fewest_cycles}", "Record a longer one."))
    fit = value_fit(sides[0], question)
    names = ", ".join(r.facts.source for r in pilot)
    return _Ground(
        level=fit.median,
        scatter=scatter_of(fit, fit, options),
        basis=f"pilot log {names}, {len(sides[0])} cycles worth {fit.serial.effective:.0f} independent ones",
        mix=mix,
        interval_s=max(r.sensor.sample_interval_s for r in pilot),
        pilot_ids=tuple(r.facts.log_id for r in pilot),
    )


def _cycles(
    change: float, ground: _Ground, asked: PlanQuestion, options: CompareOptions, plan_options: PlanOptions
) -> tuple[int, tuple[Look, ...]]:
    """Cycles per side and the looks on the way, for the power asked for."""
    shares = [(k + 1.0) / asked.looks for k in range(asked.looks)]
    information = information_of(shares)
    cycles = plan_options.fewest_cycles
    for _ in range(2):  # the common part changes the information at the looks, once the cycles are known
        limits = bounds_at(information, options.one_sided)
        drift = drift_for(information, limits, asked.power or plan_options.power)
        drift += limits[-1] * (ground.scatter.widening - 1.0)
        cycles = max(_enough(change, drift, ground.scatter, options), plan_options.fewest_cycles)
        information = _information(shares, ground.scatter, cycles)
    limits = bounds_at(information, options.one_sided)
    looks = tuple(
        Look(cycles=math.ceil(f * cycles), bound=round(z, 4)) for f, z in zip(shares, limits, strict=True)
    )
    return cycles, looks


def _enough(change: float, drift: float, scatter: Scatter, options: CompareOptions) -> int:
    """Fewest cycles per side with which the change is `drift` standard deviations large.

    Raises NotEnoughData where none are enough.
    """
    cycles = cycles_for(lambda n: change / drift / scatter.deviation(n), 1.0, options.most_cycles)
    if isinstance(cycles, Withheld):
        least = f"more than {drift * scatter.deviation(options.most_cycles):.3g}"
        todo = f"{cycles.reason[:1].upper()}{cycles.reason[1:]}."
        raise NotEnoughData(message("plan", f"a change of {change:.3g}", least, todo))
    return cycles


def _information(shares: Sequence[float], scatter: Scatter, cycles: int) -> tuple[float, ...]:
    """Information at the looks over that at the end, common errors included.

    Where these all but decide alone, some scatter is assumed, so that looks stay apart; the bounds are then stricter.
    """
    by_cycles = max(scatter.per_cycle / cycles, _LEAST_SCATTER * scatter.common, 1e-300)
    last = by_cycles + scatter.common
    return tuple(last / (by_cycles * (1.0 + 1.0 / f) / 2.0 + scatter.common) for f in shares)


def _sample_interval(measure: Measure, level: float, change: float, options: PlanOptions) -> float:
    """Slowest usual sampling at which the measure is not blurred [s]."""
    needed = options.slowest_s
    if measure.resolution == "time":
        needed = min(needed, change / options.margin_samples, abs(level) / options.samples_per_event)
    if measure.column == "chatter_edges":
        needed = min(needed, 0.001)
    fitting = [s for s in _NICE_INTERVALS_S if s <= needed * (1.0 + 1e-9)]
    return fitting[-1] if fitting else _NICE_INTERVALS_S[0]


def _least(measure: Measure, interval_s: float, options: CompareOptions) -> float:
    """Smallest margin by the measure's resolution, as far as it is known before recording."""
    return {"rate": options.margin_rate_kpa_s, "count": 1.0, "time": interval_s}.get(measure.resolution, 0.0)


def _parts(mix: PartMix, cycles: int) -> tuple[tuple[str, int], ...]:
    if not mix.columns:
        return ()
    common = {part: before for part, before, _ in mix.shares if part in mix.common}
    total = sum(common.values())
    return tuple((part, math.ceil(cycles * share / total)) for part, share in common.items())


def _warnings(ground: _Ground, interval_s: float) -> list[str]:
    found = []
    if ground.interval_s is not None and ground.interval_s > 1.5 * interval_s:
        text = f"The pilot was sampled every {1e3 * ground.interval_s:.3g} ms; {1e3 * interval_s:.3g} ms is needed."
        found.append(text)
    if ground.scatter.common > 0.5 * ground.scatter.deviation(200.0) ** 2:
        found.append("What all cycles of a log share decides more than the cycles do: spread the logs over days.")
    if not ground.pilot_ids:
        found.append("Typical figures, not this station's: a pilot log of 60 cycles makes the plan its own.")
    return found


def chance_to_show(plan: Plan, deviation: float) -> float:
    """Chance that the plan's looks show its change when the final standard deviation is `deviation`."""
    shares = [look.cycles / plan.cycles for look in plan.looks]
    limits = [look.bound for look in plan.looks]
    return chance_of_crossing(information_of(shares), limits, plan.change / deviation)
