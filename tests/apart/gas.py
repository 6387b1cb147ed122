"""Gas in two volumes: flows and energy, for many cycles at once.

Amounts of gas are pV products at 293.15 K in Pa·m³, flows are in Pa·m³/s. Arrays have one entry per cycle.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
REFERENCE_K = 293.15
REFERENCE_PA = 1e5
GAMMA = 1.4


def through_orifice(conductance: Floats, upstream_pa: Floats, downstream_pa: Floats, ratio: float = 0.4) -> Floats:
    """Flow through a hole in Pa·m³/s, 0 where pressure falls the other way (ISO 6358-1, exponent 0.5).

    `conductance` is the sonic conductance in m³/(s·Pa), `ratio` the critical pressure ratio.
    """
    part = np.clip((downstream_pa / upstream_pa - ratio) / (1.0 - ratio), 0.0, 1.0)
    return conductance * upstream_pa * REFERENCE_PA * np.sqrt(1.0 - part * part)


def through_pores(factor: Floats, ambient_pa: float, inside_pa: Floats) -> Floats:
    """Laminar flow of a compressible gas in Pa·m³/s: proportional to the difference of the squares."""
    return factor * np.maximum(ambient_pa**2 - inside_pa**2, 0.0)


def both_ways(conductance: Floats, left_pa: Floats, right_pa: Floats) -> Floats:
    """Flow from left to right through a filter or hose, negative when it goes back."""
    high, low = np.maximum(left_pa, right_pa), np.minimum(left_pa, right_pa)
    return np.sign(left_pa - right_pa) * through_orifice(conductance, high, low)


class Volume:
    """One volume of gas per cycle: amount and temperature, with walls that give heat.

    `wall_s` is the time in which the walls warm the gas at ambient density.
    """

    def __init__(self, volume_m3: Floats, ambient_pa: float, wall_k: float, wall_s: float) -> None:
        """Start at ambient pressure and wall temperature."""
        self.volume_m3 = volume_m3.copy()
        self.wall_k, self.wall_s = wall_k, wall_s
        self.temperature_k = np.full(volume_m3.shape, wall_k)
        self.amount = ambient_pa * volume_m3 * REFERENCE_K / wall_k
        self.amount_at_rest = self.amount.copy()

    @property
    def pressure_pa(self) -> Floats:
        """Absolute pressure in Pa, shape (cycles,)."""
        return self.amount * self.temperature_k / (self.volume_m3 * REFERENCE_K)

    def step(self, gains: list[tuple[Floats, Floats | float]], lost: Floats, step_s: float) -> None:
        """One step: `gains` are flows in with the temperature that they bring, `lost` the flow out."""
        warm = (self.wall_k - self.temperature_k) / self.wall_s * self.amount_at_rest
        total = np.zeros_like(lost)
        for flow, at_k in gains:
            warm += flow * (GAMMA * at_k - self.temperature_k)
            total += flow
        warm -= lost * (GAMMA - 1.0) * self.temperature_k
        self.temperature_k = np.clip(self.temperature_k + step_s * warm / self.amount, 150.0, 450.0)
        self.amount = np.maximum(self.amount + step_s * (total - lost), 1e-3 * self.amount_at_rest)
