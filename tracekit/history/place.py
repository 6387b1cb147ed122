"""Where a history lies: a local folder, or an address that fsspec understands.

A place offers five acts on whole, immutable files. `put` is atomic: a reader sees the whole file or none, and a
program killed at any instant leaves at most an unfinished file whose name no reader looks at. Nothing locks.
"""

import os
import time
import uuid
from contextlib import suppress
from pathlib import Path
from typing import Protocol

from tracekit.errors import OutputError, message
from tracekit.frozen import dataclass
from tracekit.history.schema import UNFINISHED
from tracekit.history.store import StorePlace

_RENAME_TRIES = 20


class Place(Protocol):
    """Whole files by relative name, with `/` between the parts of a name."""

    @property
    def where(self) -> str:
        """The address as the user gave it."""
        ...

    def names(self, folder: str) -> list[str]:
        """Names of the files directly inside `folder`, sorted; empty where the folder does not exist."""
        ...

    def folders(self, folder: str) -> list[str]:
        """Names of the folders directly inside `folder`, sorted."""
        ...

    def read(self, name: str) -> bytes:
        """The file's bytes. Raises FileNotFoundError where it is gone, UsageError where a store cannot be read now."""
        ...

    def put(self, name: str, data: bytes) -> None:
        """Write a file whole, durably, replacing one of the same name."""
        ...

    def delete(self, name: str) -> None:
        """Remove a file; one that is gone already is no error."""
        ...

    def age_s(self, name: str) -> float:
        """Seconds since the file was last written."""
        ...


def open_place(address: str | Path) -> Place:
    """The place at a local path, or at an address with `://` (needs the extra `fleet`)."""
    text = str(address)
    if "://" in text and not text.startswith("file://"):
        return StorePlace(text)
    return LocalPlace(Path(text.removeprefix("file://")))


@dataclass(frozen=True, slots=True)
class LocalPlace:
    """A folder of this machine or of a network share."""

    root: Path

    @property
    def where(self) -> str:
        """The folder's path."""
        return str(self.root)

    def names(self, folder: str) -> list[str]:
        """Names of the files directly inside `folder`, sorted."""
        return self._inside(folder, files=True)

    def folders(self, folder: str) -> list[str]:
        """Names of the folders directly inside `folder`, sorted."""
        return self._inside(folder, files=False)

    def _inside(self, folder: str, *, files: bool) -> list[str]:
        try:
            with os.scandir(self.root / folder) as entries:
                return sorted(e.name for e in entries if e.is_file() == files)
        except (FileNotFoundError, NotADirectoryError):
            return []

    def read(self, name: str) -> bytes:
        """The file's bytes."""
        return (self.root / name).read_bytes()

    def put(self, name: str, data: bytes) -> None:
        """Write beside, sync, rename, sync the folder."""
        target = self.root / name
        beside = target.with_name(f"{target.name}.{uuid.uuid4().hex}{UNFINISHED}")
        try:
            _make_folder(target.parent)
            _write_synced(beside, data)
            _rename(beside, target)
            _sync_folder(target.parent)
        except OSError as error:
            with suppress(OSError):
                beside.unlink(missing_ok=True)
            raise OutputError(_cannot_write(str(target), error)) from error

    def delete(self, name: str) -> None:
        """Remove a file; one that another program holds open is left for the next time."""
        try:
            (self.root / name).unlink(missing_ok=True)
        except PermissionError:
            return
        except OSError as error:
            raise OutputError(_cannot_write(str(self.root / name), error)) from error

    def age_s(self, name: str) -> float:
        """Seconds since the file was last written."""
        return time.time() - (self.root / name).stat().st_mtime


def _cannot_write(where: str, error: OSError) -> str:
    reason = error.strerror or str(error)
    return message(where, f"cannot be written ({reason})", "a place with room that may be written", "Nothing was lost.")


def _make_folder(folder: Path) -> None:
    missing = [place for place in (folder, *folder.parents) if not place.is_dir()]
    if not missing:
        return
    folder.mkdir(parents=True, exist_ok=True)
    for place in missing:
        _sync_folder(place.parent)


def _write_synced(path: Path, data: bytes) -> None:
    with path.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _rename(beside: Path, target: Path) -> None:
    """Rename onto the target; a reader that holds the target open (Windows) is waited for."""
    for tries in range(_RENAME_TRIES):
        try:
            beside.replace(target)
        except PermissionError:
            if tries + 1 == _RENAME_TRIES:
                raise
            time.sleep(0.05)
        else:
            return


def _sync_folder(folder: Path) -> None:
    """Make names in a folder survive a power cut, where the system can do that and lets us open the folder."""
    if os.name == "nt":
        return
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
