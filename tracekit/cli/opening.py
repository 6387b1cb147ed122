"""`--open`: every command that writes a page can show it at once."""

import sys
import webbrowser
from pathlib import Path
from typing import Annotated

import typer

OpenPage = Annotated[bool, typer.Option("--open", help="Open the page in a browser.")]
"""The option of every command that writes a page."""


def show_page(page: Path | None, *, wanted: bool) -> None:
    """Open a page in the reader's browser where that is wanted; say where it is if no browser opens."""
    if not wanted or page is None or not page.is_file():
        return
    address = page.resolve().as_uri()
    if not webbrowser.open(address):
        print(f"No browser could be opened. The page: {address}", file=sys.stderr)
