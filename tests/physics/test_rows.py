"""Every function of the physics is held against something written apart: which rows, and in which test."""

import csv
import inspect
import os
import re
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules

import pytest

import tracekit.physics

GIVEN = os.environ.get("TRACEKIT_RECORDINGS", "")
TABLE = Path(GIVEN) / "checks" / "checks.csv"
HERE = Path(__file__).parent

ROWS: dict[str, tuple[str, ...]] = {
    "air.standard_pressure_kpa": ("A01", "A02"),
    "air.geopotential_m": ("A02",),
    "air.anr_l_min": ("L03",),
    "air.throughput_of_anr_pa_m3_s": ("L03",),
    "air.anr_of_normal": ("L05",),
    "decay.hole_time_s": ("D01", "D03", "D04", "D07"),
    "decay.laminar_time_s": ("D07", "D08"),
    "decay.laminar_ratio": ("D08",),
    "decay.throughput_pa_m3_s": ("P02", "P03"),
    "decay.corrected_throughput_pa_m3_s": ("P04",),
    "decay.volume_ml": ("P06",),
    "decay.evacuation_time_s": ("E02", "E04"),
    "decay.ultimate_kpa": ("E03",),
    "decay.rate_of_ultimate_kpa_s": ("E06",),
    "decay.air_saving_period_s": ("T11", "T12"),
    "flow.subsonic_factor": ("O09", "O10a", "O10b"),
    "flow.laminar_factor": ("D06",),
    "flow.hole_throughput_pa_m3_s": ("O08",),
    "flow.hole_conductance_dm3_s_bar": ("O06",),
    "flow.nozzle_mass_flow_kg_s": ("O07", "O09"),
    "flow.capillary_throughput_pa_m3_s": ("D11",),
    "force.holding_force_n": ("F01", "F02", "F07"),
    "force.needed_force_n": ("F03", "F04", "F05"),
    "force.needed_vacuum_kpa": ("F06",),
}
"""Rows of the table of check values."""
APART: dict[str, str] = {
    "air.reference_vacuum_ratio": "test_reference_vacuum_depends_on_the_ambient",
    "decay.hole_ratio": "test_hole_ratio_is_the_integral_of_the_flow",
    "decay.evened_out_kpa": "test_two_volumes_even_out_like_their_integration",
    "force.cup_area_m2": "test_theoretical_force",
    "heat.conduction_time_s": "test_conduction_times",
    "heat.exchange_rate_1_s": "test_gas_memory_gives_the_temperature_of_the_gas",
    "heat.recursion": "test_recursion_equals_the_plain_loop",
    "heat.follow": "test_follow_is_exact_for_a_ramp",
    "heat.exchange_boost": "test_gas_memory_gives_the_temperature_of_the_gas",
    "heat.wall_parts": "test_modes_of_two_parts_are_the_solution_of_their_joint_law",
    "heat.virtual_pressure": "test_virtual_pressure_rises_at_the_isothermal_rate",
}
"""Functions that no row covers: the test that holds them against an integration, a slow twin or a closed solution."""


def functions() -> set[str]:
    """All public functions of the physics as module.function."""
    found = set()
    for module in iter_modules(tracekit.physics.__path__):
        loaded = import_module(f"tracekit.physics.{module.name}")
        for name, value in inspect.getmembers(loaded, callable):
            if not name.startswith("_") and value.__module__ == loaded.__name__ and not inspect.isclass(value):
                found.add(f"{module.name}.{name}")
    return found


def parts_of(name: str) -> list[str]:
    """Sources of the tests of a function's module, one by one."""
    text = (HERE / f"test_{name.split('.')[0]}.py").read_text(encoding="utf-8")
    return re.split(r"\n(?=def |@pytest)", text)


def test_every_function_is_held_against_something() -> None:
    """No function of the physics is missing from the two lists, none stands in both, none is listed that is gone."""
    assert not set(ROWS) & set(APART)
    assert functions() == set(ROWS) | set(APART)


@pytest.mark.parametrize("name", sorted(ROWS))
def test_the_rows_of_a_function_are_used_in_its_tests(name: str) -> None:
    """The tests of the module name every row, and call the function."""
    text = "\n".join(parts_of(name))
    missing = [row for row in ROWS[name] if not re.search(rf"\b{row}\b", text)]
    assert missing == []
    assert f"{name}(" in text


@pytest.mark.parametrize("name", sorted(APART))
def test_a_function_without_rows_has_its_test(name: str) -> None:
    """The test named in the list exists."""
    assert f"def {APART[name]}(" in "\n".join(parts_of(name))


@pytest.mark.skipif(not GIVEN, reason="TRACEKIT_RECORDINGS is not set")
@pytest.mark.skipif(bool(GIVEN) and not TABLE.is_file(), reason="TRACEKIT_RECORDINGS holds no table of check values")
def test_the_rows_stand_in_the_table() -> None:
    """Every row that is named is one of the table, or the beginning of some."""
    with TABLE.open(encoding="utf-8") as lines:
        known = {row["id"] for row in csv.DictReader(lines)}
    named = {row for rows in ROWS.values() for row in rows}
    assert {row for row in named if not any(k == row or k.startswith(f"{row}.") for k in known)} == set()
