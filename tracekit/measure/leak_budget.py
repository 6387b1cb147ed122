"""From rates under many models to values with intervals: per cycle, per set of cycles, with a written budget.

Common to all cycles, and not divided by their number: sensor gain, zero and ambient, thermal model (wall exchange,
amplitude of the gas's history), mechanism, one volume for many, quantisation. Individual: noise.
"""

from collections.abc import Iterator

import numpy as np

from tracekit.frozen import dataclass
from tracekit.measure import leak_forms
from tracekit.measure.leak_bins import Bools, Floats, Ints
from tracekit.measure.leak_mixture import guarded_ends, positive_quantiles, share_negative
from tracekit.measure.leak_rating import Rates
from tracekit.model.estimate import Estimate
from tracekit.model.result import BudgetLine
from tracekit.options.leak import LeakOptions

ENDS = (0.025, 0.975)
PATH = np.unique(leak_forms.NAMES, return_inverse=True)[1]
"""Number of the path of every form: holes are one, whatever their critical ratio."""
MEDIAN_VARIANCE = np.pi / 2.0
MODELS_TOGETHER = 4
"""Models whose rates of all cycles are held at once: there are dozens of models."""
STEP_SHARE = 1.5
LEAST_WEIGHT = 1e-3
"""Models that are less probable are left out of a mixture."""
MIXED = 3
"""So many of a budget's lines are in the mixture of models; the others widen each of its components."""
METHOD = "isothermal decay, gas-wall heat exchange modelled, forms weighted by probability"


@dataclass(frozen=True, slots=True, kw_only=True)
class Models:
    """Weights of the models per group and what they assume; models are (node, share, form) triples in C order,
    where the share is that by which the volume gives way to vacuum.

    weight        (n_groups, n_models), adding up to one per group
    amplitude, amplitude_sd   (n_groups, n_models) α − 1 and its standard deviation
    strain        (n_groups,) by how many prior standard deviations beyond the first α is off what is expected, and by
                  how much the mean coast's residual exceeds what noise allows, over that
    narrow        share of the coasts' time in later coasts of a hold that hardly rise
    inflation     of the variance by noise
    misfit        of the mean coast: its mean square over what noise allows, at least 1
    unmodelled    what vacuum that all coasts lose at one place beyond the model has put into a rate [kPa/s]
    common_kpa    standard uncertainty of ambient and zero together [kPa]
    motion_kpa    standard uncertainty of the vacuum that motion costs in a coast [kPa]
    windows_u     of a rate by the choice of the motion windows [kPa/s]
    volume_u      relative standard uncertainty of the model itself, more for slow logs and deep coasts
    reach_kpa     half of what a coast rises by, about its mean vacuum [kPa]
    step_kpa      what is left of the recorder's steps after averaging, by each cycle's own noise, (n_cycles,) [kPa]
    quantisation_kpa   these steps [kPa]
    """

    weight: Floats
    amplitude: Floats
    amplitude_sd: Floats
    strain: Floats
    narrow: float
    inflation: float
    misfit: float
    unmodelled: float
    common_kpa: float
    motion_kpa: float
    windows_u: float
    volume_u: float
    reach_kpa: float
    step_kpa: Floats
    quantisation_kpa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleRates:
    """Value and interval of every cycle and the group it belongs to, shape (n_cycles,)."""

    value: Floats
    lower: Floats
    upper: Floats
    group: Ints


def cycle_rates(rates: Rates, group: Ints, models: Models, options: LeakOptions) -> CycleRates:
    """Mixture over models of each cycle's rate, widened by everything that is not in the models."""
    value, lower, upper = (np.full(len(group), np.nan) for _ in range(3))
    for number in range(len(models.weight)):
        here = np.flatnonzero(group == number)
        if not len(here):
            continue
        used, weight = _used(models, number)
        rate = _rates_of(rates, models, number, used, here, options)
        sd = _cycle_sd(rates, here, number, models, (used, weight, rate), options)
        box = (rate, sd, weight[:, None])
        lower[here], upper[here] = guarded_ends(*box, _paths(used), ENDS)
        (value[here],) = positive_quantiles(*box, (0.5,))
        # most leaks are nearer to nothing than a wide interval can tell: its end is nothing unless that is ruled out
        lower[here[share_negative(*box) > ENDS[0]]] = 0.0
    return CycleRates(value=value, lower=lower, upper=upper, group=group)


