"""Published and independently computed values of trend, control charts and change points; the source beside each."""

from itertools import pairwise

import numpy as np
import pytest

from tracekit.history.charts import cusum, ewma, ewma_sigma
from tracekit.history.runlength import cusum_run_length, ewma_run_length
from tracekit.history.slope import (
    Correlation,
    exact_tail,
    kendall_p,
    kendall_s,
    pair_slopes,
    robust_slope,
    sen_slope,
    variance_ratio,
)
from tracekit.history.steps import level_cuts

SEN1968_T = np.array([1.0, 2, 3, 4, 10, 12, 18])
SEN1968_Y = np.array([9.0, 15, 19, 20, 45, 55, 78])
"""P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379–1389, worked example."""

EPA_G9S = np.array([10.0, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15])
"""EPA QA/G-9S (2006) p. 109; method of R. O. Gilbert 1987 chapter 16."""

NIST_EWMA = np.array([
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
])  # fmt: skip
"""NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.4."""
NIST_EWMA_PRINTED = (
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73,
    51.23, 51.94, 51.99,
)  # fmt: skip

NIST_CUSUM = np.array([
    324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6, 324.625, 325.15, 328.325, 327.25,
    327.825, 328.5, 326.675, 327.775, 326.875, 328.35,
])  # fmt: skip
"""NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.3: target 325, k 0.3175, h 4.1959."""

MONTGOMERY_9_1 = np.array([
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.2, 10.34, 9.03, 11.47, 10.51, 9.4, 10.08, 9.37, 10.62, 10.31, 8.52,
    10.84, 10.9, 9.33, 12.29, 11.5, 10.6, 11.08, 10.38, 11.62, 11.31, 10.52,
])  # fmt: skip
"""D. C. Montgomery, Introduction to Statistical Quality Control, table 9.1; the sums below are its table 9.2."""
MONTGOMERY_9_2_UPPER = (
    0, 0, 0, 1.16, 2.82, 2.5, 0.04, 1.0, 0, 0, 0, 0.97, 0.98, 0, 0, 0, 0.12, 0, 0, 0.34, 0.74, 0, 1.79, 2.79, 2.89, 3.47,
    3.35, 4.47, 5.28, 5.3,
)  # fmt: skip

NILE = np.array([
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140, 1100, 1210,
    1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702,
    1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771,
    676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901,
    1170, 912, 746, 919, 718, 714, 740,
], float)  # fmt: skip
"""Annual flow of the Nile at Aswan 1871–1970 [1e8 m³]; G. W. Cobb, Biometrika 65 (1978) 243–251."""


def test_sen_slope_and_interval() -> None:
    """Sen's example gives slope 4, 93 % limits 26/7 and 35/8 (printed 3.71 and 4.38) and intercept 4."""
    slope, lower, upper, intercept = sen_slope(SEN1968_T, SEN1968_Y, level=0.93)
    assert slope == pytest.approx(4.0, rel=1e-12)
    assert lower == pytest.approx(26 / 7, rel=1e-12)
    assert upper == pytest.approx(35 / 8, rel=1e-12)
    assert intercept == pytest.approx(4.0, abs=1e-9)


def test_pair_slopes_against_a_plain_loop() -> None:
    """The vectorised pair slopes are those of a double loop, pairs of equal time left out."""
    rng = np.random.default_rng(1)
    time, value = np.sort(rng.integers(0, 9, 14)).astype(float), rng.normal(size=14)
    loop = [
        (value[j] - value[i]) / (time[j] - time[i]) for i in range(14) for j in range(i + 1, 14) if time[j] != time[i]
    ]
    assert np.sort(pair_slopes(time, value)) == pytest.approx(sorted(loop), rel=1e-12)


def test_mann_kendall_with_ties() -> None:
    """EPA's example: S = 22, variance 155.33 with ties of 4 and 2, Z = 1.685, one-sided p = 0.0460."""
    s, variance = kendall_s(EPA_G9S)
    assert s == 22.0
    assert variance == pytest.approx(155.33333333333334, rel=1e-12)
    _, z, p = kendall_p(EPA_G9S)
    assert z == pytest.approx(1.6849497897538122, rel=1e-9)
    assert p / 2 == pytest.approx(0.04600, abs=5e-5)


