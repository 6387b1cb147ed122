"""The pages as text: complete without script, closed against the network, harmless whatever a log holds."""

import json
import os
import re
import subprocess
import sys
import time
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest
import stories

from tracekit.errors import OutputError
from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.finding import Evidence
from tracekit.model.result import LeakChange
from tracekit.options.report import ReportOptions
from tracekit.report.frame import Block, frame
from tracekit.report.page import index_page, page_names, safe_name, station_page, write_pages
from tracekit.report.sections import answer, limits

ORDER = ["answer", "steps", "causes", "evidence", "limits", "assumptions", "cautions", "file"]


class Reader(HTMLParser):
    """Tags, ids, attributes and texts of a page."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.tags, self.ids, self.facts, self.words, self.open = [], [], [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.facts += [(tag, k, v or "") for k, v in attrs]
        self.ids += [v for k, v in attrs if k == "id"]
        self.open.append(tag)

    def handle_endtag(self, tag):
        while self.open and self.open.pop() != tag:
            pass

    def handle_data(self, data):
        if not {"script", "style"} & set(self.open):
            self.words.append(data)

    @property
    def text(self):
        """All words, single-spaced."""
        return " ".join(" ".join(self.words).split())


def read(html):
    """A page read as a browser would."""
    reader = Reader()
    reader.feed(html)
    return reader


@pytest.fixture(scope="module")
def pages():
    """Every story's record and page."""
    return {name: (record := make(), station_page(record, 0)) for name, make in stories.STORIES.items()}


@pytest.mark.parametrize("name", sorted(stories.STORIES))
def test_blocks_come_in_order(pages, name):
    """Every page has its blocks in the order of reading, each id once."""
    reader = read(pages[name][1])
    found = [i for i in reader.ids if i in ORDER]
    assert found == [i for i in ORDER if i in found]
    assert {"answer", "steps", "limits", "assumptions", "cautions", "file"} <= set(found)
    assert len(set(reader.ids)) == len(reader.ids)


@pytest.mark.parametrize("name", sorted(stories.STORIES))
def test_nothing_is_loaded_from_outside(pages, name):
    """The page names no other resource, has no inline style or handler, and its policy allows nothing else."""
    reader = read(pages[name][1])
    loads = [(t, k, v) for t, k, v in reader.facts if k in ("src", "srcset", "data", "action", "poster", "formaction")]
    assert loads == []
    assert [v for t, k, v in reader.facts if k == "href" and not v.startswith("#")] == []
    assert [k for _, k, _ in reader.facts if k == "style" or k.startswith("on")] == []
    policy = next(v for t, k, v in reader.facts if k == "content" and "default-src" in v)
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert "unsafe" not in policy
    assert set(reader.tags) & {"link", "iframe", "object", "embed", "img", "form", "base"} == set()


@pytest.mark.parametrize("name", sorted(stories.STORIES))
def test_page_is_small(pages, name):
    """A page of under a hundred cycles weighs less than 400 kB."""
    assert len(pages[name][1].encode()) < 400_000


def test_the_whole_answer_is_in_the_text(pages):
    """Verdict, step with minutes and caution, settings, causes, hash and version are plain text."""
    text = read(pages["torn_cup"][1]).text.replace("\u00a0", " ")
    for part in (
        "Very likely a leak at the cup, hose or a fitting", "Plan a repair.", "First: Blank the cup".replace("Blank", "blank"),
        "5 min", "Never a hand".replace("Never", "never"), "Settings: leave them.", "Repair the leak first.", stories.HASH,
        "tracekit 0.1.0", "noise_factor = 4.0 sigma", "10: time goes backwards (first lines 1041, 1042)", "Loader 2",
        "24 Aug 2024 09:17 UTC", "95 cycles", "Leaking check valve", "Something else, or nothing", "Keep people out from under it",
        "ISO 12100", "not a permission", "Enter the cell only in a safe stop",
    ):  # fmt: skip
        assert part in text, part


def test_settings_are_copied_in_plain_characters(pages):
    """Buttons show a true minus sign and copy what a keypad can type, in the device's own form."""
    html = pages["chattering"][1]
    assert re.findall(r'data-copy="([^"]+)"', html) == ["-58.0", "5.0", "-72.5", "6.5"]
    assert "\u221258.0" in html
    assert "Reset point, below set point" in html
    assert "Settings to enter (device: kPa)" in html


