"""The median of one side with a distribution-free band that allows for serial correlation and common errors."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.compare.serial import SerialFit, fit_serial
from tracekit.frozen import dataclass
from tracekit.options.compare import SerialOptions

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class MedianFit:
    """Sorted values with the shares of cycles below them, and what is uncertain about their median.

    values, shares     shape (n,), rising
    median             weighted median
    serial             scatter of the share of cycles below the median
    common_low, common_high   standard uncertainties of what all values share, towards lower and higher values
    """

    values: Floats
    shares: Floats
    median: float
    serial: SerialFit
    common_low: float = 0.0
    common_high: float = 0.0

    @property
    def sampling(self) -> float:
        """Standard deviation of the median by the scatter between cycles, in the unit of the values."""
        low, high = self.order_band(1.0)
        return min((high - low) / 2.0, float(self.values[-1] - self.values[0]) or 0.0)

    def planned(self, doubt: float) -> float:
        """Variance of the median times the cycles, exceeded with probability `doubt`: what other numbers scale by."""
        return self.serial.n * (self.sampling / self.serial.typical * self.serial.exceeded(doubt)) ** 2

    @property
    def common(self) -> float:
        """Standard uncertainty of what all cycles share; of the known end where the other is open."""
        known = [u for u in (self.common_low, self.common_high) if np.isfinite(u)]
        return sum(known) / len(known) if known else 0.0

    @property
    def open_ended(self) -> bool:
        """True where only a bound of this side is known."""
        return not (np.isfinite(self.common_low) and np.isfinite(self.common_high))

    def scaled(self, factor: float) -> "MedianFit":
        """The same side with all values multiplied by a factor above zero."""
        return replace(
            self, values=self.values * factor, median=self.median * factor, common_low=self.common_low * factor,
            common_high=self.common_high * factor,
        )  # fmt: skip

    def order_band(self, z: float) -> tuple[float, float]:
        """Order statistics z standard deviations of the share below and above the middle; unbounded beyond the data."""
        half = z * self.serial.typical
        low, high = np.interp([0.5 - half, 0.5 + half], self.shares, self.values)
        return (float(low), float(high)) if half < 0.5 else (-np.inf, np.inf)

    def band(self, z: float) -> tuple[float, float]:
        """Lower and upper end z standard deviations away, common errors included."""
        low, high = self.order_band(z)
        down = float(np.hypot(self.median - low, z * self.common_low))
        up = float(np.hypot(high - self.median, z * self.common_high))
        return self.median - down, self.median + up


def fit_median(
    values: Floats, options: SerialOptions, *, weights: Floats | None = None, common: tuple[float, float] = (0.0, 0.0)
) -> MedianFit:
    """The median of cycles in order of time, shape (n,), n ≥ 2, all finite.

    weights  of the cycles, for matching part mixes, shape (n,)
    common   standard uncertainties towards lower and higher values that all cycles share, in the unit of the values
    """
    n = len(values)
    weight = np.ones(n) if weights is None else weights * (n / weights.sum())
    order = np.argsort(values, kind="stable")
    ranked, ranked_weight = values[order], weight[order]
    shares = (np.cumsum(ranked_weight) - ranked_weight / 2.0) / n
    median = float(np.interp(0.5, shares, ranked))
    score = weight * np.sign(values - median) / 2.0
    serial = fit_serial(score - score.mean(), options)
    return MedianFit(
        values=ranked, shares=shares, median=median, serial=serial, common_low=common[0], common_high=common[1]
    )