def _used(models: Models, number: int) -> tuple[Ints, Floats]:
    """Models that a group's mixture is made of, and their weights, adding up to one."""
    weight = models.weight[number]
    used = np.flatnonzero(weight > LEAST_WEIGHT)
    return used, np.asarray(weight[used] / weight[used].sum())


def _paths(used: Ints) -> Ints:
    """Number of the path of each of some models."""
    return np.asarray(PATH[leak_forms.parted(used)[2]])


def _rates_of(
    rates: Rates, models: Models, number: int, used: Ints, here: Ints, options: LeakOptions
) -> Floats:  # fmt: skip
    """Rates of some cycles at the reference under some models at a group's amplitudes, shape (n_used, n_here)."""
    at = np.ix_(leak_forms.row_of(used), here)
    rate = rates.slope[at]
    rate *= models.amplitude[number][used, None]
    rate += rates.rate[at]
    rate *= leak_forms.carried(used, rates.vacuum[here] - options.ref_vacuum_kpa)
    return rate


def _cycle_sd(
    rates: Rates, here: Ints, number: int, models: Models, mixture: tuple[Ints, Floats, Floats], options: LeakOptions
) -> Floats:
    """Standard deviation of one model's rate in each cycle of a group; mixture: models, weights, rates of `here`."""
    used, weight, rate = mixture
    mean = weight @ rate
    slope = np.abs(rates.slope[np.ix_(leak_forms.row_of(used), here)])
    amplitude = (weight * models.amplitude_sd[number][used]) @ slope
    noise = rates.noise[here] * np.sqrt(models.inflation * np.maximum(rates.misfit[here], 1.0))
    seen = Seen(line=rates.line[here], span=rates.span[here], vacuum=rates.vacuum[here])
    common = [size for _, size in _common(mean, seen, number, models, options)]
    common.append(np.full(len(here), _misfit(rates, models)))
    common.append(np.full(len(here), _impossible(np.median(rate[:, np.isfinite(mean)], axis=1), weight)))
    return np.asarray(
        np.sqrt(noise**2 + amplitude**2 + _steps(rates, here, models) ** 2 + np.sum(np.square(common), axis=0))
    )


def _misfit(rates: Rates, models: Models) -> float:
    """Standard uncertainty from what the model leaves of the mean coast [kPa/s]: what is left may hide a slope.

    The mean coast's residual, in units of its noise, times the noise of the mean rate.
    """
    known = rates.noise[np.isfinite(rates.noise)]
    if not len(known):
        return 0.0
    spread = (models.misfit - 1.0) / np.sum(1.0 / np.maximum(known, 1e-9) ** 2)
    return float(np.sqrt(spread + models.unmodelled**2))


def _impossible(medians: Floats, weight: Floats) -> float:
    """Standard uncertainty that a negative rate shows [kPa/s]: no leak is negative, so the error is at least as large.

    medians and weight over the models, shape (n_models,).
    """
    return max(0.0, -float(np.sum(weight * medians)))


