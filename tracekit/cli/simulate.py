"""`tracekit simulate`: a synthetic log with known truth."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from tracekit.errors import OutputError, UsageError, message
from tracekit.simulate.draw_scenario import random_labels, random_scenario
from tracekit.simulate.load import load_scenario, scenario_names
from tracekit.simulate.log import simulate as make_log
from tracekit.simulate.log import whole
from tracekit.simulate.scenario import Scenario
from tracekit.simulate.station_text import station_text

DEFAULT_OUT = Path("tracekit-out")
KINDS = ("parquet", "csv")


def simulate(
    scenario: Annotated[str, typer.Argument(help="Name, TOML file, or a fault for a random station.")] = "",
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Default: tracekit-out/ and the scenario's name.")
    ] = None,
    kind: Annotated[str, typer.Option(metavar="parquet|csv", help="Format of the log.")] = "parquet",
    seed: Annotated[int | None, typer.Option(min=0, help="Draw the scatter (or the random station) anew.")] = None,
    cycles: Annotated[int | None, typer.Option(min=1, max=2000, help="Number of picks.")] = None,
    severity: Annotated[int, typer.Option(min=1, max=3, help="1 mild, 2 clear, 3 heavy; random stations only.")] = 2,
    as_json: Annotated[bool, typer.Option("--json", help="Print what was made as JSON.")] = False,
) -> None:
    """Make a synthetic log with known truth. Without a scenario, list them.

    DIR receives the log, truth.json and the station file that a plant would write.
    """
    if not scenario:
        names = {"scenarios": list(scenario_names()), "random": list(random_labels())}
        print(json.dumps(names, indent=1) if as_json else _listed())
        return
    if kind not in KINDS:
        raise UsageError(message("--kind", f'"{kind}"', "parquet or csv", "Choose one of them."))
    chosen = _chosen(scenario, seed, severity)
    log = make_log(replace(chosen, cycles=cycles or chosen.cycles))
    folder = out or DEFAULT_OUT / chosen.name
    path = log.write(folder, kind)
    _write_station(folder / "station.toml", station_text(log.truth))
    made = {"samples": len(log.time_s), "cycles": log.truth["summary"]["cycles"], "seed": chosen.seed}
    told = f"{path}: {made['samples']} samples, {made['cycles']} cycles, seed {made['seed']}"
    print(json.dumps({"log": str(path), **made}, indent=1) if as_json else told)


def _chosen(scenario: str, seed: int | None, severity: int) -> Scenario:
    """A named scenario, one from a file, or a random one of that fault."""
    if scenario in random_labels():
        return random_scenario(scenario, 1 if seed is None else seed, severity)
    loaded = load_scenario(scenario)
    return loaded if seed is None else replace(loaded, seed=seed)


def _write_station(path: Path, text: str) -> None:
    try:
        with whole(path) as beside:
            beside.write_text(text, encoding="utf-8")
    except OSError as problem:
        said = problem.strerror or str(problem)
        raise OutputError(message(path.name, said, "a file that can be written", "Choose another --out.")) from problem


def _listed() -> str:
    """The named scenarios with what each shows, and the faults of random ones."""
    widest = max(len(name) for name in scenario_names())
    named = [f"  {name:<{widest}}  {load_scenario(name).about}" for name in scenario_names()]
    return "\n".join(
        ["Scenarios:", *named, "", "Random stations, healthy or with one fault:", *(f"  {x}" for x in random_labels())]
    )
