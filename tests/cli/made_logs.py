"""Small logs of an invented station, made of straight lines and exponentials."""

from pathlib import Path

import numpy as np

RATE_HZ, CYCLE_S = 100, 4.0
HEAD = "time_s,pressure_kpa,supply,release,part_present\n"


def made_columns(cycles: int = 20, decay_kpa_s: float = 1.0, seed: int = 1) -> dict[str, np.ndarray]:
    """Idle, evacuation in 0.5 s, a hold with two coasts, release: the canonical columns."""
    rng = np.random.default_rng(seed)
    n = int(CYCLE_S * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    vacuum = np.where(t >= 0.5, 75 * (1 - np.exp(-(t - 0.5).clip(0) / 0.15)), 0.0)
    coast = (t >= 1.1) & (t < 3.0)
    phase = (t - 1.1) % 0.95
    vacuum = np.where(coast, np.where(phase < 0.85, 72 - decay_kpa_s * phase, 72 - decay_kpa_s * 0.85 * (0.95 - phase) / 0.1), vacuum)
    vacuum = np.where(t >= 3.0, 71 * np.exp(-(t - 3.0).clip(0) / 0.03), vacuum)
    supply = ((t >= 0.5) & (t < 1.1)) | (coast & (phase >= 0.85))
    release = (t >= 3.0) & (t < 3.4)
    whole = np.tile(vacuum, cycles)
    noisy = whole + rng.normal(0, 0.05, whole.size)
    return {
        "time_s": np.arange(whole.size) / RATE_HZ,
        "pressure_kpa": np.round(-noisy, 2),
        "supply": np.tile(supply, cycles).astype(int),
        "release": np.tile(release, cycles).astype(int),
        "part_present": (whole > 60).astype(int),
    }


def write_log(path: Path, **more) -> Path:
    """Write such a log as CSV."""
    columns = made_columns(**more)
    rows = np.column_stack(list(columns.values()))
    with path.open("w", encoding="utf-8") as file:
        file.write(HEAD)
        np.savetxt(file, rows, fmt=["%.3f", "%.2f", "%d", "%d", "%d"], delimiter=",")
    return path
