"""A headless Chromium, the pages of all stories, and axe-core where npm can fetch it."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest
import stories
from browser_path import chromium_path

from tests.compare.compared_stations import Scene, recording
from tracekit import cli
from tracekit.compare.engine import compare
from tracekit.compare.plan import plan_for
from tracekit.compare.plan_share import PlanQuestion
from tracekit.options.compare import CompareOptions, PlanOptions, SerialOptions
from tracekit.report.compare_page import comparison_page
from tracekit.report.folder_page import folder_page
from tracekit.report.page import write_pages
from tracekit.report.plan_page import plan_page

FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-component-update",
         "--disable-sync")  # fmt: skip
SAMPLES = Path(__file__).parents[2] / "sample_logs"
COMMANDS = ("tune", "setup", "inspect", "volume", "trend", "fleet")  # pages that commands make of the sample logs
PLAIN = ("many", "folder", "plan", "compare", *COMMANDS)  # pages without cycles to look into


@pytest.fixture(scope="session")
def browser():
    """Chromium of the distribution, with a profile of its own; skipped where there is none."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (extra: browser)")
    found = chromium_path()
    with sync_api.sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=found, args=list(FLAGS))
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def pages(tmp_path_factory):
    """The folder of every story's page, by story; the index over all of them, and the page of a plan."""
    root = tmp_path_factory.mktemp("pages")
    made = {name: write_pages(make(), root / name) for name, make in {**stories.STORIES, "many": stories.many}.items()}
    question = PlanQuestion(measure="decay_rate_kpa_s", change=1.0, looks=3)
    plan = plan_for(question, (), CompareOptions(), PlanOptions(), SerialOptions(), "2025-01-01T00:00:00Z")
    sides = recording(1, 120), recording(3, 120, Scene(medians={"decay_rate_kpa_s": 3.0}), start_h=24.0)
    sheet = comparison_page(compare(*((side,) for side in sides)))
    index = folder_page(root, failed=(("bad.csv", "no rows"),))
    for name, text in (("plan", plan_page(plan)), ("folder", index), ("compare", sheet)):
        made[name] = root / f"{name}.html"
        made[name].write_text(text, encoding="utf-8")
    return made | made_by_commands(root)


def made_by_commands(root: Path) -> dict[str, Path]:
    """Pages of the commands that are not `diagnose`, of the sample logs, by name."""
    cup, repair, week = (SAMPLES / name for name in ("loader_2_torn_cup", "loader_2_repair", "kiln_feeder_week"))
    station = ["--station", str(cup / "station.toml")]
    history = root / "history"
    for day in range(1, 8):
        log = [str(week / f"day_{day}.parquet"), "--station", str(week / "station.toml")]
        when = ["--started", f"2025-03-0{day}T06:00+00:00", "--history", str(history)]
        assert cli.run(["diagnose", *log, *when, "--out", str(root / f"day_{day}"), "--quiet"]) == 0
    logs = [str(repair / "after.parquet"), str(repair / "before.parquet"), "--orifice-mm", "0.3"]
    for arguments in (
        ["tune", str(cup / "log.csv"), *station],
        ["inspect", str(cup / "log.csv")],
        ["volume", *logs, "--station", str(repair / "station.toml")],
        ["trend", str(history)],
    ):
        assert cli.run([*arguments, "--out", str(root / arguments[0]), "--quiet"]) == 0
    (station_trend,) = (root / "trend" / "stations").glob("*.html")
    pages = {name: root / name / "report.html" for name in ("tune", "inspect", "volume")}
    return pages | {
        "setup": root / "tune" / "setup.html", "fleet": root / "trend" / "report.html", "trend": station_trend,
    }  # fmt: skip


@pytest.fixture
def visit(browser, pages):
    """Open a story's page with the network off; what the console says is collected in `page.said`."""
    contexts = []

    def go(name, *, width=1280, height=800, theme="light", script=True, ready=None, path=None, **more):
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=theme, offline=True, java_script_enabled=script,
            accept_downloads=True, **more,
        )  # fmt: skip
        contexts.append(context)
        page = context.new_page()
        page.said = []
        page.on("console", lambda message: page.said.append(message.text))
        page.on("pageerror", lambda error: page.said.append(str(error)))
        page.on("dialog", lambda dialog: (page.said.append(dialog.message), dialog.dismiss()))
        page.goto((path or pages[name]).as_uri())
        if ready is None:
            ready = script and name not in ("unmeasurable", *PLAIN)
        if ready:
            page.wait_for_selector("html[data-ready]", timeout=10_000)
        return page

    yield go
    for context in contexts:
        context.close()


@pytest.fixture(scope="session")
def axe(tmp_path_factory):
    """The source of axe-core, fetched by npm into a folder of this run; skipped where that is not possible."""
    given = os.environ.get("TRACEKIT_AXE")
    if given:
        return Path(given).read_text(encoding="utf-8")
    npm = shutil.which("npm")
    if not npm:
        pytest.skip("no npm to fetch axe-core with")
    folder = tmp_path_factory.mktemp("axe")
    command = [npm, "install", "--prefix", str(folder), "--no-audit", "--no-fund", "--ignore-scripts", "axe-core@4"]
    source = folder / "node_modules" / "axe-core" / "axe.min.js"
    for _ in range(3):  # a registry that does not answer once may the next time
        done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
        if not done.returncode and source.exists():
            return source.read_text(encoding="utf-8")
    pytest.skip("npm could not fetch axe-core")
