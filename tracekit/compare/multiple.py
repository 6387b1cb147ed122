"""Many tests at once: Holm's rule, with tests that cannot speak left out.

Sources
[1] Holm: A simple sequentially rejective multiple test procedure, Scandinavian J. Statistics 6 (1979) 65–70.
[2] Tarone: A modified Bonferroni method for discrete data, Biometrics 46 (1990) 515–522.
"""

import math
from collections.abc import Mapping


def holm(p_values: Mapping[str, float], error: float, smallest: Mapping[str, float] | None = None) -> frozenset[str]:
    """Names whose hypothesis falls while at most with probability `error` any is dropped wrongly [1].

    smallest  the smallest p value that a test could give at all; tests that cannot reach the level of their family
              take no share of `error` [2]. NaN p values never fall.
    """
    least = smallest or {}
    names = sorted((n for n, p in p_values.items() if not math.isnan(p)), key=lambda n: p_values[n])
    for members in range(1, len(names) + 1):
        able = [n for n in names if least.get(n, 0.0) <= error / members]
        if len(able) <= members:
            names = able
            break
    fallen: list[str] = []
    for position, name in enumerate(names):
        if p_values[name] > error / (len(names) - position):
            break
        fallen.append(name)
    return frozenset(fallen)
