"""What all tests share: properties are tried on the same examples in every run, without a stop-watch."""

import signal

import pytest
from browser_path import chromium_path
from hypothesis import HealthCheck, settings

settings.register_profile(
    "steady", derandomize=True, deadline=None, max_examples=50, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("steady")


def pytest_configure() -> None:
    """Processes of tests hear Ctrl-C: a shell has a job that it begins in the background ignore it."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(scope="module")
def chromium():
    """The distribution's browser, driven by Playwright; the test skips, with the reason, where there is none."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (extra: browser)")
    found = chromium_path()
    with sync_api.sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=found, args=["--no-sandbox", "--disable-gpu"])
        yield opened
        opened.close()
