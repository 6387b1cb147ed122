"""Logs at addresses that fsspec understands: which there are, and a copy of one nearby while it is read."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import Any

from tracekit.errors import LogReadError, UsageError, message
from tracekit.history.store import failures, said
from tracekit.read.source import PATTERNS

_TODO = "Check address, keys and network."


def is_address(text: str) -> bool:
    """True for an address such as s3://bucket/logs; local paths and file:// are none."""
    return "://" in text and not text.startswith("file://")


def logs_at(address: str) -> tuple[str, ...]:
    """Addresses of the logs in a folder, behind a pattern, or of one log, sorted; nothing of them is read.

    Raises UsageError where the store cannot be opened, LogReadError where it holds no such log.
    """
    store, root = _opened(address)
    try:
        if any(c in root for c in "*?["):
            names = [str(name) for name in store.glob(root) if store.isfile(name)]
        elif store.isdir(root):
            inside = (str(entry["name"]) for entry in store.ls(root, detail=True) if entry["type"] == "file")
            names = [name for name in inside if name.lower().endswith(PATTERNS)]
        else:
            names = [root] if store.exists(root) else []
    except failures() as error:
        raise LogReadError(message(address, said(error), "a store that can be read", _TODO)) from error
    if not names:
        raise LogReadError(message(address, "no log there", "an object, a folder or a pattern of logs", _TODO))
    return tuple(sorted(str(store.unstrip_protocol(name)) for name in names))


@contextmanager
def nearby(name: str) -> Iterator[str]:
    """A path with the content of a log: its own, or that of a copy that is made in portions and goes afterwards.

    Raises UsageError where the store cannot be opened, LogReadError where the object cannot be read.
    """
    if not is_address(name):
        yield name
        return
    store, root = _opened(name)
    with TemporaryDirectory(prefix="tracekit-", ignore_cleanup_errors=True) as place:
        copy = Path(place, PurePosixPath(root).name or "log")
        try:
            store.get_file(root, str(copy))
        except FileNotFoundError as error:
            raise LogReadError(message(name, "no such object", "a log", _TODO)) from error
        except failures() as error:
            raise LogReadError(message(name, said(error), "an object that can be read", _TODO)) from error
        yield str(copy)


def _opened(address: str) -> tuple[Any, str]:
    try:
        import fsspec
    except ImportError as error:
        text = message(address, "an address of a store", "a local file or folder", 'Install "tracekit[fleet]".')
        raise UsageError(text) from error
    try:
        store, root = fsspec.core.url_to_fs(address)
    except (ImportError, ValueError) as error:
        todo = "Install the package that fsspec names, or correct the address."
        raise UsageError(message(address, said(error), "an address that fsspec can open", todo)) from error
    return store, str(root)
