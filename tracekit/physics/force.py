"""Holding force of suction cups, and the vacuum that a load needs.

Sources
[1] Force of a pressure difference on an area; Newton's second law; Coulomb friction (any mechanics text).
The simplified forms for transport are common practice, no source.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

GRAVITY_M_S2 = 9.80665


def cup_area_m2(diameter_mm: ArrayLike) -> NDArray[np.float64]:
    """Area of a round cup [m²]."""
    return np.asarray(np.pi / 4.0 * (np.asarray(diameter_mm, np.float64) * 1e-3) ** 2)


def holding_force_n(vacuum_kpa: ArrayLike, diameter_mm: ArrayLike, cups: int = 1) -> NDArray[np.float64]:
    """Theoretical force of the cups at a vacuum [N] [1]. A real lip's effective diameter is smaller under load."""
    return np.asarray(np.asarray(vacuum_kpa, np.float64) * 1e3 * cup_area_m2(diameter_mm) * cups)


def needed_force_n(
    mass_kg: float, acceleration_m_s2: float, safety: float, orientation: str = "lift", friction: float = 0.5
) -> float:
    """Force that must hold a part, safety factor included [N] [1].

    orientation  lift: pulled straight up, m(g + a)·S; transport: horizontal face moved sideways, m(g + a/µ)·S;
                 shear: vertical face, the grip holds by friction alone, m(g + a)/µ·S
    Raises ValueError for another orientation.
    """
    if orientation == "lift":
        load = GRAVITY_M_S2 + acceleration_m_s2
    elif orientation == "transport":
        load = GRAVITY_M_S2 + acceleration_m_s2 / friction
    elif orientation == "shear":
        load = (GRAVITY_M_S2 + acceleration_m_s2) / friction
    else:
        raise ValueError(f"orientation {orientation!r}: expected lift, transport or shear")
    return mass_kg * load * safety


def needed_vacuum_kpa(force_n: float, diameter_mm: float, cups: int) -> float:
    """Vacuum at which the cups give a force [kPa] [1]. It cannot exceed the ambient pressure."""
    return force_n / (cups * float(cup_area_m2(diameter_mm))) / 1e3
