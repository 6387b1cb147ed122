"""How many independent cycles a run of dependent cycles is worth.

The scatter of a median comes from the sign scores of the cycles (above or below it). Their correlation is taken as
white noise plus a share that fades exponentially with the distance in cycles; share and time constant are weighed
over a grid by the Whittle likelihood with the expected periodogram of a series of this length [1]. The result is
not one standard deviation but a weighted set, so that doubt about slow drift widens every interval made from it.

Sources
[1] Sykulski, Olhede, Guillaumin, Lilly, Early: The debiased Whittle likelihood, Biometrika 106 (2019) 251–266.
"""


import numpy as np
from numpy.typing import NDArray

from tracekit.frozen import dataclass
from tracekit.options.compare import SerialOptions

Floats = NDArray[np.float64]

SIGN_VARIANCE = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class SerialFit:
    """Weighted set of standard deviations of the mean sign score, arrays of shape (n_models,)."""

    n: int
    weight: Floats
    deviation: Floats

    @property
    def typical(self) -> float:
        """Root of the mean variance of the share of cycles below the median [unitless]."""
        return float(np.sqrt(np.sum(self.weight * self.deviation**2)))

    def exceeded(self, doubt: float) -> float:
        """The standard deviation of that share that is exceeded with probability `doubt`."""
        order = np.argsort(self.deviation)
        reached = np.cumsum(self.weight[order])
        place = min(int(np.searchsorted(reached, 1.0 - doubt)), len(order) - 1)
        return float(self.deviation[order][place])

    @property
    def effective(self) -> float:
        """Independent cycles that would leave the same variance, at most n."""
        return min(float(self.n), SIGN_VARIANCE / self.typical**2)


def fit_serial(score: Floats, options: SerialOptions) -> SerialFit:
    """Standard deviations of the mean of sign scores (±0.5, or weighted), shape (n,), n ≥ 2, in order of time."""
    n = len(score)
    blocked = _block_means(score, -(-n // options.most_points))
    length = len(blocked)
    block = n / length
    shares, fades, prior = _grid(length, block, options)
    lag = np.arange(length)
    taper = (1.0 - lag / length) * np.where(lag == 0, 1.0, shares[:, None] * fades[:, None] ** lag)
    variance_of_mean = (taper[:, 0] + 2.0 * taper[:, 1:].sum(axis=1)) / length
    frequencies = slice(1, length // 2 + 1)
    expected = np.maximum(2.0 * np.fft.rfft(taper, axis=1).real - taper[:, :1], 1e-9)[:, frequencies]
    seen = np.abs(np.fft.rfft(blocked))[frequencies] ** 2 / length
    scale = np.maximum((seen / expected).mean(axis=1), 1e-12)
    fit = np.log(prior) - expected.shape[1] * np.log(scale) - np.log(expected).sum(axis=1)
    weight = np.exp(fit - fit.max())
    power = float(np.mean(score**2))
    ties = SIGN_VARIANCE / power if 0.0 < power < SIGN_VARIANCE else 1.0
    deviation = np.sqrt(variance_of_mean * scale * ties)
    if power == 0.0:
        weight, deviation = prior, np.sqrt(variance_of_mean * SIGN_VARIANCE / block)
    kept = weight > 1e-4 * weight.max()
    return SerialFit(n=n, weight=weight[kept] / weight[kept].sum(), deviation=deviation[kept])


def _block_means(score: Floats, size: int) -> Floats:
    """Means over `size` cycles in turn; a rest at the end is left out."""
    if size <= 1:
        return score
    whole = len(score) // size
    return np.asarray(score[: whole * size].reshape(whole, size).mean(axis=1), np.float64)


def _grid(length: int, block: float, options: SerialOptions) -> tuple[Floats, Floats, Floats]:
    """Shares, fadings per step and prior weights of the models, white noise first."""
    times = np.array([t / block for t in options.time_constants if t <= length * block / 2.0])
    share, time = (g.ravel() for g in np.meshgrid(np.array(options.shares), times))
    belief = time**-options.time_weight * (1.05 - share) ** options.share_weight
    belief *= (1.0 - options.white) / max(belief.sum(), 1e-12)
    fade = np.exp(-1.0 / time)
    return np.r_[0.0, share], np.r_[0.0, fade], np.r_[options.white, belief]
