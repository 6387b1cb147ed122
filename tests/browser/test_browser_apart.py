"""Labels of all pictures of real diagnoses: of every sample log and of twelve simulated stations."""

from pathlib import Path

import pytest
from browser_scripts import CLIPPED, OVERLAPS

from tracekit import cli

pytestmark = pytest.mark.browser

SAMPLES = Path(__file__).parents[2] / "sample_logs"
LOGS = [*sorted(p.parent.name for p in SAMPLES.glob("*/log.*")), "kiln_feeder_week", "loader_2_repair"]
FAULTS = (
    "setpoint_too_high", "growing_leak", "clogged_filter", "healthy_airsave", "drops_gradual", "low_supply_pressure",
    "leaking_check_valve", "sensor_stuck", "motion_dips", "cutoff_unreachable", "release_valve_leak",
    "part_dependent_leak",
)  # fmt: skip
MOST_BYTES = 3_000_000


def _arguments(name: str, folder: Path) -> list[str]:
    """The log, its station file and its baseline, a simulated one made first."""
    place = SAMPLES / name
    if name in FAULTS:
        place = folder / "made"
        assert cli.run(["simulate", name, "--seed", "31", "--out", str(place), "--json"]) == 0
    log = next(p for pattern in ("log.*", "before.*", "day_7.*") for p in place.glob(pattern))
    more = [str(p) for p in place.glob("baseline.parquet")]
    return [str(log), "--station", str(next(place.glob("*.toml"))), *(["--baseline", *more] if more else [])]


@pytest.mark.parametrize("name", [*LOGS, *FAULTS])
def test_labels_lie_apart_on_pages_of_logs(visit, tmp_path, name):
    """On a phone, at a desk and on paper no label lies on another and no text is cut; the page stays under 3 MB."""
    assert cli.run(["diagnose", *_arguments(name, tmp_path), "--out", str(tmp_path / "out"), "--quiet"]) == 0
    path = tmp_path / "out" / "report.html"
    assert path.stat().st_size <= MOST_BYTES
    page = visit(name, width=360, path=path, ready=False)
    for width, media in ((360, "screen"), (1280, "screen"), (688, "print")):
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(media=media)
        assert page.evaluate(OVERLAPS) == [], (width, media)
        if media == "screen":
            assert page.evaluate(CLIPPED) == [], width
