"""Why settings stay, in plain words."""

from tracekit.tune.order import Rules
from tracekit.tune.reasons import leave

RULES = Rules(
    guard=4.0, step=0.1, hysteresis=1.0, band=3.0, band_most=20.0, needed=None, open_level=None, point_most=None,
    off_most=None, dip_level=None, known={},
)  # fmt: skip


def test_settings_that_stay_say_how_far_apart_they_are():
    """The distance that keeps the output on is told by its two settings; one within the guard is not praised."""
    told = leave(RULES, {"reset_point": 50.0, "supply_on": 62.0})
    assert told == "Leave them: no change clearly helps; the supply resumes 12.0 kPa above the reset point"
    assert leave(RULES, {"reset_point": 60.0, "supply_on": 62.0}) == "Leave them: no change clearly helps"
