"""Measuring commands in turn, and the table of what came out."""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).parents[2]
REPORTS = "TRACEKIT_REPORTS"
STRICT = "TRACEKIT_HOLD_GOALS"
FAR = 8.0
"""Environment variable with a folder: the table is written there too."""


@dataclass(frozen=True)
class Run:
    """One process: wall-clock and processor seconds with its children, highest memory of any of them [MiB]."""

    wall_s: float
    cpu_s: float
    peak_mib: float


def as_installed() -> dict[str, str]:
    """The environment in which compiled modules are kept, as an installation has them."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": str(Path(tempfile.gettempdir(), "tracekit-compiled"))}


_SMALL_PARENT = (
    "import resource, subprocess, sys, time; begun = time.perf_counter();"
    "code = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL).returncode; wall = time.perf_counter() - begun;"
    "used = resource.getrusage(resource.RUSAGE_CHILDREN);"
    "print(wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024); sys.exit(code)"
)
"""Runs the command: a process is said to have used at least the memory of the one that started it, which has to be small."""


def run(arguments: Sequence[str]) -> Run:
    """Run a command to its end. Raises where it fails."""
    command = [sys.executable, "-c", _SMALL_PARENT, *arguments]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, env=as_installed(), check=False)
    assert done.returncode in (0, 1), done.stderr
    wall, cpu, peak = map(float, done.stdout.split())
    return Run(wall, cpu, peak)


def in_turn(commands: Sequence[Sequence[str]], times: int) -> list[list[Run]]:
    """Each command so many times, one after the other in turn, so that a busy moment meets all alike.

    A first turn, in which modules are compiled and files come into memory, does not count.
    """
    for command in commands:
        run(command)
    runs: list[list[Run]] = [[] for _ in commands]
    for _ in range(times):
        for kept, command in zip(runs, commands, strict=True):
            kept.append(run(command))
    return runs


def median_ratio(ours: Sequence[float], bare: Sequence[float]) -> float:
    """Median of the ratios turn by turn."""
    return statistics.median(a / b for a, b in zip(ours, bare, strict=True))


def machine() -> str:
    """Processor, cores, load before the run."""
    model = "unknown processor"
    if (info := Path("/proc/cpuinfo")).exists():
        names = [line.split(":", 1)[1].strip() for line in info.read_text().splitlines() if line.startswith("model name")]
        model = names[0] if names else model
    return f"{model}, {os.cpu_count()} cores"


def _commit() -> str:
    """The commit that is measured, asked for before the run: others may commit meanwhile."""
    said = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, cwd=ROOT, check=False)
    return said.stdout.strip() or "unknown"


@dataclass
class Table:
    """Rows of measure, figure, goal; printed at the end. `busy`: others had the machine too, so goals are not held."""

    load: float = field(default_factory=lambda: os.getloadavg()[0])
    rows: list[tuple[str, str, str, str]] = field(default_factory=list)
    more: list[str] = field(default_factory=list)
    commit: str = field(default_factory=_commit)

    @property
    def busy(self) -> bool:
        """Whether others kept the cores busy when the benchmarks began."""
        return self.load > 0.5 * (os.cpu_count() or 1)

    def add(self, measure: str, value: float, unit: str, goal: float, *, least: bool = False) -> bool:
        """Note a figure; whether it reaches its goal, or the machine was too busy to tell.

        The table says which goals are missed. Unless goals are to be held to the letter, a figure only fails where it
        is worse than its goal by a factor that no slower machine explains.
        """
        reached = value >= goal if least else value <= goal
        far = value < goal / FAR if least else value > goal * FAR
        sign = "≥" if least else "≤"
        self.rows.append((measure, f"{value:.0f} {unit}".strip() if value >= 1000 else f"{value:.3g} {unit}".strip(), f"{sign} {goal:.3g}", "yes" if reached else "no"))
        return reached or self.busy or (not os.environ.get(STRICT) and not far)

    def text(self) -> str:
        """The table in Markdown."""
        head = [
            "# Speed", "",
            f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC, commit {self.commit}, Python {sys.version.split()[0]}, {machine()}.",
            f"Load average before the run {self.load:.1f}"
            + (": the machine was shared, so wall-clock figures are too high and goals that need free cores cannot be judged."
               if self.busy else "."),
            "Modules are compiled before the runs, as an installation has them; what compiles them is not counted.",
            "", "| measure | figure | goal | reached |", "| --- | --- | --- | --- |",
        ]  # fmt: skip
        return "\n".join([*head, *(f"| {' | '.join(row)} |" for row in self.rows), "", *self.more, ""])

    def finish(self) -> None:
        """Print, and write where a folder is named."""
        print("\n" + self.text())
        if folder := os.environ.get(REPORTS):
            Path(folder).mkdir(parents=True, exist_ok=True)
            Path(folder, "speed.md").write_text(self.text(), encoding="utf-8")


def own_peak_mib() -> float:
    """Highest memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
