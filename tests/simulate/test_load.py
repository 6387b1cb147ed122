"""Scenarios by name and from TOML, and what is refused."""

from pathlib import Path

import pytest

from tracekit.errors import UsageError
from tracekit.simulate.load import load_scenario, parse_scenario, scenario_names
from tracekit.simulate.scenario import Scenario

STORIES = {
    "glaze_line_healthy": (),
    "loader_2_torn_cup": ("cup_leak_orifice",),
    "kiln_feeder_porous_tiles": ("part_dependent_leak",),
    "sorter_east_chattering_output": ("switch_chatter",),
    "glaze_line_clogged_filter": ("clogged_filter",),
    "stacker_4_weak_blow_off": ("weak_release",),
    "press_outlet_never_saves": ("cutoff_unreachable",),
    "loader_2_before_repair": ("cup_leak_orifice",),
    "loader_2_after_repair": (),
    "kiln_feeder_day_1": (),
    "kiln_feeder_day_7": ("growing_leak",),
}


@pytest.mark.parametrize("name", sorted(STORIES))
def test_the_stories_are_there(name: str) -> None:
    """Each story of the tile works loads, says what it shows, and has its fault."""
    scenario = load_scenario(name)
    assert scenario.name == name
    assert len(scenario.about) > 10
    assert tuple(f.label for f in scenario.faults) == STORIES[name]


def test_every_name_loads() -> None:
    """All named scenarios can be read, with a seed of their own."""
    seeds = [load_scenario(name).seed for name in scenario_names()]
    assert len(set(seeds)) == len(seeds) == 17


def test_a_week_is_one_station() -> None:
    """The seven days differ in seed, weather, leak and mark, and in nothing of the station's parts."""
    days = [load_scenario(f"kiln_feeder_day_{day}") for day in range(1, 8)]
    assert len({(d.station.volumes, d.station.ejector, d.station.switch) for d in days}) == 1
    assert [d.marks["series"]["index"] for d in days] == list(range(7))
    assert len({d.station.air.ambient_kpa for d in days}) == 7


def test_a_file_gives_what_it_says(tmp_path: Path) -> None:
    """Tables mirror the records, whole numbers serve as numbers, and `false` leaves air saving out."""
    path = tmp_path / "my_station.toml"
    path.write_text(
        'about = "mine"\ncycles = 7\n[station]\nsaving = false\n[station.volumes]\ngenerator_ml = 30\n'
        'wall_time_s = [0.1, 0.2]\n[[faults]]\nlabel = "porous_part"\nend_cycle = 4\n[faults.size]\nrate_kpa_s = 2\n'
    )
    scenario = load_scenario(path)
    assert (scenario.name, scenario.cycles, scenario.station.saving) == ("my_station", 7, None)
    assert scenario.station.volumes.generator_ml == 30.0
    assert scenario.station.volumes.wall_time_s == (0.1, 0.2)
    assert scenario.faults[0].size == {"rate_kpa_s": 2.0}
    assert scenario.faults[0].end_cycle == 4


def test_like_takes_the_rest_from_another() -> None:
    """What is not given comes from the named scenario, table by table."""
    scenario = parse_scenario('like = "loader_2_healthy"\n[station.volumes]\ncup_ml = 80.0\n', "mine")
    model = load_scenario("loader_2_healthy")
    assert scenario.station.volumes.cup_ml == 80.0
    assert scenario.station.volumes.generator_ml == model.station.volumes.generator_ml
    assert scenario.station.air == model.station.air


def test_an_empty_file_is_the_default_station() -> None:
    """Everything has a default."""
    assert parse_scenario("", "mine") == Scenario(name="mine")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("cycle = 3", 'mine: unknown key "cycle"; expected a known one. Did you mean "cycles"?'),
        ("[station.sensr]", 'mine, station: unknown key "sensr".*Did you mean "sensor"?'),
        ("cycles = 3.5", "mine, cycles: 3.5; expected a whole number"),
        ("cycles = true", "mine, cycles: True; expected a whole number"),
        ("[station.volumes]\ncup_ml = 'big'", "mine, station, volumes, cup_ml: 'big'; expected a number"),
        ("[station.volumes]\nwall_time_s = 1.0", "expected a list"),
        ("station = 3", "mine, station: 3; expected a table"),
        ("faults = 3", "mine, faults: 3; expected a list"),
        ("[[faults]]\nlabel = 'porous_part'\nsize = 3", "mine, faults 1, size: 3; expected a table"),
        ("cycles = ", "mine: .*expected TOML"),
        ('like = "nobody"', "expected a named scenario"),
    ],
)
def test_what_is_wrong_is_named(text: str, said: str) -> None:
    """A wrong key, type or reference is one message that names the place."""
    with pytest.raises(UsageError, match=said):
        parse_scenario(text, "mine")


def test_unknown_names_and_files_are_refused(tmp_path: Path) -> None:
    """The nearest name is offered; a file that is not there or not text is said to be so."""
    with pytest.raises(UsageError, match='Did you mean "loader_2_torn_cup"'):
        load_scenario("loader_2_torn")
    with pytest.raises(UsageError, match="expected a readable TOML file"):
        load_scenario(tmp_path / "absent.toml")
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UsageError, match="not UTF-8 text"):
        load_scenario(tmp_path / "binary.toml")
