"""A small repair that nobody noted hides in the scatter, and a line through it says too little growth.

A step too small to be found as one may still be there. Its best place is sought by least squares: what a change of
level at a log, beside one line, takes off the squared residuals. Where that is more than chance usually gives, the
slope's interval is widened to hold that of the slope pooled over the two parts too.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tracekit.history.slope import Slope, robust_sigma, robust_slope
from tracekit.options.history import TrendOptions


def allow_for_hidden_step(
    time: NDArray[np.float64], value: NDArray[np.float64], line: Slope, options: TrendOptions
) -> Slope:
    """The line with its interval widened where a step may hide in the logs; `time` (n_logs,) rises."""
    if len(time) < options.hidden_shortest_logs:
        return line
    sigma = robust_sigma(value - line.intercept - line.slope * time)
    gain, cut = best_step(time, value, options.step_shortest_logs)
    if sigma == 0.0 or gain <= options.hidden_gain * sigma**2 * line.correlation.long_run:
        return line
    other = robust_slope(time, value, (np.arange(len(time)) >= cut).astype(np.int64))
    if other is None:
        return line
    lower, upper = min(line.lower, other.lower), max(line.upper, other.upper)
    return replace(line, lower=lower, upper=upper, se=line.se * (upper - lower) / max(line.upper - line.lower, 1e-300))


def best_step(time: NDArray[np.float64], value: NDArray[np.float64], shortest: int) -> tuple[float, int]:
    """How much a step beside one line takes off the squared residuals at most, and the first log after it."""
    n = len(time)
    centred = time - time.mean()
    square = float(centred @ centred)
    residual = value - value.mean() - centred * (float(centred @ value) / square)
    after = n - np.arange(n)
    moment, late = np.cumsum(residual[::-1])[::-1], np.cumsum(centred[::-1])[::-1]
    free = after - after**2 / n - late**2 / square
    gain = np.where(free > 1e-9, moment**2 / np.maximum(free, 1e-9), 0.0)
    gain[:shortest] = gain[n - shortest + 1 :] = 0.0
    cut = int(gain.argmax())
    return float(gain[cut]), cut
