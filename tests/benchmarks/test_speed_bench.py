"""Speed of the main job as ratios to bare measurements in the same run.

python -m pytest -m bench -s tests/benchmarks/test_speed_bench.py            # short form
python -m pytest -m "bench or full" -s tests/benchmarks/test_speed_bench.py  # long form, several minutes

The table says which goals are reached; with TRACEKIT_HOLD_GOALS set a missed one fails, on a machine that was idle. Processor seconds (all
threads) stand beside wall-clock ones: they suffer less from neighbours, but do not show what overlaps.
"""

import json
import os
import statistics
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from benchmarks import material
from benchmarks.timing_table import ROOT, Table, as_installed, in_turn, median_ratio, run

HERE = Path(__file__).parent
PY = sys.executable
SPIN = "n = 0\nwhile n < 12_000_000: n += 1"
TWO_SPINS = (
    "import subprocess, sys\n"
    f"two = [subprocess.Popen([sys.executable, '-c', {SPIN!r}]) for _ in range(2)]\n"
    "[p.wait() for p in two]"
)


@pytest.fixture(scope="module")
def table() -> Iterator[Table]:
    """The table that all tests fill and the last one prints."""
    made = Table()
    yield made
    made.finish()


@pytest.fixture(scope="module")
def times(request: pytest.FixtureRequest) -> int:
    """How often things are measured: more in the long form."""
    return 3 if "full" in request.config.option.markexpr.replace("not full", "") else 2


@pytest.fixture(scope="module")
def simulated() -> Any:
    """Sixty picks."""
    return material.picks(60)


