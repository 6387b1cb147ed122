"""What `tracekit tune` says besides settings: the leak that keeps it from suggesting, and a page that it replaces."""

from pathlib import Path

from tracekit import cli

CUP = Path(__file__).parents[2] / "sample_logs" / "loader_2_torn_cup"


def test_a_leak_that_decides_is_told_and_an_earlier_page_too(tmp_path, capsys):
    """The rate, the command that finds its place; the second run says that it replaces the page of the first."""
    asked = ["tune", str(CUP / "log.csv"), "--station", str(CUP / "station.toml"), "--out", str(tmp_path / "out")]
    assert cli.run(asked) == 0
    first = " ".join(capsys.readouterr().out.split())
    assert "Leak: vacuum falls " in first
    assert "tracekit diagnose log.csv" in first
    assert "replaces" not in first
    assert cli.run(asked) == 0
    assert "(replaces the one that was there)" in capsys.readouterr().out
