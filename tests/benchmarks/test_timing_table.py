"""What the benchmarks say of a process is of that process alone."""

import sys
from pathlib import Path

import pytest
from benchmarks.timing_table import REPORTS, Table, run


def test_memory_of_a_small_process_started_by_a_large_one() -> None:
    """The memory of the process that starts the command is not counted with the command's."""
    held = bytearray(b"1") * (150 << 20)
    assert run([sys.executable, "-c", "pass"]).peak_mib < 75.0
    used = run([sys.executable, "-c", "held = bytearray(b'1') * (100 << 20)"])
    assert 100.0 < used.peak_mib < 175.0
    assert len(held) == 150 << 20
    assert 0.0 < used.cpu_s < 60.0
    assert used.wall_s > 0.0


def test_large_figures_are_written_out() -> None:
    """A figure of a thousand and more has no exponent, one that misses its goal says so."""
    table = Table(load=0.0)
    table.add("memory", 1266.2, "MiB", 350.0)
    assert "| memory | 1266 MiB | ≤ 350 | no |" in table.text()
    assert "compiled before the runs" in table.text()


def test_the_table_is_kept_in_a_new_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The folder that is named for the table is made where it is missing."""
    monkeypatch.setenv(REPORTS, str(tmp_path / "new" / "reports"))
    Table(load=0.0).finish()
    assert (tmp_path / "new" / "reports" / "speed.md").read_text(encoding="utf-8").startswith("# Speed\n")