@pytest.fixture(scope="module")
def hour(simulated: Any, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """An hour at 1 kHz as text and as Parquet."""
    place = tmp_path_factory.mktemp("hour")
    return {
        "csv": material.write_csv(simulated, material.HOUR_ROWS, place / "hour.csv"),
        "parquet": material.write_parquet(simulated, material.HOUR_ROWS, place / "hour.parquet"),
    }


def stages(path: Path, times: int) -> list[dict[str, Any]]:
    """Turns of bare reading and diagnosis in one process; the first, which warms caches, is left out."""
    command = [PY, str(HERE / "stages.py"), str(path), str(times + 1)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT, env=as_installed())
    return [json.loads(line) for line in done.stdout.splitlines()][1:]


def seconds(turns: list[dict[str, Any]], kind: int, *names: str) -> list[float]:
    """Summed seconds of some stages, turn by turn; kind 0 is wall-clock, 1 processor."""
    return [sum(turn["spent"][name][kind] for name in names) for turn in turns]


@pytest.mark.bench
def test_text(table: Table, hour: dict[str, Path], times: int) -> None:
    """The pass over a text log costs at most 1.25 times a bare typed parse; fits, ranking, injections keep their budget."""
    turns = stages(hour["csv"], times)
    wall = median_ratio(seconds(turns, 0, "open", "samples"), seconds(turns, 0, "bare"))
    cpu = median_ratio(seconds(turns, 1, "open", "samples"), seconds(turns, 1, "bare"))
    table.more.append(f"Pass over the text log in processor seconds: {cpu:.2f} times the bare parse (both cores counted).\n")
    fits = statistics.median(seconds(turns, 1, "leak", "judge"))
    budget = 0.6 + 1e-4 * turns[0]["coasts"]
    share = {name: statistics.median(seconds(turns, 1, name)) for name in turns[0]["spent"]}
    table.more.append(
        "Processor seconds by stage, text, 3.6 million rows, "
        f"{turns[0]['cycles']} cycles, {turns[0]['coasts']} coasts: "
        + ", ".join(f"{name} {spent:.2f}" for name, spent in share.items()) + ".\n"
    )  # fmt: skip
    reached = table.add("CSV pass ÷ typed streaming parse, wall clock", wall, "", 1.25)
    reached &= table.add("fits, ranking, injections, processor", fits, "s", budget)
    assert table.add("page, processor", share["page"], "s", 0.3) & reached


@pytest.mark.bench
def test_parquet(table: Table, hour: dict[str, Path], times: int) -> None:
    """A Parquet log is analysed at no less than half of the rate of a bare stream."""
    turns = stages(hour["parquet"], times)
    ratio = median_ratio(seconds(turns, 0, "bare"), seconds(turns, 0, "open", "samples"))
    cpu = [statistics.median(seconds(turns, 1, *names)) for names in (("bare",), ("open", "samples"))]
    table.more.append(f"Parquet, processor seconds: bare stream {cpu[0]:.2f}, pass {cpu[1]:.2f}, ratio {cpu[0] / cpu[1]:.2f}.\n")
    rate = turns[0]["rows"] / statistics.median(seconds(turns, 0, "open", "samples")) / 1e6
    reached = table.add("Parquet rows/s ÷ bare stream", ratio, "", 0.5, least=True)
    assert table.add("Parquet, million rows per second", rate, "", 25.0, least=True) & reached


@pytest.mark.bench
def test_whole_command(table: Table, hour: dict[str, Path], times: int, tmp_path: Path) -> None:
    """The command with its page takes no longer than a plain pandas script, in at most 200 MiB."""
    ours = [PY, "-m", "tracekit", "diagnose", str(hour["csv"]), "--out", str(tmp_path), "--quiet"]
    script = [PY, str(HERE / "pandas_script.py"), str(hour["csv"])]
    runs = in_turn([ours, script], times)
    wall = median_ratio([r.wall_s for r in runs[0]], [r.wall_s for r in runs[1]])
    cpu = median_ratio([r.cpu_s for r in runs[0]], [r.cpu_s for r in runs[1]])
    table.more.append(
        f"Whole command: {statistics.median(r.wall_s for r in runs[0]):.2f} s wall clock, {cpu:.2f} times the script's "
        f"processor seconds; the script's memory {max(r.peak_mib for r in runs[1]):.0f} MiB.\n"
    )
    peak = max(r.peak_mib for r in runs[0])
    reached = table.add("whole command with page ÷ pandas script, wall clock", wall, "", 1.0)
    remembered = table.add("peak memory, 3.6 million rows", peak, "MiB", 200.0)
    assert reached
    assert remembered


@pytest.mark.bench
def test_help(table: Table) -> None:
    """--help takes at most nine times what an empty Python takes."""
    runs = in_turn([[PY, "-m", "tracekit", "--help"], [PY, "-c", "pass"]], 7)
    ratio = median_ratio([r.cpu_s for r in runs[0]], [r.cpu_s for r in runs[1]])
    assert table.add("tracekit --help ÷ python -c pass, processor", ratio, "", 9.0)


@pytest.mark.bench
def test_two_workers(table: Table, simulated: Any, times: int, tmp_path: Path) -> None:
    """Two workers over many files gain at least 0.9 of what two pure spins gain."""
    logs = 16
    for number in range(logs):
        material.write_parquet(simulated, 150_000, tmp_path / f"log_{number}.parquet", number)
    base = [PY, "-m", "tracekit", "diagnose", str(tmp_path), "--out", str(tmp_path / "out"), "--quiet", "--workers"]
    runs = in_turn([[*base, "1"], [*base, "2"], [PY, "-c", SPIN], [PY, "-c", TWO_SPINS]], times - 1)
    gain = median_ratio([r.wall_s for r in runs[0]], [r.wall_s for r in runs[1]])
    spin = 2.0 * median_ratio([r.wall_s for r in runs[2]], [r.wall_s for r in runs[3]])
    table.more.append(f"Two workers over {logs} logs of 150 000 rows gain {gain:.2f}, two spins {spin:.2f}.\n")
    assert table.add("gain of two workers ÷ gain of two spins", gain / spin, "", 0.9, least=True)


def exponent(table: Table, simulated: Any, place: Path, counts: tuple[int, ...], times: int) -> float:
    """Exponent of processor seconds of the pass against rows."""
    spent = []
    for rows in counts:
        path = material.write_parquet(simulated, rows, place / "rows.parquet")
        turns = stages(path, times)
        spent.append(statistics.median(seconds(turns, 1, "open", "samples")))
        path.unlink()
    listed = ", ".join(f"{rows:.0e}: {s:.3f} s" for rows, s in zip(counts, spent, strict=True))
    table.more.append(f"Pass over Parquet against rows, processor seconds: {listed}.\n")
    return float(np.polyfit(np.log(counts), np.log(spent), 1)[0])


@pytest.mark.bench
def test_time_against_rows(table: Table, simulated: Any, times: int, tmp_path: Path) -> None:
    """Time grows no faster than rows."""
    found = exponent(table, simulated, tmp_path, (200_000, 600_000, 2_000_000), times)
    assert table.add("exponent of time against rows, 2·10⁵ to 2·10⁶", found, "", 1.02)


@pytest.mark.full
def test_time_against_very_many_rows(table: Table, simulated: Any, tmp_path: Path) -> None:
    """Time grows no faster than rows up to 10⁸."""
    found = exponent(table, simulated, tmp_path, (100_000, 1_000_000, 10_000_000, 100_000_000), 1)
    assert table.add("exponent of time against rows, 10⁵ to 10⁸", found, "", 1.02)


@pytest.mark.full
def test_memory_of_very_many_rows(table: Table, simulated: Any, tmp_path: Path) -> None:
    """The command with its page takes at most 350 MiB for 10⁸ rows."""
    path = material.write_parquet(simulated, 100_000_000, tmp_path / "long.parquet")
    one = run([PY, "-m", "tracekit", "diagnose", str(path), "--out", str(tmp_path / "out"), "--quiet"])
    table.more.append(f"Whole command over 10⁸ rows: {one.wall_s:.0f} s wall clock, {one.cpu_s:.0f} s of processor.\n")
    assert table.add("peak memory, 10⁸ rows", one.peak_mib, "MiB", 350.0)


@pytest.mark.full
def test_time_against_cycles(table: Table, simulated: Any, tmp_path: Path) -> None:
    """Fits, ranking and injections grow no faster than cycles."""
    counts, spent = [], []
    for rows in (300_000, 1_000_000, 3_600_000, 10_000_000):
        turns = stages(material.write_parquet(simulated, rows, tmp_path / "rows.parquet"), 2)
        counts.append(turns[0]["cycles"])
        spent.append(statistics.median(seconds(turns, 1, "leak", "judge")))
    listed = ", ".join(f"{count} cycles: {s:.2f} s" for count, s in zip(counts, spent, strict=True))
    table.more.append(f"Fits, ranking and injections, processor seconds: {listed}.\n")
    found = float(np.polyfit(np.log(counts), np.log(spent), 1)[0])
    assert table.add("exponent of fits against cycles", found, "", 1.02)


@pytest.mark.full
def test_workers(table: Table, simulated: Any, tmp_path: Path) -> None:
    """Seconds per log over 24 logs of five minutes with one and two workers, told for planning."""
    for number in range(24):
        material.write_parquet(simulated, 300_000, tmp_path / f"log_{number}.parquet", number)
    told = []
    for workers in range(1, (os.cpu_count() or 1) + 1):
        out = str(tmp_path / f"out_{workers}")
        one = run([PY, "-m", "tracekit", "diagnose", str(tmp_path), "--out", out, "--quiet", "--workers", str(workers)])
        told.append(f"{workers}: {one.wall_s / 24:.2f} s wall clock, {one.cpu_s / 24:.2f} s processor")
        assert len(list(Path(out).glob("*/report.html"))) == 24
    table.more.append(f"Per log of 300 000 rows, by workers: {'; '.join(told)}.\n")
