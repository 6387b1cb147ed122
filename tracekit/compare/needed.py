"""How many cycles a decision takes: the one calculation behind `cycles_needed` and `plan`."""

import math
from collections.abc import Callable

from tracekit.frozen import dataclass
from tracekit.model.estimate import Withheld


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """What a difference of medians scatters by: variance = per_cycle / cycles + common.

    per_cycle  sum of both sides' variances of the median, times their cycles [unit²]
    common     variance of what all cycles of a side share [unit²]
    widening   how much wider intervals are than a scatter that is known exactly would make them
    """

    per_cycle: float
    common: float
    widening: float = 1.0

    def deviation(self, cycles: float) -> float:
        """Standard deviation of the difference with so many cycles on each side."""
        return math.sqrt(self.per_cycle / cycles + self.common)


def power_to_show(change: float, scatter: Scatter, cycles: float, bound: float) -> float:
    """Chance of showing a true change with a one-sided test at z = bound."""
    return _normal(abs(change) / max(scatter.deviation(cycles), 1e-300) - bound * scatter.widening)


def power_to_equal(change: float, margin: float, scatter: Scatter, cycles: float, bound: float) -> float:
    """Chance of showing equivalence within the margin by two one-sided tests at z = bound."""
    deviation = max(scatter.deviation(cycles), 1e-300)
    reach = bound * scatter.widening
    upper, lower = (margin - change) / deviation - reach, (margin + change) / deviation - reach
    return max(0.0, _normal(upper) + _normal(lower) - 1.0)


def cycles_for(power: Callable[[float], float], aim: float, most: int) -> int | Withheld:
    """Fewest cycles per side at which `power` reaches `aim`; it must rise with the cycles.

    Withheld where `most` cycles are not enough: what all cycles of a log share then decides.
    """
    if power(most) < aim:
        return Withheld(
            "more cycles do not help: what all cycles of a log share (zero, ambient, leak model, day) is too "
            "large for this question; record on several days"
        )
    low, high = 1, most
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if power(middle) >= aim else (middle + 1, high)
    return low


def _normal(z: float) -> float:
    """Share of a normal distribution below z."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
