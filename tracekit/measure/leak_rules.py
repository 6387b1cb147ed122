"""What is given of a leak: a value, a bound, or nothing, by stated rules."""

from tracekit.measure.leak_budget import LogRate
from tracekit.model.cycle import BOTH_COILS, PULSES, StationData
from tracekit.model.estimate import Bound, Estimate, Quantity, Withheld
from tracekit.options.leak import LeakOptions

DECAY_ON_PURPOSE = (
    "To get a decay on purpose: close the supply with a part held and nothing moving, log 10 s of the fall, "
    "let the part go only when it is safe; 20 times, some 5 minutes."
)
NO_COASTS = f"The supply is never cut in a hold, so the log holds no decay. {DECAY_ON_PURPOSE}"
FEW_COASTS = (
    "No coast is long enough between the supply's cut, the motion and the release. To get a decay on "
    "purpose: hold a part with the supply closed and nothing moving for 10 s, 20 times, some 5 minutes in all."
)

NO_SUPPLY = (
    "The log has no supply channel and shows no coast, so it cannot say when the supply was off. Log the command of "
    "the supply valve."
)


_USUAL = LeakOptions()


def few_cycles(count: int, what: str, options: LeakOptions) -> str:
    """Why so few cycles make no value of a log."""
    cycles = f"{count} held cycle{' has' if count == 1 else 's have'}"
    return f"Only {cycles} {what}; {options.fewest_cycles} are needed. Record more picks."


def given(log: LogRate, held: int, rated: int, options: LeakOptions) -> tuple[Quantity, tuple[str, ...]]:
    """The quantity to report for the log, and warnings.

    held, rated  numbers of held cycles, and of those with a rate
    """
    estimate, lacking = log.estimate, 1.0 - rated / max(held, 1)
    said: list[str] = []
    if lacking > options.lacking_share:
        said.append(
            f"{100 * lacking:.0f} % of the held cycles have no usable coast; the largest leaks never reach supply_off."
        )
    if rated < options.fewest_cycles:
        return Withheld(few_cycles(rated, "a usable coast", options)), tuple(said)
    if log.plain < -3.0 * log.sd and log.plain < -0.05:
        return Withheld(
            "Vacuum grows after the supply is cut, by more than cooling explains: a valve that closes late, "
            "or evacuation that goes on inside the coast."
        ), tuple(said)
    if lacking > options.bound_share:
        bound = Bound(
            status="lower_bound", limit=estimate.lower, unit=estimate.unit, n=estimate.n, method=estimate.method
        )
        return bound, tuple(said)
    far = max(estimate.upper - estimate.value, estimate.value - estimate.lower)
    if estimate.value > options.small_rate_kpa_s and far > options.withhold_share * estimate.value:
        if estimate.upper <= options.weak_kpa_s:
            said.append(f"The leak is weak: at most {estimate.upper:.2g} kPa/s. Longer coasts would give a value.")
            return _at_most(estimate), tuple(said)
        return Withheld(
            f"The leak lies between {estimate.lower:.2g} and {estimate.upper:.2g} kPa/s: too wide for a value. "
            "More coasts, longer coasts or a faster log would narrow it."
        ), tuple(said)
    if estimate.lower < 0.02 and estimate.upper > options.small_rate_kpa_s:
        return _at_most(estimate), tuple(said)
    if estimate.value <= options.small_rate_kpa_s:
        said.append(f"The leak is small: at most {estimate.upper:.2g} kPa/s.")
    return estimate, tuple(said)


def _at_most(estimate: Estimate) -> Bound:
    """The upper end of an interval as a bound."""
    return Bound(status="upper_bound", limit=estimate.upper, unit=estimate.unit, n=estimate.n, method=estimate.method)


def mechanism(shares: dict[str, float], rate_kpa_s: float, options: LeakOptions) -> tuple[str, str]:
    """hole, porous or undecided, and the sentence that says why."""
    best = max(shares, key=lambda name: shares[name])
    if rate_kpa_s < options.small_rate_kpa_s:
        return "undecided", "The leak is too small for its curve to tell hole from pores."
    text = ", ".join(f"{name} {share:.2f}" for name, share in shares.items())
    if best != "mixture" and shares[best] >= options.decided:
        path = "a hole or gap" if best == "hole" else "pores or a long thin path"
        return best, f"The fall of vacuum bends as through {path} (probabilities: {text})."
    return "undecided", f"The fall of vacuum fits more than one kind of path (probabilities: {text})."


def without_coasts(data: StationData, options: LeakOptions = _USUAL) -> str:
    """Why there is no decay in a log."""
    if data.air_saving:
        held = data.cycles.where("outcome", "held")
        coasting = int((held & (data.cycles.codes("coasts") > 0)).sum())
        if int(held.sum()) < options.fewest_cycles and 2 * coasting >= int(held.sum()):
            return few_cycles(coasting, "a coast", options)
        return FEW_COASTS
    if data.wiring.evidence.get("supply") == PULSES:
        return f"The supply {PULSES}. {BOTH_COILS}"
    return NO_SUPPLY if data.wiring.supply_on_level is None else NO_COASTS


def no_such_vacuum(ref_vacuum_kpa: float, ambient_kpa: float) -> str:
    """Why no leak can be given at a reference vacuum that the ambient pressure does not allow."""
    return (
        f"The reference vacuum of {ref_vacuum_kpa:.3g} kPa leaves hardly any pressure at an ambient of "
        f"{ambient_kpa:.4g} kPa. Set ref_vacuum_kpa in the station file to a vacuum that the holds pass, such as 60."
    )
