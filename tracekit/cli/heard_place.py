"""A history whose files are counted as they are read, so that long work on it shows how far it is."""

import sys
from collections.abc import Sequence

from tracekit.cli.progress import CountedProgress
from tracekit.history.place import Place
from tracekit.history.schema import CYCLES_FOLDER, SUMMARIES

_TABLE = ".parquet"


class HeardPlace:
    """The place it is given; each table that is read through it is shown to a person at a terminal."""

    def __init__(self, place: Place, folders: Sequence[str]) -> None:
        """Count the tables of these folders, then start."""
        paths = [f"{folder}/{inner}" for folder in folders for inner in place.folders(folder)]
        total = sum(name.endswith(_TABLE) for path in paths for name in place.names(path))
        self._place, self._read = place, 0
        self._told = CountedProgress("history", total, "files")

    @property
    def where(self) -> str:
        """The address as the user gave it."""
        return self._place.where

    def names(self, folder: str) -> list[str]:
        """Names of the files directly inside `folder`."""
        return self._place.names(folder)

    def folders(self, folder: str) -> list[str]:
        """Names of the folders directly inside `folder`."""
        return self._place.folders(folder)

    def read(self, name: str) -> bytes:
        """The file's bytes; a table counts as one more."""
        data = self._place.read(name)
        if name.endswith(_TABLE):
            self._read += 1
            self._told(self._read)
        return data

    def put(self, name: str, data: bytes) -> None:
        """Write a file whole."""
        self._place.put(name, data)

    def delete(self, name: str) -> None:
        """Remove a file."""
        self._place.delete(name)

    def age_s(self, name: str) -> float:
        """Seconds since the file was last written."""
        return self._place.age_s(name)


def heard_place(place: Place, folders: Sequence[str] = (CYCLES_FOLDER, SUMMARIES)) -> Place:
    """The place, told to a person at a terminal while its tables are read; itself where nobody looks."""
    return HeardPlace(place, folders) if sys.stderr.isatty() else place
