"""Simulated recordings that another program made, with their truth: read, diagnosed, written and scored.

The folder comes from the environment variable TRACEKIT_RECORDINGS; its own `score.py` is the judge.
"""

import importlib.util
import json
from functools import cache
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from recordings import GIVEN, SIMULATED

from tracekit.pipeline import diagnose
from tracekit.read.station_file import load_station
from tracekit.report.files import write_result

FOLDER = SIMULATED
LOGS = (
    "healthy_plain_0",
    "healthy_airsave_0",
    "leak_orifice_0",
    "leak_porous_1",
    "leak_part_dependent_1",
    "leaking_check_valve_1",
    "clogged_filter_1",
    "clogged_silencer_1",
    "low_supply_2",
    "sticking_valve_1",
    "weak_release_1",
    "drops_sudden_1",
    "missed_picks_1",
    "chatter_hysteresis_1",
    "cutoff_unreachable_1",
    "sensor_zero_drift_1",
)

pytestmark = [
    pytest.mark.skipif(not GIVEN, reason="TRACEKIT_RECORDINGS is not set"),
    pytest.mark.skipif(bool(GIVEN) and not FOLDER.is_dir(), reason="TRACEKIT_RECORDINGS holds no simulated logs"),
]


@cache
def judge() -> ModuleType:
    """The scoring program that lies beside the logs."""
    spec = importlib.util.spec_from_file_location("judge_of_recordings", FOLDER / "score.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", LOGS)
def test_log_with_truth(name: str, tmp_path: Path) -> None:
    """Every cycle is found, outcomes are right, healthy logs raise no alarm, and a fault is named first."""
    folder, score = FOLDER / name, judge()
    truth = json.loads((folder / "truth.json").read_text())
    score.station_file(truth, tmp_path / "station.toml", folder / "station_extra.toml")
    base = score.log_of(folder, "baseline")
    record = diagnose(
        str(score.log_of(folder)),
        station=load_station(tmp_path / "station.toml"),
        baseline=None if base is None else str(base),
    )
    write_result(record, tmp_path)
    found = score.score({"name": name, "scenario": truth["scenario"]}, truth, folder, tmp_path, base is not None)

    assert score.f1(found["cycle_tp"], found["cycle_fp"], found["cycle_fn"]) == 1.0
    assert found["outcome_n"] == 0 or found["outcome_right"] >= 0.99 * found["outcome_n"]
    assert not found.get("false_alarm"), found["false_codes"]
    assert found.get("first_right", True), (found["labels"], found["codes"])
    assert found.get("symptom_right", True), found["codes"]
    error = found.get("leak_err")
    if error is not None and found["leak_true"] > 1.5:
        np.testing.assert_allclose(error / found["leak_true"], 0.0, atol=0.15)
