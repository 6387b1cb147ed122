"""Limits of the station file on the screen of a diagnosis, and in its exit status."""

import re
from html import unescape
from pathlib import Path

import pytest
from made_logs import write_log

from tracekit import cli
from tracekit.model.station import Limit, Station, StationFacts
from tracekit.report.passed import limits_passed


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
    shown = " ".join(capsys.readouterr().out.split())
    assert told in shown
    assert ("Limit passed: " in shown) is bool(told)


def _words(page: Path) -> str:
    main = re.sub(r"<[^>]*>", " ", page.read_text(encoding="utf-8").partition("<main")[2])
    return " ".join(unescape(main).replace("\u00a0", " ").split()).replace(" ,", ",")


def test_a_limit_on_the_pages(tmp_path: Path) -> None:
    """Page and index of the folder tell a limit that is passed in the reader's unit, and are as urgent as it says."""
    file = tmp_path / "s.toml"
    limit = 'decay_rate_kpa_s = { max = 0.5, severity = "major" }'
    file.write_text(f'[station]\nname = "Loader 2"\n[limits]\n{limit}\n', encoding="utf-8")
    logs = [str(write_log(tmp_path / f"{name}.csv", decay_kpa_s=rate)) for name, rate in (("a", 0.3), ("b", 1.0))]
    assert cli.run(["diagnose", *logs, "--station", str(file), "--units", "mbar", "--out", str(tmp_path / "out")]) == 0
    page = _words(tmp_path / "out" / "b" / "report.html")
    told = re.search(r"Limit passed: .* mbar/s, at most 5 by the station file \(major\)\. Repair this shift\.", page)
    assert told is not None
    assert page.index(told[0]) < page.index("First:")
    assert "Limit passed" not in _words(tmp_path / "out" / "a" / "report.html")
    index = _words(tmp_path / "out" / "index.html")
    assert index.count("Limit passed: ") == 1
    assert index.index("Repair this shift.") < index.index("Plan the change.")


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


def test_a_leak_has_the_digits_of_its_interval() -> None:
    """A limit says the leak as the verdict does: no finer than its interval."""
    decay = {"value": 0.2963, "lower": 0.2541, "upper": 0.3391, "unit": "kPa/s"}
    file = Station(limits={"decay_rate_kpa_s": Limit(max=0.2)})
    (only,) = limits_passed(_document(decay), (file,))
    assert "closed 0.30\u00a0kPa/s, at most 0.2 by" in only.text


def test_shares_of_cycles() -> None:
    """Drops count among picked cycles, misses among complete ones; files of other stations do not count."""
    shares = {"drop_share": Limit(max=0.24), "miss_share": Limit(max=0.21)}
    file = Station(station=StationFacts(name="Loader 2"), limits=shares)
    (only,) = limits_passed(_document({}), (file, Station(limits={"miss_share": Limit(max=0.0)})))
    assert "0.25" in only.text
    assert only.severity == "major"