def test_limits_name_what_and_why(pages):
    """What is withheld is named with its reason, and how to record it."""
    text = read(pages["withheld"][1]).text
    assert "Fall of vacuum with the supply closed" in text
    assert "The station does not save air, so the supply is never closed in a hold." in text
    assert "Seeping release valve" in text
    assert "Keep a log of the healthy station to compare with." in text


def test_undecided_form_is_told_only_of_a_leak(pages):
    """Hole or pores is of interest only where something leaks."""
    assert "Hole or pores: undecided" in read(pages["torn_cup"][1]).text
    assert "Hole or pores" not in read(pages["chattering"][1]).text


def test_hostile_text_stays_text(pages):
    """A name that is a script, with quotes, a direction mark and 10 000 characters, is shown as short text."""
    html = pages["hostile"][1]
    reader = read(html)
    assert "<script>alert" not in html.lower()
    assert "\u202e" not in html
    assert "A" * 400 not in html
    assert reader.tags.count("script") == read(pages["torn_cup"][1]).tags.count("script")
    assert not [k for _, k, _ in reader.facts if k.startswith("on")]
    assert '"><script>alert' in reader.text
    data = html.split('<script type="application/json" id="data">')[1].split("</script>")[0]
    assert json.loads(data)["unit"] == "kPa"


def test_another_unit_from_the_start():
    """Pages may begin in another unit, settings stay in the device's own."""
    html = station_page(stories.chattering(), 0, ReportOptions(unit="inHg"))
    text = read(html).text
    assert "inHg" in text
    assert "Settings to enter (device: kPa)" in text
    assert "<option selected>inHg</option>" in html
    assert station_page(stories.torn_cup(), 0, ReportOptions(unit="MPa")).count("<option selected>MPa</option>") == 1


def test_the_same_record_gives_the_same_page():
    """A page depends on its record alone."""
    assert station_page(stories.dropping(), 0) == station_page(stories.dropping(), 0)


def test_page_one_of_the_print_has_cautions_and_hash(pages):
    """The first sheet carries short cautions and the whole hash of the log."""
    first = pages["torn_cup"][1].split('<div class="page-one">')[1].split('id="evidence"')[0]
    assert stories.HASH in first
    assert "Keep out from under the load." in first


def test_index_lists_the_worst_first():
    """The index orders stations by severity and links to their pages."""
    record = stories.many()
    html = index_page(record)
    text = read(html).text
    assert text.index("Stacker") < text.index("Loader 1") < text.index("Loader 2")
    assert "2 of 3 stations need work" in text
    assert re.findall(r'href="(stations/[^"]+)"', html) == [
        "stations/Stacker.html", "stations/Loader-1.html", "stations/Loader-2.html",
    ]  # fmt: skip


def test_names_of_files_are_safe_and_differ():
    """Names that differ only in signs or case get different files; none leaves the folder."""
    record = stories.many()
    names = ("a/b", "A b", "../..", "CON")
    stations = tuple(replace(record.stations[0], data=replace(record.stations[0].data, station=n)) for n in names)
    found = page_names(replace(record, stations=stations))
    assert found == ("a-b.html", "A-b-2.html", "station.html", "CON-station.html")
    assert safe_name("é" * 300) == "station"
    assert len(safe_name("x" * 300)) == 60


def test_pages_are_written_whole(tmp_path):
    """One station gives one file, several an index and one each; nothing else is left in the folder."""
    assert write_pages(stories.healthy(), tmp_path / "one") == tmp_path / "one" / "report.html"
    assert [p.name for p in (tmp_path / "one").iterdir()] == ["report.html"]
    write_pages(stories.many(), tmp_path / "many")
    assert sorted(p.relative_to(tmp_path / "many").as_posix() for p in (tmp_path / "many").rglob("*.*")) == [
        "report.html", "stations/Loader-1.html", "stations/Loader-2.html", "stations/Stacker.html",
    ]  # fmt: skip


