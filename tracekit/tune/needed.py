"""What the load needs."""

import numpy as np

from tracekit.model.station import Load
from tracekit.physics.force import needed_force_n, needed_vacuum_kpa


def needed_kpa(load: Load | None) -> float | None:
    """Vacuum that holds the load, safety factor included [kPa]; None where the station file does not tell.

    A horizontal face must bear both a lift and a move sideways; a vertical one holds by friction.
    """
    if load is None:
        return None
    if load.needed_vacuum_kpa is not None:
        return load.needed_vacuum_kpa
    if load.mass_kg is None or load.cup_diameter_mm is None:
        return None
    ways = ("shear",) if load.orientation == "vertical" else ("lift", "transport")
    force = max(
        needed_force_n(load.mass_kg, load.acceleration_m_s2, load.safety_factor, w, load.friction) for w in ways
    )
    return float(np.round(needed_vacuum_kpa(force, load.cup_diameter_mm, load.cups), 6))
