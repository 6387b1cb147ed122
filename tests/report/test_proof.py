"""A page against its log: what is embedded, and what a check finds."""

import base64
import gzip
import json
import re
from dataclasses import replace

import numpy as np
import pytest
import stories

from tracekit.errors import UsageError
from tracekit.report.page import index_page, station_page
from tracekit.report.proof import ASKS, dated, differences, embedded, index_of, read_page, same_logs


@pytest.fixture(scope="module")
def record():
    """A diagnosis with a baseline."""
    return stories.torn_cup()


@pytest.fixture(scope="module")
def page(record):
    """Its page."""
    return station_page(record, 0)


def altered(page, change):
    """The page with its embedded data changed by a function."""
    data = embedded(page, "page")
    change(data)
    text = json.dumps(data).replace("</", "<\\/")
    return re.sub(
        r'(<script type="application/json" id="data">).*?(</script>)',
        lambda m: m[1] + text + m[2],
        page,
        flags=re.DOTALL,
    )


def test_a_page_follows_from_its_own_record(record, page):
    """The page made again on another day, from the same logs, differs in nothing."""
    data = embedded(page, "page")
    later = replace(record, created="2031-01-01T00:00:00Z")
    assert same_logs(data, later) == ()
    assert index_of(data, later) == 0
    assert differences(page, data, station_page(dated(later, data), 0)) == ()


def test_a_changed_figure_is_named(record, page):
    """A leak written smaller, in the embedded figures, is found with both values."""

    def smaller(data):
        data["proof"]["figures"][0]["leak"]["decay_rate_kpa_s"]["value"] = 0.1

    text = altered(page, smaller)
    found = differences(text, embedded(text, "page"), page)
    assert len(found) == 1
    assert re.fullmatch(r"leak\.decay_rate_kpa_s\.value: 0\.1 in the page, 7\.\d+ from the logs", found[0])


def test_a_changed_sentence_is_named(page):
    """A verdict rewritten by hand is found, and so is what it replaced."""
    text = page.replace("Very likely a leak at", "No leak at")
    found = differences(text, embedded(text, "page"), page)
    assert 'the page says "No leak at the cup, hose or a fitting", the logs do not' in found
    assert 'the logs say "Very likely a leak at the cup, hose or a fitting", the page does not' in found


def test_a_changed_cycle_is_named(page):
    """One number of one cycle, changed in the embedded table, is found by column."""

    def nudge(data):
        packed = data["cycles"]
        body = np.frombuffer(gzip.decompress(base64.b64decode(packed["body"])), "<f4").copy()
        names = [c["name"] for c in packed["columns"]]
        body[names.index("peak_vacuum_kpa") * len(packed["rows"]) + 3] += 1.0
        packed["body"] = base64.b64encode(gzip.compress(body.tobytes())).decode()

    text = altered(page, nudge)
    assert differences(text, embedded(text, "page"), page) == ("cycles: peak_vacuum_kpa differs in 1 of 95 cycles",)


def test_another_log_is_told_by_its_hash(record, page):
    """Logs with other bytes, and a baseline left out, are named before anything is compared."""
    other = replace(record, logs=(replace(record.logs[0], log_id="0" * 64),))
    assert same_logs(embedded(page, "page"), other) == (
        f"logs: the page names {stories.HASH[:12]}, given are {'0' * 12}",
    )
    bare = replace(record, stations=(replace(record.stations[0], baseline=None),))
    assert same_logs(embedded(page, "page"), bare)[0].startswith(f"{ASKS}, SHA-256 ")


def test_an_older_version_is_compared_by_figures_alone(page):
    """Words may change between versions; figures may not."""

    def older(data):
        data["proof"]["version"] = "0.0.1"

    text = altered(page, older).replace("Very likely", "Probably")
    assert differences(text, embedded(text, "page"), page) == ()


def test_an_index_of_several_stations_is_checked_too():
    """The index embeds every station's figures."""
    many = stories.many()
    text = index_page(many)
    data = embedded(text, "page")
    assert index_of(data, many) is None
    assert len(data["proof"]["figures"]) == 3
    assert differences(text, data, index_page(many)) == ()


def test_what_is_no_page_is_refused(tmp_path):
    """A page without figures, bytes that are no text and a missing file end in one message."""
    with pytest.raises(UsageError, match="no figures of a diagnosis"):
        embedded("<html></html>", "x.html")
    (tmp_path / "x.html").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UsageError, match="not a text in UTF-8"):
        read_page(tmp_path / "x.html")
    with pytest.raises(UsageError, match="No such file"):
        read_page(tmp_path / "none.html")
    broken = {"body": "AAAA", "start": "AAAA", "columns": [], "rows": []}
    text = station_page(stories.torn_cup(), 0)
    with pytest.raises(UsageError, match="damaged"):
        differences(
            text, {**embedded(text, "p"), "cycles": {**broken, "rows": embedded(text, "p")["cycles"]["rows"]}}, text
        )
