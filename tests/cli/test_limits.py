"""Limits of the station file on the screen of a diagnosis, and in its exit status."""

from pathlib import Path

import pytest
from made_logs import write_log

from tracekit import cli
from tracekit.cli.limits import limits_passed
from tracekit.model.station import Limit, Station, StationFacts


@pytest.mark.parametrize(
    ("limit", "told"),
    [
        ('decay_rate_kpa_s = { max = 0.5, severity = "critical" }', "at most 0.5 by the station file (critical)"),
        ('hold_vacuum_kpa = { min = 80.0, severity = "critical" }', "at least 80 by the station file (critical)"),
        ('decay_rate_kpa_s = { max = 4.0, severity = "critical" }', ""),
        ('drop_share = { max = 0.0, severity = "critical" }', ""),
    ],
)
def test_a_limit_of_the_station_file(limit: str, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A limit that is passed is told and counts for --fail-on as severe as the file says; one that is kept is not."""
    file = tmp_path / "s.toml"
    file.write_text(f'[station]\nname = "Loader 2"\n[limits]\n{limit}\n', encoding="utf-8")
    log = write_log(tmp_path / "loader.csv", decay_kpa_s=1.0)
    arguments = ["diagnose", str(log), "--station", str(file), "--fail-on", "critical", "--out", str(tmp_path / "out")]
    assert cli.run(arguments) == (1 if told else 0)
    shown = capsys.readouterr().out
    assert told in shown
    assert ("Limit passed: " in shown) is bool(told)


def _document(decay: dict[str, object]) -> dict[str, object]:
    summary = {"cycles": 12, "held": 6, "dropped": 2, "missed": 2, "incomplete": 2, "measures": {}}
    return {"stations": [{"station": "Loader 2", "summary": summary, "leak": {"decay_rate_kpa_s": decay}}]}


@pytest.mark.parametrize(
    ("decay", "passed"),
    [
        ({"value": 4.5}, True),
        ({"status": "lower_bound", "limit": 4.5}, True),
        ({"status": "upper_bound", "limit": 4.5}, False),
        ({"status": "withheld", "reason": "no coast"}, False),
    ],
)
def test_a_leak_that_is_no_value(decay: dict[str, object], passed: bool) -> None:
    """A leak known to be larger than the limit passes it; one that may be smaller, or is withheld, does not."""
    file = Station(limits={"decay_rate_kpa_s": Limit(max=4.0, severity="minor")})
    assert [one.severity for one in limits_passed(_document(decay), (file,))] == (["minor"] if passed else [])


def test_shares_of_cycles() -> None:
    """Drops count among picked cycles, misses among complete ones; files of other stations do not count."""
    shares = {"drop_share": Limit(max=0.24), "miss_share": Limit(max=0.21)}
    file = Station(station=StationFacts(name="Loader 2"), limits=shares)
    (only,) = limits_passed(_document({}), (file, Station(limits={"miss_share": Limit(max=0.0)})))
    assert "0.25" in only.text
    assert only.severity == "major"