def test_mann_kendall_wisconsin() -> None:
    """Wisconsin Administrative Code, table A: 100, 50, 85, 75, 50 has S = −5."""
    assert kendall_s(np.array([100.0, 50, 85, 75, 50]))[0] == -5.0


def test_mann_kendall_exact_small() -> None:
    """Five values 5, 6, 11, 8, 10: S = 6, exact one-sided p 14/120 (Gilbert table A18, printed 0.117, from memory)."""
    s, _, p = kendall_p(np.array([5.0, 6, 11, 8, 10]))
    assert s == 6.0
    assert p / 2 == pytest.approx(14 / 120, rel=1e-12)


@pytest.mark.parametrize(
    ("n", "s", "p"),
    [
        (4, 6, 0.041666666666666664), (5, 8, 0.041666666666666664), (6, 11, 0.027777777777777776),
        (7, 13, 0.034523809523809526), (8, 16, 0.030505952380952373), (9, 18, 0.03758818342151674),
        (10, 21, 0.036275077160493815),
    ],
)  # fmt: skip
def test_critical_values_of_kendall_s(n: int, s: int, p: float) -> None:
    """Exact one-sided tails at the 95 % critical values (Gilbert 1987 table A18; computed by two routes)."""
    assert exact_tail(n, s) == pytest.approx(p, rel=1e-9)


def test_ewma_of_the_handbook() -> None:
    """The handbook's EWMA (weight 0.3, start 50): all twenty printed values, the last 51.988243258644616."""
    got = ewma(NIST_EWMA, 0.3, 50.0)
    assert got == pytest.approx(np.array(NIST_EWMA_PRINTED), abs=0.005)
    assert got[-1] == pytest.approx(51.988243258644616, rel=1e-12)


def test_ewma_limits_of_the_handbook() -> None:
    """Its limit at σ 2.0539 is 52.5884 in the long run (factor truncated to 0.4201 there) and 51.84851 at the first log."""
    late, first = (50.0 + 3.0 * 2.0539 * ewma_sigma(0.3, np.array([i]))[0] for i in (1000, 1))
    assert late == pytest.approx(52.588431738126616, rel=1e-9)
    assert late == pytest.approx(52.5884, abs=5e-4)
    assert first == pytest.approx(51.84851, rel=1e-9)


def test_cusum_of_the_handbook() -> None:
    """The handbook's CUSUM signals first at observation 14, with an upper sum of 4.94."""
    upper = cusum(NIST_CUSUM - 325.0, 0.3175)
    lower = cusum(325.0 - NIST_CUSUM, 0.3175)
    assert int(np.argmax(np.maximum(upper, lower) > 4.1959)) + 1 == 14
    assert upper[13] == pytest.approx(4.94, rel=1e-9)
    assert upper[-1] == pytest.approx(19.035, rel=1e-9)


def test_cusum_of_montgomery() -> None:
    """Montgomery's upper sums, all thirty; the first above 5 is 5.28 at observation 29."""
    upper = cusum(MONTGOMERY_9_1 - 10.0, 0.5)
    assert upper == pytest.approx(np.array(MONTGOMERY_9_2_UPPER), abs=0.005)
    assert int(np.argmax(upper > 5.0)) + 1 == 29
    assert upper[28] == pytest.approx(5.28, abs=1e-9)


def test_ewma_of_montgomery() -> None:
    """The same data by EWMA (weight 0.1, 2.7 standard deviations, growing limits) signal first at observation 29."""
    level = ewma(MONTGOMERY_9_1, 0.1, 10.0)
    limit = 10.0 + 2.7 * ewma_sigma(0.1, np.arange(1, 31))
    assert int(np.argmax(level > limit)) + 1 == 29
    assert level[28] == pytest.approx(10.64682, abs=5e-6)


