"""Where the distribution's browsers are; without them, or without Playwright, a test skips and says so."""

import os
import shutil

import pytest


def chromium_path() -> str:
    """The browser named by TRACEKIT_CHROMIUM, else the first of the usual names on the path."""
    names = ("chromium", "chromium-browser", "google-chrome")
    found = os.environ.get("TRACEKIT_CHROMIUM") or next((p for c in names if (p := shutil.which(c))), None)
    if not found:
        pytest.skip("no Chromium on this machine; install the distribution's package")
    return found


def firefox_path() -> str:
    """The browser named by TRACEKIT_FIREFOX, else the first of the usual names on the path."""
    found = os.environ.get("TRACEKIT_FIREFOX") or next((p for c in ("firefox-esr", "firefox") if (p := shutil.which(c))), None)
    if not found:
        pytest.skip("no Firefox on this machine; install the distribution's package (firefox-esr)")
    return found
