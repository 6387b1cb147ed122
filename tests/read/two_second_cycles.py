"""Thirty cycles of two seconds, a sample every 10 ms: evacuation from half a second on, blow-off at a second and a half."""

import numpy as np

TIME_S = np.arange(0.0, 60.0, 0.01)
WITHIN_S = TIME_S % 2.0
VACUUM_KPA = np.where(
    (WITHIN_S > 0.5) & (WITHIN_S < 1.5), 70.0 * (1.0 - np.exp(-(WITHIN_S - 0.5) / 0.1)),
    np.where(WITHIN_S >= 1.5, 70.0 * np.exp(-(WITHIN_S - 1.5) / 0.02), 0.0),
)  # fmt: skip