def test_run_lengths_of_the_cusum() -> None:
    """Two-sided CUSUM, k 0.5 h 5: 465.4 in control, 10.38 at one σ (Montgomery table 9.3; chain of 401 states)."""
    upper = cusum_run_length(0.5, 5.0, states=401)
    assert upper / 2 == pytest.approx(465.4259886457106, rel=1e-6)
    shifted = 1.0 / (1.0 / cusum_run_length(0.5, 5.0, 1.0, states=401) + 1.0 / cusum_run_length(0.5, 5.0, -1.0, states=401))
    assert shifted == pytest.approx(10.375990940807922, rel=1e-6)


def test_run_length_of_a_shewhart_chart_is_a_limiting_case() -> None:
    """An EWMA of weight near one is a plain chart: one-sided three σ at a shift of one σ is 1/Φ(−2) = 43.96."""
    assert ewma_run_length(0.9999, 3.0, shift=1.0, states=401) == pytest.approx(43.9558, rel=0.005)


def test_correlated_logs_widen_a_slope() -> None:
    """Scatter with lag-1 correlation 0.9 widens the error of a long slope by √(1.9/0.1) = 4.359 (time-series theory)."""
    days, labels = np.arange(20_000.0), np.zeros(20_000, np.int64)
    ratio = variance_ratio(days, labels, Correlation(share=1.0, lag1=0.9))
    assert np.sqrt(ratio) == pytest.approx(4.358898943540674, rel=0.002)


def test_doubling_in_thirty_days_as_a_rate() -> None:
    """Equal factors that double every 30 days are ln 2 / 30 = 0.023105 a day, and the slope of the logarithm finds that."""
    days = np.arange(60.0)
    found = robust_slope(days, np.log(1.7 * 2.0 ** (days / 30.0)))
    assert found is not None
    assert found.slope == pytest.approx(0.023104906018664842, rel=1e-9)


def test_run_length_of_the_ewma_by_simulation() -> None:
    """The EWMA's run length agrees with 400 simulated runs within four standard errors."""
    rng = np.random.default_rng(7)
    sigma = np.sqrt(0.1 / 1.9)
    runs = []
    for _ in range(400):
        path = ewma(rng.normal(size=6000), 0.1, 0.0)
        runs.append(int(np.argmax(path > 2.0 * sigma)) + 1)
    assert max(runs) < 6000
    assert np.mean(runs) == pytest.approx(ewma_run_length(0.1, 2.0), abs=4 * np.std(runs) / 20)


def test_nile_breaks_once() -> None:
    """The Nile's mean changes once, after observation 28 (1898), from 1097.75 to 849.97."""
    assert level_cuts(NILE, 3.0 * np.log(100) * float(NILE.var()), 2) == (28,)
    assert NILE[:28].mean() == pytest.approx(1097.75, abs=0.005)
    assert NILE[28:].mean() == pytest.approx(849.9722, abs=5e-4)


def test_noise_free_steps_are_exact() -> None:
    """30 zeros, 30 ones, 20 threes at penalty 0.5 break at 30 and 60."""
    steps = np.concatenate([np.zeros(30), np.ones(30), np.full(20, 3.0)])
    assert level_cuts(steps, 0.5) == (30, 60)


def test_the_search_is_the_best_of_all_ways_to_cut() -> None:
    """For short series the search finds the cheapest of all 2^(n−1) ways to cut."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        value = np.round(rng.normal(size=9) + 3.0 * (np.arange(9) > rng.integers(1, 8)), 3)
        costs = {}
        for mask in range(256):
            edges = (0, *(i + 1 for i in range(8) if mask >> i & 1), 9)
            costs[edges[1:-1]] = sum(
                float(((value[a:b] - value[a:b].mean()) ** 2).sum()) for a, b in pairwise(edges)
            ) + 2.0 * (len(edges) - 2)
        assert costs[level_cuts(value, 2.0)] == pytest.approx(min(costs.values()), abs=1e-9)
