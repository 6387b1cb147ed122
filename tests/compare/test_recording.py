"""From a diagnosis to the recording that is compared."""

from dataclasses import replace

import numpy as np
import pytest
import stories

from tracekit.compare.recording import recording_of
from tracekit.errors import UsageError
from tracekit.model.estimate import Estimate
from tracekit.model.result import BudgetLine, DiagnosisRecord
from tracekit.model.station import Station, StationFacts


def _record() -> DiagnosisRecord:
    return stories.torn_cup()


def test_what_is_taken_over() -> None:
    """Cycles, leak, settings, sensor and ambient come from the diagnosis as they are."""
    record = _record()
    result = record.stations[0]
    found = recording_of(record, None, ())
    assert found.cycles is result.data.cycles
    assert found.leak is result.leak.decay_rate
    assert found.facts is record.logs[0]
    assert found.ambient_kpa == result.data.ambient_kpa
    assert found.settings == result.data.settings
    assert found.volume_ml is None
    assert found.leak_rate is None


def test_the_first_finding_is_the_first_cause() -> None:
    """Among findings above info the first that is no symptom leads; codes are all of them."""
    record = _record()
    result = record.stations[0]
    symptom = replace(result.findings[0], code="part_dropped", kind="symptom", severity="critical")
    cause = replace(result.findings[0], code="leak_steady", kind="cause", severity="minor")
    note = replace(result.findings[0], code="log_gaps", kind="recording", severity="info")
    mixed = replace(record, stations=(replace(result, findings=(note, symptom, cause)),))
    found = recording_of(mixed, None, ())
    assert found.first_code == "leak_steady"
    assert found.codes == ("part_dropped", "leak_steady")
    alone = replace(record, stations=(replace(result, findings=(symptom,)),))
    assert recording_of(alone, None, ()).first_code == "part_dropped"
    silent = replace(record, stations=(replace(result, findings=(note,)),))
    assert recording_of(silent, None, ()).first_code is None


def test_common_parts_of_the_budget() -> None:
    """Only contributions that all cycles share enter, added in squares."""
    record = _record()
    result = record.stations[0]
    lines = (
        BudgetLine(source="zero", u_kpa_s=0.03, common=True), BudgetLine(source="ambient", u_kpa_s=0.04, common=True),
        BudgetLine(source="noise", u_kpa_s=0.5, common=False),
    )  # fmt: skip
    with_budget = replace(record, stations=(replace(result, leak=replace(result.leak, budget=lines)),))
    assert recording_of(with_budget, None, ()).leak_common_u == pytest.approx(0.05)
    without = replace(record, stations=(replace(result, leak=replace(result.leak, budget=())),))
    assert recording_of(without, None, ()).leak_common_u is None


def test_the_station_file() -> None:
    """Volume and sensor place come from the station's own file, by name, or the only one."""
    record = _record()
    name = record.stations[0].data.station
    own = Station(station=StationFacts(name=name, volume_ml=60.0, sensor_at="cup"))
    other = Station(station=StationFacts(name="Loader 9", volume_ml=10.0))
    found = recording_of(record, None, (other, own))
    assert (found.volume_ml, found.sensor_at) == (60.0, "cup")
    assert recording_of(record, None, (other,)).volume_ml == 10.0
    result = record.stations[0]
    if isinstance(result.leak_rate_pa_m3_s, Estimate):
        assert found.leak_rate is result.leak_rate_pa_m3_s


def test_one_of_several_stations() -> None:
    """A log of several stations needs the name of one; a wrong name is refused with the right ones."""
    record = stories.many()
    names = [r.data.station for r in record.stations]
    assert recording_of(record, names[1], ()).station == names[1]
    with pytest.raises(UsageError, match="Give --only NAME"):
        recording_of(record, None, ())
    with pytest.raises(UsageError, match="Correct --only"):
        recording_of(record, "nowhere", ())


def test_the_vacuum_at_release() -> None:
    """The vacuum at which releases begin is the median over the release periods, NaN without any."""
    record = _record()
    result = record.stations[0]
    periods = result.data.periods
    begun = periods.floats("vacuum_start_kpa")[periods.where("kind", "release")]
    found = recording_of(record, None, ()).release_vacuum_kpa
    if len(begun):
        assert found == pytest.approx(float(np.median(begun)))
    none = np.zeros(len(periods), np.int32)
    bare = replace(result, data=replace(result.data, periods=periods.with_columns(kind=none)))
    assert np.isnan(recording_of(replace(record, stations=(bare,)), None, ()).release_vacuum_kpa)
