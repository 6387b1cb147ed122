"""`tracekit explain` prints an entry or the list of codes, wrapped, and as JSON on request."""

import json

import pytest

from tracekit import cli
from tracekit.model.finding import CODES


def _run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    status = cli.run(["explain", *arguments])
    printed = capsys.readouterr()
    return status, printed.out, printed.err


@pytest.mark.parametrize("width", [40, 80])
def test_every_entry_is_wrapped(width: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Each entry prints its parts within the terminal's width."""
    monkeypatch.setenv("COLUMNS", str(width))
    for code in CODES:
        status, out, err = _run(capsys, code)
        assert (status, err) == (0, "")
        assert max(map(len, out.splitlines())) <= width
        for heading in ("How it shows in a log", "What else looks like it", "Quick test", "Repair", "How to verify"):
            assert heading in out
        assert "licensed practice" in out.replace("\n", " ").replace("    ", " ")


def test_a_recorded_test_says_how_to_record(capsys: pytest.CaptureFixture[str]) -> None:
    """The plate test names its file and the option that reads it, and the state of the machine."""
    _, out, _ = _run(capsys, "leak_steady")
    assert "--blanked" in out
    assert "Quick test (5 to 10 min; safe stop)" in out
    assert "Repair (5 to 15 min; locked out)" in out


def test_without_a_code_all_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """Without a code each code stands once beside its title, under its kind."""
    status, out, _ = _run(capsys)
    assert status == 0
    listed = [line.split()[0] for line in out.splitlines() if line.startswith("  ")]
    assert listed == list(CODES)
    assert out.index("Causes") < out.index("leak_steady") < out.index("Symptoms") < out.index("part_dropped")


def test_json(capsys: pytest.CaptureFixture[str]) -> None:
    """With --json the entry and the list are machine-readable and carry their schema's name."""
    one = json.loads(_run(capsys, "check_valve_leak", "--json")[1])
    assert one["schema"] == "tracekit.explain/1"
    assert one["title"] == "Leak back through the check valve"
    assert one["repair"]["minutes"] == [15, 30]
    everything = json.loads(_run(capsys, "--json")[1])
    assert [entry["code"] for entry in everything["codes"]] == list(CODES)


def test_unknown_code(capsys: pytest.CaptureFixture[str]) -> None:
    """A mistyped code ends with status 2 and one message that names the nearest."""
    status, out, err = _run(capsys, "flow_restrictd")
    assert (status, out) == (2, "")
    assert 'Did you mean "flow_restricted"?' in err


def test_an_entry_is_called_as_a_page_calls_it(capsys: pytest.CaptureFixture[str]) -> None:
    """The first line is the name that stands on pages; the handbook's own title follows."""
    assert cli.run(["explain", "check_valve_leak"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "Leaking check valve"
    assert "Also called: Leak back through the check valve" in lines
