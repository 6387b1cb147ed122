"""The index of a folder of results: every page, the worst first, nothing that a name could break."""

import re
from dataclasses import replace
from html import unescape

import stories

from tracekit.options.report import ReportOptions
from tracekit.report.folder_page import folder_page, found_pages
from tracekit.report.frame import Block, frame
from tracekit.report.page import write_pages


def text_of(page):
    """The words of a page's main part."""
    main = re.search(r"<main.*?</main>", page, re.DOTALL).group(0)
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", main)).replace("\u00a0", " ").split())


def filled(folder, *names):
    """A folder of results with a page per story."""
    for name in names:
        make = stories.many if name == "many" else stories.STORIES[name]
        write_pages(make(), folder / name)
    return folder


def test_the_worst_stand_first_with_verdict_step_and_link(tmp_path):
    """Rows come by urgency; each has the words of its page and leads to it."""
    page = folder_page(filled(tmp_path, "healthy", "torn_cup", "dropping"))
    links = re.findall(r'<a class="go" href="([^"]*)"', page)
    assert links == ["./dropping/report.html", "./torn_cup/report.html", "./healthy/report.html"]
    assert all((tmp_path / link).is_file() for link in links)
    text = text_of(page)
    assert text.startswith("2 of 3 recordings need work The worst first.")
    assert "Very likely parts torn off in motion." in text
    assert "Blank the cup with a flat plate (5 min)." in text
    assert 'class="q" data-u="kPa/s"' in page


def test_several_runs_and_a_log_of_several_stations_are_found(tmp_path):
    """Results of earlier runs at any of three levels count; the station pages of one log are behind its own index."""
    filled(tmp_path, "torn_cup", "many")
    filled(tmp_path / "monday" / "night", "healthy")
    paths = [entry.path for entry in found_pages(tmp_path)]
    assert sorted(paths) == ["many/report.html", "monday/night/healthy/report.html", "torn_cup/report.html"]
    assert "2 of 3 stations need work." in text_of(folder_page(tmp_path))


def test_other_pages_are_linked_and_strange_files_are_not(tmp_path):
    """A page of another command is listed by its title; a file that tracekit did not write is not."""
    filled(tmp_path, "healthy")
    for name, text in (("sheet", frame("Comparison of two logs", [Block("a", "A", "x")], identity=(), provenance=())),
                       ("strange", "<html><title>Not ours</title></html>")):  # fmt: skip
        (tmp_path / name).mkdir()
        (tmp_path / name / "report.html").write_text(text, encoding="utf-8")
    text = text_of(folder_page(tmp_path))
    assert "Other pages Comparison of two logs" in text
    assert "Not ours" not in text


def test_logs_without_a_result_are_listed_with_the_reason(tmp_path):
    """What failed is named; where nothing was diagnosed the headline says so."""
    page = folder_page(filled(tmp_path, "healthy"), failed=(("logs/bad.csv", "no rows of values"),))
    assert "Logs without a result bad.csv no rows of values" in text_of(page)
    assert "1 of 2 recordings cannot be judged" in text_of(page)
    assert "1 log without a result stands below." in text_of(page)
    more = folder_page(filled(tmp_path, "torn_cup"), failed=(("a.csv", "no rows"), ("b.csv", "no rows")))
    assert "1 of 4 recordings needs work, 2 cannot be judged" in text_of(more)
    assert "2 logs without a result stand below." in text_of(more)
    assert text_of(folder_page(tmp_path / "none")).startswith("No diagnosis in this folder")


def test_long_folders_are_cut_and_say_so(tmp_path):
    """The most urgent rows are listed, the others counted."""
    filled(tmp_path, "healthy", "torn_cup", "dropping", "by_part")
    page = folder_page(tmp_path, options=replace(ReportOptions(), most_rows=2))
    assert page.count('class="go"') == 2
    assert "The 2 least urgent are not listed." in text_of(page)


def test_hostile_names_are_text(tmp_path):
    """Names of stations, logs and folders are shown, not run."""
    filled(tmp_path / 'a"><script>alert(1)</script>'.replace("/", "_"), "hostile")
    page = folder_page(tmp_path, failed=(("<script>x.csv", "<img src=x>"),))
    body = page.partition("<body>")[2].partition('<script type="application/json"')[0]
    assert "<script" not in body
    assert "<img" not in body
    assert not re.search(r'href="(?!\./|#)', body)
