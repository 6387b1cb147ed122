"""Makes suites of logs: sound ones, one fault, two faults; each a folder with log, baseline and truth.

python tests/apart/suite.py FOLDER --seed 1 --kinds faults pairs healthy
"""

import argparse
import json
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from apart.faults import FAULTS, NEEDS_SAVING, PLAIN, apply
from apart.plan import Plan, draw_plan, draw_station
from apart.record import record
from apart.run import run
from apart.truth import truth_of

PAIRS = (
    ("leak_steady", "exhaust_restricted"), ("leak_steady", "release_weak"), ("check_valve_leak", "supply_pressure_low"),
    ("flow_restricted", "sensor_zero_shift"), ("leak_part_dependent", "part_not_presented"), ("motion_dips", "leak_steady"),
    ("supply_pressure_dips", "collision_or_peel"), ("supply_valve_slow", "leak_steady"), ("sensor_noisy", "release_weak"),
    ("exhaust_restricted", "release_weak"), ("flow_restricted", "leak_steady"), ("release_valve_leak", "release_weak"),
    ("supply_band_too_narrow", "leak_steady"), ("part_not_presented", "supply_pressure_low"), ("sensor_slow", "leak_steady"),
    ("supply_valve_passing", "release_weak"), ("collision_or_peel", "leak_steady"), ("supply_pulsation", "exhaust_restricted"),
    ("sensor_zero_shift", "check_valve_leak"), ("flow_restricted", "release_weak"),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One log to be made."""

    name: str
    faults: tuple[str, ...] = ()
    baseline: bool = False
    late: bool = False
    twist: str = ""
    cycles: int = 48


def _groups(plan: Plan, rng: np.random.Generator) -> None:
    plan["leak"][::2] *= 1.3


def _porous(plan: Plan, rng: np.random.Generator) -> None:
    plan["leak"][:] *= np.exp(rng.normal(0.0, 0.3, plan.cycles))


def _waits(plan: Plan, rng: np.random.Generator) -> None:
    plan["idle_s"][rng.random(plan.cycles) < 0.1] += 15.0
    plan["hold_s"][:] *= np.exp(rng.normal(0.0, 0.2, plan.cycles))


def _warming(plan: Plan, rng: np.random.Generator) -> None:
    warm = np.exp(-np.arange(plan.cycles) / 12.0)
    plan["speed"][:] *= 1.0 - 0.05 * warm
    plan["valve_on_s"][:] += 0.008 * warm
    plan["offset_kpa"][:] += 0.3 * warm


def _supply_within(plan: Plan, rng: np.random.Generator) -> None:
    plan["dip"][:], plan["dip_s"][:], plan["dip_long_s"][:] = 0.02 * (rng.random(plan.cycles) < 0.3), 0.1, 0.5
    plan["supply"][:] += rng.normal(0.0, 0.006, plan.cycles)


def _contact_first(plan: Plan, rng: np.random.Generator) -> None:
    plan["contact_s"][:] = -0.1


def _faster(plan: Plan, rng: np.random.Generator) -> None:
    plan["hold_s"][plan.cycles // 2 :] *= 0.6
    plan["idle_s"][plan.cycles // 2 :] *= 0.6


def _new_levels(plan: Plan, rng: np.random.Generator) -> None:
    for name in ("off_kpa", "on_kpa", "set_kpa", "reset_kpa"):
        plan[name][plan.cycles // 2 :] -= 3.0


TWISTS: dict[str, Callable[[Plan, np.random.Generator], None]] = {
    "groups": _groups, "porous": _porous, "waits": _waits, "warming": _warming, "supply_within": _supply_within,
    "contact_first": _contact_first, "faster": _faster, "new_levels": _new_levels,
}  # fmt: skip
LOGGERS: dict[str, dict[str, object]] = {
    "slow_log": {"log_hz": 50.0}, "coarse_log": {"log_step_kpa": 0.5}, "coarser_log": {"log_step_kpa": 1.0},
    "jittered": {"jitter": 0.5}, "late": {"late_s": 0.015}, "fixed_time": {"lift_on_switch": False},
    "plain": {"air_saving": False}, "cup_side": {"sensor_at_cup": True},
}  # fmt: skip
DROPPED = {"no_release": "release", "no_switch": "part_present"}
SPOILT = ("gaps", "spikes")


def make(case: Case, seed: int) -> tuple[pd.DataFrame, pd.DataFrame | None, dict[str, object]]:
    """Log, baseline or None, and truth of one case."""
    rng = np.random.default_rng([seed, zlib.crc32(case.name.encode())])
    given = dict(LOGGERS.get(case.twist, {}))
    if any(f in NEEDS_SAVING for f in case.faults):
        given["air_saving"] = True
    if any(f in PLAIN for f in case.faults):
        given["air_saving"] = False
    station = draw_station(rng, **given)
    plan = draw_plan(rng, station, case.cycles)
    healthy = Plan(station, {k: rng.permutation(v) for k, v in plan.per_cycle.items()}, [], ["A"] * case.cycles)
    if case.twist in TWISTS:
        TWISTS[case.twist](plan, rng)
        if case.twist not in ("new_levels", "faster"):
            TWISTS[case.twist](healthy, rng)
    for fault in case.faults:
        apply(plan, rng, fault, case.cycles // 3 if case.late else 0)
    course = run(plan, rng)
    log = _spoil(record(plan, course, rng), case.twist, rng)
    base = _spoil(record(healthy, run(healthy, rng), rng), case.twist, rng) if case.baseline else None
    return log, base, truth_of(plan, course, "+".join(case.faults) or "healthy")


def _spoil(log: pd.DataFrame, twist: str, rng: np.random.Generator) -> pd.DataFrame:
    if twist in DROPPED:
        return log.drop(columns=DROPPED[twist])
    if twist == "gaps":
        return log[rng.random(len(log)) > 0.01].reset_index(drop=True)
    if twist == "spikes":
        hit = rng.random(len(log)) < 2e-4
        log.loc[hit, "pressure_kpa"] += rng.choice([-25.0, 25.0], int(hit.sum()))
    return log


def cases(kind: str, turn: int = 0) -> list[Case]:
    """The cases of one kind; another `turn` has other names, hence other stations."""
    if kind == "healthy":
        twists = ["", "", *TWISTS, *LOGGERS, *DROPPED, *SPOILT]
        return [Case(name=f"healthy_{t or 'usual'}_{i}_{turn}", twist=t, baseline=i % 2 == turn % 2) for i, t in enumerate(twists)]
    if kind == "pairs":
        return [Case(name=f"pair_{'+'.join(p)}_{turn}", faults=p, baseline=(i + turn) % 4 != 0) for i, p in enumerate(PAIRS)]
    made = []
    for code in FAULTS:
        made.append(Case(name=f"{code}_b{turn}", faults=(code,), baseline=True))
        made.append(Case(name=f"{code}_n{turn}", faults=(code,), late=turn % 2 == 1))
    return made


def write(folder: Path, case: Case, seed: int) -> None:
    """Make one case and write it to a folder of its name."""
    log, base, truth = make(case, seed)
    place = folder / case.name
    place.mkdir(parents=True, exist_ok=True)
    log.to_parquet(place / "log.parquet")
    if base is not None:
        base.to_parquet(place / "baseline.parquet")
    (place / "truth.json").write_text(json.dumps(truth, default=float))


def main() -> None:
    """Write suites."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--turn", type=int, default=0)
    parser.add_argument("--kinds", nargs="*", default=["faults", "pairs", "healthy"])
    asked = parser.parse_args()
    for kind in asked.kinds:
        for case in cases(kind, asked.turn):
            write(asked.folder, case, asked.seed)


if __name__ == "__main__":
    main()