def test_a_folder_that_cannot_be_written_is_an_error(tmp_path):
    """A file where the folder should be is told in one message."""
    (tmp_path / "out").write_text("x", encoding="utf-8")
    with pytest.raises(OutputError, match="expected a folder to write to"):
        write_pages(stories.healthy(), tmp_path / "out")
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_frame_serves_other_pages():
    """Any block of finished HTML can stand in the frame; title, identity and provenance are escaped."""
    html = frame("a <b>", [Block("x", "T", "<p>body</p>", "M")], identity=("n<", "", "c"), provenance=[("File", "<i>")],
                 scripts=("window.more = 1;",), data={"more": "</script>"})  # fmt: skip
    assert "<title>a &lt;b&gt;</title>" in html
    assert "<p>body</p>" in html
    assert "n&lt;" in html
    assert "&lt;i&gt;" in html
    assert "window.more = 1;" in html
    assert html.count("</script>") == 3
    policy = re.search(r"script-src ([^;]+);", unescape(html))
    assert policy
    assert policy[1].count("sha256-") == 2


def test_page_is_quick():
    """A page takes less than 0.3 s of processor time."""
    record = stories.torn_cup()
    best = []
    for _ in range(3):
        start = time.process_time()
        station_page(record, 0)
        best.append(time.process_time() - start)
    assert min(best) < 0.3


def test_heavy_libraries_stay_away():
    """Importing the pages loads no template engine; making one loads neither pandas nor scipy nor plotly."""
    code = (
        "import sys\n"
        "import tracekit.report.page, tracekit.report.terminal\n"
        "assert 'jinja2' not in sys.modules\n"
        "import stories\n"
        "tracekit.report.page.station_page(stories.torn_cup(), 0)\n"
        "print(sorted({'pandas', 'scipy', 'plotly'} & set(sys.modules)))\n"
    )
    path = os.pathsep.join([str(Path(__file__).parent), *sys.path])
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env={**os.environ, "PYTHONPATH": path}, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]"


def test_a_change_of_leak_without_coasts_is_told():
    """A station that never coasts still tells how its leak has changed against the baseline, with interval and reach."""
    result = stories.withheld().stations[0]
    change = LeakChange(
        change=Estimate(value=0.8, lower=0.3, upper=1.3, unit="kPa/s", n=12, method="ultimate"), rise_kpa=0.4,
        time_constant_s=0.5, smallest_kpa_s=0.6, how="close the supply by hand for 10 s",
    )  # fmt: skip
    def told(of):
        return " ".join(read(limits(replace(result, leak_change=of), "kPa")).text.replace("\u00a0", " ").split()).replace("( ", "(").replace(" )", ")")

    text = told(change)
    assert "Change of the leak against the baseline: 0.8 kPa/s (0.3 to 1.3)" in text
    assert "A change below 0.60 kPa/s would not show. Close the supply by hand for 10 s." in text
    assert "Change of the leak" not in read(limits(result, "kPa")).text
    unclear = told(replace(change, change=replace(change.change, lower=-0.4)))
    assert "Change of the leak against the baseline: none shown" in unclear
    assert "(-0.4" not in unclear
    told = read(limits(replace(result, leak_change=Withheld("the time constant has changed")), "kPa")).text
    assert "The time constant has changed." in told


def test_both_outcomes_stand_on_the_first_screen():
    """However long the texts are, both outcomes are told; a how goes for want of room, unless the act goes on in it."""
    result = stories.torn_cup().stations[0]
    long = "Command the supply twenty times by hand and read the response delay of every single one of the edges"
    for how, stays in ((f"Then {long.lower()}.", True), (f"{long}.", False)):
        step = replace(
            stories.BLANK, do=f"Let the station rest for half an hour. {how}", expect_if="More than 50 ms, or the first one much slower: the valve sticks.",
            expect_else="Always the same delay, whatever was commanded: look at the controller.", caution="Valves move on command. " * 4 + "Keep out. Stay clear. Nobody under the load at any time.",
        )  # fmt: skip
        found = replace(result.findings[0], next_steps=(step,))
        shown = answer(replace(result, findings=(found,)), "kPa")
        assert "the valve sticks" in shown
        assert "look at the controller" in shown
        assert ("ommand the supply" in shown) == stays


def test_what_is_for_information_says_its_fact():
    """A remark on the recording tells what was seen, not what to do at the machine."""
    record = stories.torn_cup()
    fact = Evidence(measure="on_level", value=0.0, unit="", text="supply is logged with 0 for on")
    seen = stories.finding("channel_inverted", kind="recording", severity="info", title="A signal is 0", evidence=(fact,))
    first = record.stations[0]
    told = replace(record, stations=(replace(first, findings=(*first.findings, seen)),))
    text = read(station_page(told, 0)).text
    assert "For information: Supply is logged with 0 for on." in text