def _steps(rates: Rates, here: Ints, models: Models) -> Floats:
    """Standard uncertainty that the recorder's steps leave in each cycle's rate [kPa/s].

    A reading that stands still over a stretch T says that the slope lies within a step over T; over many steps the
    saw-tooth of the error averages out. All cycles start at much the same level, so that this is common to them.
    """
    crossed = np.abs(rates.line[here]) * rates.span[here] / max(models.quantisation_kpa, 1e-4)
    return np.asarray(STEP_SHARE * models.step_kpa[here] / rates.span[here] / np.maximum(crossed, 1.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What of `Rates` the common part of the budget asks, shape (n,) each: line [kPa/s], span [s], vacuum [kPa]."""

    line: Floats
    span: Floats
    vacuum: Floats


def _common(mean: Floats, seen: Seen, number: int, models: Models, options: LeakOptions) -> list[tuple[str, Floats]]:
    """What is the same in all cycles and in no model, as (source, standard uncertainty).

    The share of the distance to the straight line, which is what warming was found to add, grows with the strain:
    where α is far from what is expected, or the mean coast fits badly, one volume with one pressure is too simple.
    It grows as well where the supply comes on again after a small fall: the gas's history is then made of recharges as
    short as the transitions of valve and generator, and the model, which knows none of these, takes them for warming.
    How a volume gives way to vacuum is in the models, as the same at every vacuum; what is left of it grows where
    coasts do not come near the reference.
    """
    size = np.abs(mean)
    beyond = np.maximum(np.abs(seen.vacuum - options.ref_vacuum_kpa) - models.reach_kpa, 0.0)
    volume = np.hypot(models.volume_u, options.shrink_1_kpa * beyond)
    share = options.line_share * (1.0 + options.line_strain * float(models.strain[number]))
    share += options.narrow_share * models.narrow
    return [
        ("sensor gain", options.gain_u * size),
        ("ambient and zero", options.ambient_share_kpa * models.common_kpa * size),
        ("one gas volume for many", volume * size),
        ("distance to a straight line", share * np.abs(mean - seen.line)),
        ("motion outside the windows", np.hypot(models.motion_kpa / seen.span, models.windows_u)),
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRate:
    """The median over a set of cycles with interval and budget.

    plain   the rate as it came out, which may be negative [kPa/s]
    sd      what it was believed to be good for before a negative rate showed that it is not [kPa/s]
    """

    estimate: Estimate
    plain: float
    sd: float
    budget: tuple[BudgetLine, ...]


def log_rate(
    rates: Rates, cycles: CycleRates, models: Models, chosen: Bools, lacking: float, options: LeakOptions
) -> LogRate:
    """Median rate of the chosen cycles that have one; `lacking` is the share of cycles that have none.

    Cycles without a rate may lie anywhere: the ends of the interval are widened to the quantiles at which the median
    would stand if all of them lay above, or below.
    """
    own = np.flatnonzero(chosen & np.isfinite(cycles.value))
    group, noise = cycles.group[own], rates.noise[own] * np.sqrt(models.inflation * np.maximum(rates.misfit[own], 1.0))
    mean_of = without_noise(cycles.value[own], group, noise)
    # the larger of two middle ones: between two groups it is the larger rate's error that moves the median
    number = int(group[np.argsort(mean_of, kind="stable")[len(own) // 2]])
    used, weight = _used(models, number)
    medians = np.concatenate(
        [
            np.median(np.where(group == number, without_noise(rows, group, noise), mean_of), axis=1)
            for rows in _by_model(rates, models, used, own, group, options)
        ]
    )
    parts = _parts(rates, models, own, number, (used, weight, medians), options)
    sd = float(np.sqrt(sum(p.u_kpa_s**2 for p in parts[MIXED:])))
    box = (medians[:, None], np.array([sd]), weight[:, None])
    low, high = (float(end[0]) for end in guarded_ends(*box, _paths(used), ENDS))
    value = float(positive_quantiles(*box, (0.5,))[0][0])
    down, up = _unknown(mean_of, lacking)
    lower, upper = max(low - down, 0.0), high + up
    if lacking > 0.0:
        parts = (*parts, BudgetLine(source="cycles without a rate", u_kpa_s=0.25 * (down + up), common=True))
    estimate = Estimate(value=value, lower=lower, upper=upper, unit="kPa/s", n=len(own), method=METHOD)
    believed = float(np.sqrt(max(sd**2 - _impossible(medians, weight) ** 2, 0.0)))
    return LogRate(estimate=estimate, plain=float(np.sum(weight * medians)), sd=believed, budget=parts)


def _by_model(
    rates: Rates, models: Models, used: Ints, own: Ints, group: Ints, options: LeakOptions
) -> Iterator[Floats]:
    """Rates of some cycles at their groups' amplitudes, for a few of the used models after the other, (n, n_own)."""
    for some in np.array_split(used, max(len(used) // MODELS_TOGETHER, 1)):
        rows = np.full((len(some), len(own)), np.nan)
        for number in np.unique(group):
            here = np.flatnonzero(group == number)
            rows[:, here] = _rates_of(rates, models, int(number), some, own[here], options)
        yield rows


def without_noise(rate: Floats, group: Ints, noise: Floats) -> Floats:
    """Rates drawn towards the median of their group until they scatter as their true rates do, shape (..., n).

    group, noise  of every cycle, shape (n,). A group's own median stays where it is. Where the median of all cycles
    lies at the edge of a group, the largest of its rates would else stand for it, and that is the one with most noise.
    """
    out = rate.copy()
    for number in np.unique(group):
        here = np.flatnonzero(group == number)
        middle = np.median(rate[..., here], axis=-1, keepdims=True)
        apart = rate[..., here] - middle
        scatter = np.maximum(np.mean(apart**2, axis=-1, keepdims=True), 1e-12)
        out[..., here] = middle + apart * np.sqrt(np.maximum(1.0 - np.mean(noise[here] ** 2) / scatter, 0.0))
    return out


def _unknown(rate: Floats, lacking: float) -> tuple[float, float]:
    """How far the median may lie lower or higher when a share of all cycles, and one more, is unknown."""
    if lacking <= 0.0:
        return 0.0, 0.0
    middle, lacking = float(np.median(rate)), min(lacking + 1.0 / len(rate), 0.5)
    low, high = np.quantile(rate, [max((0.5 - lacking) / (1.0 - lacking), 0.0), min(0.5 / (1.0 - lacking), 1.0)])
    return middle - float(low), float(high) - middle


def _parts(
    rates: Rates, models: Models, own: Ints, number: int, mixture: tuple[Ints, Floats, Floats], options: LeakOptions
) -> tuple[BudgetLine, ...]:
    """The budget: what the mixture (models, weights, medians) holds, then what widens each of its components."""
    used, weight, medians = mixture
    mean = float(np.sum(weight * medians))
    by_node, by_share, by_form = (_spread(medians, weight, by, mean) for by in leak_forms.parted(used))
    slope = np.abs([np.median(rates.slope[row, own]) for row in leak_forms.row_of(used)])
    amplitude = float(np.sum(weight * slope * models.amplitude_sd[number][used]))
    noise = float(np.sqrt(models.inflation * np.mean(rates.noise[own] ** 2) * MEDIAN_VARIANCE / len(own)))
    middle = {name: np.array([float(np.median(getattr(rates, name)[own]))]) for name in ("line", "span", "vacuum")}
    common = [(s, float(u[0])) for s, u in _common(np.array([mean]), Seen(**middle), number, models, options)]
    return (
        BudgetLine(source="mechanism", u_kpa_s=by_form, common=True),
        BudgetLine(source="wall exchange", u_kpa_s=by_node, common=True),
        BudgetLine(source="volume that gives way to vacuum", u_kpa_s=by_share, common=True),
        BudgetLine(source="gas temperature before the coast", u_kpa_s=amplitude, common=True),
        *(BudgetLine(source=s, u_kpa_s=u, common=True) for s, u in common),
        BudgetLine(
            source="misfit of the mean coast",
            common=True,
            u_kpa_s=float(np.hypot(_misfit(rates, models), _impossible(medians, weight))),
        ),
        BudgetLine(source="quantisation", u_kpa_s=float(np.median(_steps(rates, own, models))), common=True),
        BudgetLine(source="noise", u_kpa_s=noise, common=False),
    )


def _spread(values: Floats, weight: Floats, label: Ints, mean: float) -> float:
    """Weighted standard deviation of the means per label."""
    total = np.bincount(label, weights=weight)
    some = total > 0.0
    means = np.bincount(label, weights=weight * values)[some] / total[some]
    return float(np.sqrt(np.sum(total[some] * (means - mean) ** 2)))
