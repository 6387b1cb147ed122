"""The page of `inspect`: what was understood, why, what is open, and the recipe."""

import re
from html import unescape
from pathlib import Path

import numpy as np
import pytest
import stories

from tracekit.model.trace import PRESENT_BIT, SUPPLY_BIT
from tracekit.read.head import Question
from tracekit.read.inspection import Picture as FirstSeconds
from tracekit.read.inspection import inspect_log
from tracekit.read.station_file import load_stations
from tracekit.report.inspect_page import first_seconds, in_force, inspection_page, readings
from tracekit.report.phrases import cause_name
from tracekit.report.sections import can_show, shown_alone

HEAD = "t;AI1;DI0;DI1;DI2\n"


def words(page):
    """The page's words, plain."""
    main = re.search(r"<main.*?</main>", page, re.DOTALL).group(0)
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]*>", " ", main)))


def odd_log(folder: Path) -> Path:
    """A log in mbar whose unit nobody wrote down."""
    t = np.arange(0, 60, 0.02)
    phase = t % 3.0
    vacuum = np.where(phase < 1.5, 600 * (1 - np.exp(-phase / 0.1)), 600 * np.exp(-(phase - 1.5) / 0.05))
    on, off = (phase < 1.5).astype(int), ((phase > 1.5) & (phase < 1.8)).astype(int)
    rows = "".join(f"{a:.3f};{-p:.0f};{s};{r};{int(p > 500)}\n" for a, p, s, r in zip(t, vacuum, on, off, strict=True))
    path = folder / "odd.csv"
    path.write_text(HEAD + rows, encoding="utf-8")
    return path


def test_an_undecided_log_shows_every_reading_with_its_line(tmp_path):
    """Where the unit does not show, each possible unit stands there with what it means and the line that chooses it."""
    (found,) = inspect_log(odd_log(tmp_path))
    assert found.questions
    text = words(inspection_page(found))
    assert "must be answered first" in text
    assert "mbar: from \u221260 to 0\u00a0kPa".replace("\u00a0", " ") in text
    assert 'pressure = { column = "AI1", unit = "mbar", sense = "gauge" }' in text
    assert 'unit = "kPa", sense' not in text.partition("The recipe to read it by")[0]
    assert 'time = { column = "t", unit = "s" }' in text


def test_a_decided_log_shows_its_recipe(tmp_path):
    """With the answer given, the page shows the first seconds, the decisions with their chance, and the recipe."""
    station = tmp_path / "s.toml"
    station.write_text('[channels]\npressure = { column = "AI1", unit = "mbar", sense = "gauge" }\n', encoding="utf-8")
    (found,) = inspect_log(odd_log(tmp_path), load_stations([station]))
    assert not found.questions
    page = inspection_page(found)
    text = words(page)
    assert text.strip().startswith("The log can be read as it is")
    assert "Pressure, supply, release and part present." in text
    assert "the first 20\u00a0s as understood".replace("\u00a0", " ") in text.replace("\u00a0", " ")
    assert "[channels]" in text
    assert 'data-from="recipe-short"' in page
    assert found.facts.log_id in text


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ('pressure = { column = "p", sense = "gauge" }   # or absolute, or vacuum', ["gauge", "absolute", "vacuum"]),
        ('time = { column = "t", unit = "ms" }   # or s, us, ns, min', ["ms", "s", "us", "ns", "min"]),
        ('release = { column = "..." }', [""]),
    ],
)
def test_alternatives_become_lines_of_their_own(line, expected):
    """Each alternative behind a line is a line that can be copied."""
    found = readings(Question(found="it does not show", line=line))
    assert [means for means, _ in found] == expected
    assert all("#" not in text for _, text in found)
    assert all(f'"{means}"' in text for means, text in found if means)


def test_units_that_are_left_open_become_lines_with_their_sense():
    """A line that fills in neither unit nor sense has an answer for each pair behind it, and no other."""
    line = 'pressure = { column = "p", unit = "...", sense = "..." }'
    offers = '   # unit = "mbar", sense = "vacuum"; or unit = "psi", sense = "absolute"'
    found = readings(Question(found='the unit of "p" does not show (readings from 0 to 600)', line=line + offers))
    assert found == [
        ("mbar: from \u221260 to 0\u00a0kPa", 'pressure = { column = "p", unit = "mbar", sense = "vacuum" }'),
        ("psi: from 0 to 4.14e+03\u00a0kPa absolute", 'pressure = { column = "p", unit = "psi", sense = "absolute" }'),
    ]


def test_units_that_nature_forbids_are_not_offered():
    """Nobody reads 497 kPa below ambient; units of one size are offered once."""
    asked = Question(
        found='the unit of "AI1" does not show (readings from -497 to 70)',
        line='pressure = { column = "AI1", unit = "kPa", sense = "gauge" }',
    )
    units = [means.partition(":")[0] for means, _ in readings(asked)]
    assert units == ["mbar", "mmHg"]


def test_the_first_seconds_keep_spikes_and_lanes():
    """A single deep sample survives thinning, and each channel that is ever on has its lane."""
    t = np.arange(0, 20, 0.001)
    kpa = np.zeros(len(t))
    kpa[7777] = -88.0
    digital = np.where(t % 2 < 1, SUPPLY_BIT, 0).astype(np.uint8)
    digital[5] |= PRESENT_BIT
    picture = first_seconds(FirstSeconds(station="S", time_s=t, pressure_kpa=kpa, digital=digital))
    assert max(row[1] for row in picture.rows) <= 88.0
    assert "supply" in picture.html
    assert "part present" in picture.html
    assert ">release<" not in picture.html
    assert picture.html.count("H") > 9
    depths = [float(y) for y in re.findall(r"[ML][\d.]+ ([\d.]+)", picture.html)]
    assert min(depths) == pytest.approx(1000 * 0.03 / (1 + 0.03 + 0.13 * 2.3), abs=2)
    assert first_seconds(FirstSeconds(station="S", time_s=t[:1], pressure_kpa=kpa[:1], digital=digital[:1])) is None


def test_in_force_leaves_comments_and_empty_tables_out():
    """Only lines that act are the recipe."""
    text = '# a\n[station]\n# name = 1\n[channels]\ntime = "t"\n# x\n[load]\n'
    assert in_force(text) == '[channels]\ntime = "t"'
    assert in_force("# a\n[station]\n") == ""


def test_hostile_names_stay_text(tmp_path):
    """A column that is a script is shown as text."""
    path = tmp_path / "x.csv"
    path.write_text(
        odd_log(tmp_path).read_text(encoding="utf-8").replace("AI1", "<script>alert(1)</script>"), encoding="utf-8"
    )
    (found,) = inspect_log(path)
    page = inspection_page(found)
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_what_it_can_show_is_grouped():
    """Causes that share a reason stand together, under plain names."""
    text = words(f"<main>{can_show(stories.torn_cup().stations[0], 'kPa')}</main>")
    assert "Seeping release valve The range of the sensor ends at 0." in text
    assert "leak_steady" not in text


def test_what_a_log_shows_by_itself_is_listed():
    """Beside what needs a baseline stands what this log tells alone; nothing stands in both."""
    result = stories.torn_cup().stations[0]
    seen = shown_alone(result)
    assert "leak on some picks only" in seen
    assert not set(seen) & {cause_name(d.code).lower() for d in result.detectable}
    assert f"Shown by this log alone: {', '.join(seen)}." in can_show(result, "kPa")
