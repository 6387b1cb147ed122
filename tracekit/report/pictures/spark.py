"""A small picture of a measure for one line of a table."""

import numpy as np

from tracekit.model.trend import MeasureTrend
from tracekit.report.text import escape

_POINTS = 48


def spark(trend: MeasureTrend) -> str:
    """The logs as a thin line, with the limit dashed; SVG that needs neither script nor style attribute."""
    value = trend.series.value[np.isfinite(trend.series.value)]
    if len(value) < 2:
        return ""
    thinned = _thinned(value)
    limit = trend.limit.value if trend.limit is not None else None
    low, high = float(thinned.min()), float(thinned.max())
    if limit is not None:
        low, high = min(low, limit), max(high, limit)
    low = 0.0 if trend.measure.scale != "linear" else low
    span = max(high - low, 1e-9)
    x = np.linspace(0, 100, len(thinned))
    y = 30 - (thinned - low) / span * 28
    points = "L".join(f"{a:.0f} {b:.1f}" for a, b in zip(x.tolist(), y.tolist(), strict=True))
    ruled = "" if limit is None else _path("limit", f"M0 {30 - (limit - low) / span * 28:.1f}H100")
    label = escape(f"{trend.measure.title.split(':')[0]} over time")
    return (
        f'<svg width="110" height="32" viewBox="0 0 100 32" preserveAspectRatio="none" role="img" aria-label="{label}">'
        f"{ruled}{_path('usual thin', 'M' + points)}</svg>"
    )


def _thinned(value: np.ndarray) -> np.ndarray:
    """Medians of neighbours, so that a line of many logs stays small."""
    if len(value) <= _POINTS:
        return value
    return np.array([np.median(part) for part in np.array_split(value, _POINTS)])


def _path(style: str, d: str) -> str:
    return f'<path class="{style}" fill="none" vector-effect="non-scaling-stroke" d="{d}"/>'
