"""Station files are read whole, or refused with every fault at once."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.errors import StationFileError, UsageError
from tracekit.model.station import Channel, Display, Limit, Load, Price, Settings, Station, StationFacts
from tracekit.read.station_file import load_station, load_stations, match_stations, parse_station
from tracekit.read.station_text import default_text, station_text

FULL = """
[station]
name = "Loader 2"
volume_ml = 60.0
volume_rel_u = 0.05
ambient_kpa = 100.8
temperature_c = 20
timezone = "Europe/Lisbon"
source = "pump"
sensor_at = "cup"
cups_per_circuit = 4
supply_group = "north main"
ref_vacuum_kpa = 60
recording = "triggered"
[settings]
set_point_kpa = 56.0
reset_point_kpa = 51.0
supply_off_kpa = 68.0
supply_on_kpa = 62.0
guard_kpa = 1.0
adjustable = ["set_point", "reset_point"]
[display]
unit = "mbar"
step = 1
negative = true
entry = { reset_point = "below set_point", supply_on = "below supply_off" }
[channels]
time = "t"
pressure = { column = "AI1", unit = "bara", scale = [[20.0, 0.0], [4.0, 1.013]] }
supply = { column = "DI0", on_level = 0, signal = "pulse", off_column = "DI3" }
release = "internal"
part_present = { on_level = 1 }
context = ["recipe", "shift"]
[load]
mass_kg = 2
cup_diameter_mm = 40.0
orientation = "vertical"
[limits]
decay_rate_kpa_s = { max = 4.0, severity = "critical" }
drop_share = { max = 0.01 }
hold_min_vacuum_kpa = { min = 52.0 }
[price]
energy_kwh_per_m3_anr = 0.12
"""


def test_every_key() -> None:
    """Every key of a station file arrives in its place."""
    assert parse_station(FULL, "loader2.toml") == Station(
        station=StationFacts(
            name="Loader 2", volume_ml=60.0, volume_rel_u=0.05, ambient_kpa=100.8, temperature_c=20.0,
            timezone="Europe/Lisbon", source="pump", sensor_at="cup", cups_per_circuit=4, supply_group="north main",
            ref_vacuum_kpa=60.0, recording="triggered",
        ),
        settings=Settings(
            set_point_kpa=56.0, reset_point_kpa=51.0, supply_off_kpa=68.0, supply_on_kpa=62.0,
            adjustable=("set_point", "reset_point"),
        ),
        display=Display(
            unit="mbar", step=1.0, negative=True,
            entry={"reset_point": "below set_point", "supply_on": "below supply_off"},
        ),
        channels={
            "time": Channel(column="t"),
            "pressure": Channel(column="AI1", unit="bar", sense="absolute", scale=((4.0, 1.013), (20.0, 0.0))),
            "supply": Channel(column="DI0", on_level=0, signal="pulse", off_column="DI3"),
            "release": Channel(internal=True),
            "part_present": Channel(on_level=1),
        },
        context=("recipe", "shift"),
        load=Load(mass_kg=2.0, cup_diameter_mm=40.0, orientation="vertical"),
        limits={
            "decay_rate_kpa_s": Limit(max=4.0, severity="critical"),
            "drop_share": Limit(max=0.01),
            "hold_min_vacuum_kpa": Limit(min=52.0),
        },
        price=Price(energy_kwh_per_m3_anr=0.12),
        source="loader2.toml",
    )  # fmt: skip


def test_nothing_is_needed() -> None:
    """An empty file, and one whose keys are all comments, is a station of which nothing is known."""
    assert parse_station("", "empty.toml") == Station(source="empty.toml")
    assert parse_station(default_text(), "empty.toml") == Station(source="empty.toml")


def test_volume_from_hoses_and_cups() -> None:
    """A volume is the sum of hoses (π/4·d²·L) and cups."""
    text = "[station]\nhoses = [{ inner_mm = 4, length_m = 1.5, count = 2 }]\ncups = [{ volume_ml = 2.5, count = 4 }]"
    volume = parse_station(text, "s.toml").station.volume_ml
    assert volume == pytest.approx(2 * math.pi / 4 * 4**2 * 1.5 + 10.0, rel=1e-12)


def test_release_none() -> None:
    """A station may have no release channel."""
    assert parse_station('[channels]\nrelease = "none"', "s").channels["release"] == Channel(absent=True)


FAULTY = """name = "X"
[station]
volume_ml = "sixty"
set_point_kpa = 3
timezone = "Mars"
[settings]
set_point_kpa = -56.0
reset_pont_kpa = 51.0
[chanels]
[channels]
supply = { on_level = 2 }
[limits]
drop_share = {}
"""


def test_all_faults_at_once() -> None:
    """A file with many faults is refused once, with file, line, key, what was found, expected and to be done."""
    with pytest.raises(StationFileError, match=r"^9 faults in the station file:") as caught:
        parse_station(FAULTY, "x.toml")
    lines = str(caught.value).splitlines()[1:]
    starts = [
        'x.toml, line 1: unknown section or key "name"; expected a known section. It belongs under [station].',
        'x.toml, line 9: unknown section or key "chanels"; expected a known section. Did you mean "channels"?',
        'x.toml, line 3, [station] volume_ml: found the text "sixty"; expected a number above 0',
        'x.toml, line 4, [station] set_point_kpa: unknown key "set_point_kpa"; expected a known key. It belongs to',
        'x.toml, line 5, [station] timezone: found "Mars"; expected a zone',
        "x.toml, line 7, [settings] set_point_kpa: found -56; expected a number above 0",
        'x.toml, line 8, [settings] reset_pont_kpa: unknown key "reset_pont_kpa"; expected a known key. Did you mean',
        "x.toml, line 11, [channels] supply: on_level is 2; expected a whole number at least 0 and at most 1",
        "x.toml, line 13, [limits] drop_share: found neither max nor min",
    ]
    found = [line.strip() for line in lines]
    missing = [start for start in starts if not any(line.startswith(start) for line in found)]
    assert missing == []


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("[settings]\nset_point_kpa = 50\nreset_point_kpa = 50", r"50 against set_point_kpa 50; expected reset_point_kpa < set"),
        ("[settings]\nsupply_on_kpa = 68\nsupply_off_kpa = 67", r"supply_on_kpa < supply_off_kpa"),
        ("[settings]\nsupply_on_kpa = 70\nsupply_off_kpa = 68", r"supply_on_kpa < supply_off_kpa"),
        ("[settings]\nset_point_kpa = 90\n[station]\nambient_kpa = 85", r"less than ambient_kpa 85"),
        ("[settings]\nset_point_kpa = true", r"found true; expected a number"),
        ("[settings]\nset_point_kpa = nan", r"found nan; expected a number"),
        ("[settings]\nguard_kpa = 2025-01-01", r"found a date or time"),
        ("[settings]\nset_point = 50", r'unknown key "set_point".*Did you mean "set_point_kpa"'),
        ('settings = "x"', r"\[settings\]: found the text"),
        ('[station]\nsource = "ejektor"', r"one of ejector, pump, blower. Did you mean"),
        ("[station]\nname = 3", r"found 3; expected text in quotes. Put it in quotes"),
        ("[station]\nvolume_ml = 3\ncups = [{ volume_ml = 3 }]", r"volume_ml beside hoses or cups"),
        ("[station]\nhoses = 3", r"hoses: found 3; expected a list like \[\{ inner_mm = 1"),
        ("[station]\nhoses = [{ inner_mm = 4 }]", r"hoses: length_m is missing"),
        ("[display]\nentry = { reset_point = 'under set_point' }", r'reset_point is the text "under set_point"'),
        ("[display]\nentry = { reset = 'absolute' }", r'unknown setting "reset"'),
        ("[display]\nentry = 'x'", r"expected a table of settings"),
        (
            "[display]\nentry = { reset_point = 'below set_point', set_point = 'above reset_point' }",
            r"settings refer to one another",
        ),
        ("[channels]\nsupplies = 'x'", r'unknown channel.*Did you mean "supply"'),
        ("[channels]\nsupply = 3", r"found 3; expected the name of a column"),
        ("[channels]\nsupply = { colum = 'x' }", r'unknown key "colum".*"column"'),
        ("[channels]\nsupply = { signal = 'pulse' }", r"without off_column"),
        ("[channels]\nsupply = { off_column = 'x' }", r"off_column without pulse"),
        ("[channels]\npressure = { unit = 'V' }", r"expected a unit of pressure"),
        ("[channels]\npressure = { unit = 'bara', sense = 'gauge' }", r'unit "bara" beside sense "gauge"'),
        ("[channels]\npressure = { scale = [[1, 2]] }", r"two or more pairs"),
        ("[channels]\npressure = { scale = [[1, 2], [1, 3]] }", r"each raw value once"),
        ("[channels]\npressure = { scale = [[1, 2], [2, 'x']] }", r"two or more pairs"),
        ("[channels]\nsupply = 'D1'\nrelease = 'D1'", r'the column "D1" is also supply'),
        ("[channels]\ncontext = 'recipe'", r"a list of column names"),
        ("[load]\ncups = 2", r"missing: mass_kg, cup_diameter_mm; expected needed_vacuum_kpa, or"),
        ("[load]\nneeded_vacuum_kpa = 40\ncups = 1.5", r"found 1.5; expected a whole number"),
        ("[limits]\ndecay_rate = { max = 1 }", r'unknown measure.*Did you mean "decay_rate_kpa_s"'),
        ("[limits]\ndrop_share = 0.1", r"a table with max or min"),
        ("[limits]\ndrop_share = { max = 1, min = 2 }", r"min is above max"),
        ("[limits]\ndrop_share = { severity = 'minor' }", r"neither max nor min"),
        ("[station\n", r"this is no TOML .*line 1"),
    ],
)
def test_single_faults(text: str, match: str) -> None:
    """Each fault is told in one line that says where, what was found and what was expected."""
    with pytest.raises(StationFileError, match=match) as caught:
        parse_station(text, "s.toml")
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("s.toml")


def test_a_bad_order_of_settings_can_be_told() -> None:
    """What a badly set device holds can be written: only what no device can have is refused."""
    text = "[settings]\nset_point_kpa = 56.1\nreset_point_kpa = 51.1\nsupply_on_kpa = 50.1\nsupply_off_kpa = 56.2"
    assert parse_station(text, "s").settings.supply_off_kpa == 56.2


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    """A missing file, a folder without station files and a binary are refused with what to do."""
    with pytest.raises(StationFileError, match=r"none\.toml: cannot be read .*--write-station"):
        load_station(tmp_path / "none.toml")
    with pytest.raises(StationFileError, match=r"the folder holds no \.toml file"):
        load_stations([tmp_path])
    (tmp_path / "b.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(StationFileError, match=r"b\.toml: byte 0 is no UTF-8 text"):
        load_station(tmp_path / "b.toml")


def test_byte_order_mark(tmp_path: Path) -> None:
    """A mark that some editors write at the start of a file does no harm."""
    (tmp_path / "a.toml").write_bytes(b'\xef\xbb\xbf[station]\nname = "A"\n')
    assert load_station(tmp_path / "a.toml").station.name == "A"


def test_a_folder_of_station_files(tmp_path: Path) -> None:
    """A folder gives every station in it; faults of all files are told together."""
    (tmp_path / "b.toml").write_text('[station]\nname = "B"\n')
    (tmp_path / "a.toml").write_text("")
    stations = load_stations([tmp_path])
    assert [s.source for s in stations] == ["a.toml", "b.toml"]
    assert match_stations(stations, ["b ", "c", "A"]) == {"b ": stations[1], "A": stations[0]}
    (tmp_path / "c.toml").write_text('[station]\nname = "b"\n')
    (tmp_path / "d.toml").write_text("[station]\nnam = 1\n")
    with pytest.raises(StationFileError, match=r"(?s)2 faults.*d\.toml.*c\.toml, \[station\] name: .* also in b\.toml"):
        load_stations([tmp_path])


def test_matching() -> None:
    """One file and one station belong together; of several files at least one must fit."""
    one = parse_station('[station]\nname = "A"', "a.toml")
    two = parse_station('[station]\nname = "B"', "b.toml")
    assert match_stations([one], ["whatever"]) == {"whatever": one}
    assert match_stations([], ["A"]) == {}
    with pytest.raises(UsageError, match=r'found "A", "B"; expected the name of a station in the log: "C"'):
        match_stations([one, two], ["C"])


_text = st.text(st.characters(codec="utf-8"), min_size=1, max_size=8).filter(lambda t: t.strip() != "")


@st.composite
def _stations(draw: st.DrawFn) -> Station:
    facts = StationFacts(
        name=draw(st.none() | _text),
        volume_ml=draw(st.none() | st.floats(0.1, 1e5)),
        temperature_c=draw(st.none() | st.floats(-40, 80)),
        source=draw(st.sampled_from(["ejector", "pump", "blower"])),
        cups_per_circuit=draw(st.integers(1, 9)),
        surroundings=tuple(draw(st.lists(_text, max_size=2))),
    )
    columns = draw(st.lists(_text, min_size=4, max_size=4, unique=True))
    release = draw(st.sampled_from([Channel(absent=True), Channel(internal=True), Channel(column="release")]))
    channels = {
        "pressure": Channel(column=columns[0] + "p", unit="mbar", sense="vacuum", scale=((1.0, 2.0), (2.0, 4.5))),
        "supply": Channel(column=columns[1] + "s", on_level=draw(st.sampled_from([0, 1]))),
        "release": release,
    }
    limits = {"drop_share": Limit(max=draw(st.floats(0, 1)), severity="minor")} if draw(st.booleans()) else {}
    return Station(
        station=facts,
        settings=Settings(set_point_kpa=draw(st.none() | st.floats(1, 99)), adjustable=("set_point",)),
        display=Display(unit=draw(st.sampled_from(["kPa", "inHg"])), negative=draw(st.booleans())),
        channels=channels,
        context=(columns[3] + "c",),
        load=draw(st.none() | st.just(Load(needed_vacuum_kpa=40.0))),
        limits=limits,
        price=draw(st.none() | st.just(Price(price_per_kwh=0.2))),
        source="s.toml",
    )


@given(station=_stations(), comment=st.text(max_size=20))
def test_written_files_read_back(station: Station, comment: str) -> None:
    """What is written reads back as the same station, whatever its names and comments hold."""
    text = station_text(station, {"station.name": comment, "channels.supply": comment, "limits.drop_share": comment})
    assert parse_station(text, "s.toml") == station


def test_comments_carry_the_evidence() -> None:
    """A comment replaces the printed meaning of its key."""
    station = Station(channels={"supply": Channel(column="DI0", on_level=0)})
    text = station_text(station, {"channels.supply": "vacuum rises after each 0"})
    assert 'supply = { column = "DI0", on_level = 0 }  # vacuum rises after each 0\n' in text
    assert parse_station(text, "") == replace(station, source="")
