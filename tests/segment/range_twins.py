"""Slow, obvious twins of the vectorised range arithmetic."""

import math


def total(values, start, stop):
    """Sum of each range by a plain loop."""
    return [math.fsum(values[a:b]) if b > a else 0.0 for a, b in zip(start, stop, strict=True)]


def highest(values, start, stop):
    """Highest value of each range, NaN where it is empty."""
    return [max(values[a:b]) if b > a else math.nan for a, b in zip(start, stop, strict=True)]


def quantile(values, start, stop, share):
    """Quantile by sorting each range."""
    out = []
    for a, b in zip(start, stop, strict=True):
        some = sorted(values[a:b])
        if not some:
            out.append(math.nan)
            continue
        place = share * (len(some) - 1)
        low = math.floor(place)
        high = min(low + 1, len(some) - 1)
        out.append(some[low] + (place - low) * (some[high] - some[low]))
    return out


def first(mask, start, stop):
    """First True of each range, -1 where there is none."""
    return [next((i for i in range(a, b) if mask[i]), -1) for a, b in zip(start, stop, strict=True)]


def last(mask, start, stop):
    """Last True of each range, -1 where there is none."""
    return [next((i for i in range(b - 1, a - 1, -1) if mask[i]), -1) for a, b in zip(start, stop, strict=True)]


def line(time, values, start, stop):
    """Slope and its standard error of each range by the textbook sums (JCGM 100:2008, H.3.3)."""
    out = []
    for a, b in zip(start, stop, strict=True):
        n = b - a
        if n < 3:
            out.append((math.nan, math.nan))
            continue
        mean_t, mean_v = sum(time[a:b]) / n, sum(values[a:b]) / n
        sxx = sum((t - mean_t) ** 2 for t in time[a:b])
        slope = sum((t - mean_t) * (v - mean_v) for t, v in zip(time[a:b], values[a:b], strict=True)) / sxx
        rest = sum((v - mean_v - slope * (t - mean_t)) ** 2 for t, v in zip(time[a:b], values[a:b], strict=True))
        out.append((slope, math.sqrt(rest / (n - 2) / sxx)))
    return out
