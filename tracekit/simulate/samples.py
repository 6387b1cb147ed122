"""Makes the sample logs: `python -m tracekit.simulate.samples sample_logs`."""

import sys
from pathlib import Path
from typing import NamedTuple

from tracekit.simulate.load import load_scenario
from tracekit.simulate.log import SimulatedLog, simulate
from tracekit.simulate.scenario import Scenario
from tracekit.simulate.station_text import station_text


class Sample(NamedTuple):
    """One log: its scenario, the folder and stem it goes to, and its format."""

    scenario: str
    folder: str
    stem: str = "log"
    kind: str = "parquet"


SAMPLES: tuple[Sample, ...] = (
    Sample("glaze_line_healthy", "glaze_line_healthy", kind="csv"),
    Sample("loader_2_torn_cup", "loader_2_torn_cup", kind="csv"),
    Sample("loader_2_healthy", "loader_2_torn_cup", stem="baseline"),
    Sample("kiln_feeder_porous_tiles", "kiln_feeder_porous_tiles"),
    Sample("sorter_east_chattering_output", "sorter_east_chattering_output"),
    Sample("glaze_line_clogged_filter", "glaze_line_clogged_filter"),
    Sample("glaze_line_healthy", "glaze_line_clogged_filter", stem="baseline"),
    Sample("stacker_4_weak_blow_off", "stacker_4_weak_blow_off"),
    Sample("press_outlet_never_saves", "press_outlet_never_saves"),
    Sample("loader_2_before_repair", "loader_2_repair", stem="before"),
    Sample("loader_2_after_repair", "loader_2_repair", stem="after"),
    *(Sample(f"kiln_feeder_day_{day}", "kiln_feeder_week", stem=f"day_{day}") for day in range(1, 8)),
)


def write_sample(sample: Sample, place: Path) -> tuple[Scenario, SimulatedLog, Path]:
    """Make one sample under `place`, with its truth, and the folder's station file from its first log.

    Gives the scenario, the log and its path. Raises OutputError where nothing can be written.
    """
    scenario = load_scenario(sample.scenario)
    log = simulate(scenario)
    path = log.write(place / sample.folder, sample.kind, sample.stem)
    if sample.stem in ("log", "before", "day_1"):
        text = station_text(log.truth, one_day=sample.stem == "log")
        (place / sample.folder / "station.toml").write_text(text, encoding="utf-8")
    return scenario, log, path


def write_samples(place: Path) -> None:
    """Make every sample log under `place` and the README that lists them."""
    rows = []
    for sample in SAMPLES:
        scenario, log, path = write_sample(sample, place)
        shown = path.relative_to(place).as_posix()
        rows.append(f"| `{shown}` | {scenario.seed} | {len(log.time_s)} | {scenario.cycles} | {scenario.about} |")
    (place / "README.md").write_text(_README.format(rows="\n".join(rows)), encoding="utf-8")


_README = """# Sample logs

Logs of an invented tile works, made by `tracekit.simulate`. Nothing here was recorded on a real machine. Each log has
its truth beside it (`truth.json`, or `<log>_truth.json`), and each folder the station file that a plant would write.

All of them again, from the top of the checkout:

    python -m tracekit.simulate.samples sample_logs

One of them: `tracekit simulate loader_2_torn_cup --out somewhere`.

| log | seed | rows | cycles | what it shows |
| --- | --- | --- | --- | --- |
{rows}
"""


if __name__ == "__main__":
    write_samples(Path(sys.argv[1] if len(sys.argv) > 1 else "sample_logs"))
