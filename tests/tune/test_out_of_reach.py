"""A supply_off that no hold reaches never stays where it is in a suggestion."""

import pytest

from tests.tune import tuned_stations as stations
from tracekit.simulate.scenario import Saving, Switch

NEVER_CUTS = stations.scenario(
    stations.spec(
        saving=Saving(supply_off_kpa=89.0, supply_on_kpa=81.0), switch=Switch(set_point_kpa=76.0, reset_point_kpa=72.0)
    ),
    cycles=16,
)


@pytest.mark.parametrize("needed", [25, 50, 60, 66, 70, 74])
def test_a_level_out_of_reach_comes_down_or_nothing_is_entered(needed: int) -> None:
    """Under the weakest hold's peak, or no settings with the reason; never "every rule holds" over a level not reached."""
    found = stations.diagnosed(NEVER_CUTS, f"\n[load]\nneeded_vacuum_kpa = {needed}.0\n")
    assert "supply_off_unreachable" in [f.code for f in found.findings]
    held = found.data.cycles.where("outcome", "held")
    weakest = float(found.data.cycles.floats("peak_vacuum_kpa")[held].min())
    new = {s.name: s.suggested_kpa for s in found.suggestion.settings}
    if found.suggestion.withheld is None:
        assert new["supply_off"] < weakest
    else:
        assert new == {}
        assert "repair suction" in found.suggestion.withheld or "restore suction" in found.suggestion.withheld


def test_where_no_lower_level_keeps_every_rule_suction_is_restored_first() -> None:
    """A load just within reach leaves no room for the band under it."""
    found = stations.diagnosed(NEVER_CUTS, "\n[load]\nneeded_vacuum_kpa = 70.0\n")
    assert found.suggestion.withheld == "Supply off is out of reach and no lower one keeps every rule: restore suction first"
