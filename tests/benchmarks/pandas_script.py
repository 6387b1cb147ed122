"""What a practitioner would write in an afternoon: threshold edges, a straight line per coast, fixed rules.

python pandas_script.py LOG prints a verdict. It is the yardstick for the time of the whole command, not for its answer.
"""

import sys
from itertools import pairwise

import numpy as np
import pandas as pd


def coasts(log: pd.DataFrame, vacuum: np.ndarray) -> list[float]:
    """Slope of a straight line through every stretch of a hold with the supply off [kPa/s]."""
    resting = ((log["supply"] == 0) & (log["release"] == 0) & (log["part_present"] == 1)).to_numpy()
    edge = np.flatnonzero(np.diff(resting.astype(np.int8)))
    bounds = np.concatenate([[0], edge + 1, [len(resting)]])
    time = log["time_s"].to_numpy()
    found = []
    for start, stop in pairwise(bounds.tolist()):
        if resting[start] and stop - start >= 10:
            found.append(-np.polyfit(time[start:stop], vacuum[start:stop], 1)[0])
    return found


def picks(log: pd.DataFrame, vacuum: np.ndarray) -> pd.DataFrame:
    """Peak vacuum, time to 50 kPa and residual vacuum of every pick, which starts with the supply after a release."""
    supply, release = log["supply"].to_numpy(), log["release"].to_numpy()
    on = np.flatnonzero(np.diff(supply) > 0) + 1
    off = np.flatnonzero(np.diff(release) > 0) + 1
    fresh = np.concatenate([[True], np.diff(np.searchsorted(off, on)) > 0])
    start = on[fresh]
    stop = np.append(start[1:], len(log))
    time = log["time_s"].to_numpy()
    rows = []
    for a, b in zip(start, stop, strict=True):
        over = np.flatnonzero(vacuum[a:b] >= 50.0)
        rise = time[a + over[0]] - time[a] if len(over) else np.nan
        rows.append((vacuum[a:b].max(), rise, vacuum[b - 5 : b].mean()))
    return pd.DataFrame(rows, columns=["peak", "rise", "residual"])


def main() -> None:
    """Read, measure, judge by fixed rules."""
    log = pd.read_csv(sys.argv[1])
    vacuum = -log["pressure_kpa"].rolling(5, center=True, min_periods=1).median().to_numpy()
    table, slopes = picks(log, vacuum), coasts(log, vacuum)
    print(table.describe().to_string())
    leak = float(np.median(slopes)) if slopes else float("nan")
    said = ["leak"] if leak > 2.0 else []
    said += ["slow evacuation"] if table["rise"].median() > 0.4 else []
    said += ["weak release"] if table["residual"].median() > 5.0 else []
    said += ["low vacuum"] if table["peak"].median() < 60.0 else []
    print(f"{len(table)} picks, {len(slopes)} coasts, {leak:.2f} kPa/s: {', '.join(said) or 'healthy'}")


if __name__ == "__main__":
    main()
