"""What a watch remembers of every file: one small note each, so that a restart neither forgets nor repeats anything."""

import json
from dataclasses import asdict
from pathlib import Path

from tracekit.frozen import dataclass
from tracekit.history.place import Place
from tracekit.history.schema import digest

NOTES = "watched"
_SCHEMA = "tracekit.watched/2"


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One file as it was when last dealt with.

    state   done; bad: it could not be read and could not be moved aside; begun: reading it began and did not end
    tries   how often reading it began and did not end
    log_id  the log that it gave when it was last read to the end, "" where it gave none; `log_size` its bytes
    """

    size: int
    time_ns: int
    state: str
    tries: int = 0
    log_id: str = ""
    log_size: int = 0

    @property
    def stamp(self) -> tuple[int, int]:
        """Size and time of last change [ns], which tell whether the file is still the same."""
        return self.size, self.time_ns


@dataclass(frozen=True, slots=True)
class Notes:
    """The notes on the files of one watched folder, kept at `place`."""

    place: Place
    folder: Path

    def read(self, name: str) -> Note | None:
        """The note on a file; None where there is none, or it is damaged: then the file is simply done again.

        Raises UsageError where the store of the notes cannot be read.
        """
        try:
            data = self.place.read(self._name(name))
        except OSError:
            return None
        try:
            body = json.loads(data)
            return Note(
                size=int(body["size"]), time_ns=int(body["time_ns"]), state=str(body["state"]),
                tries=int(body["tries"]), log_id=str(body["log_id"]), log_size=int(body["log_size"]),
            )  # fmt: skip
        except (ValueError, KeyError, TypeError):
            return None

    def write(self, name: str, note: Note) -> None:
        """Write the note on a file. Raises OutputError where it cannot be written."""
        body = {"schema": _SCHEMA, "file": name, **asdict(note)}
        self.place.put(self._name(name), json.dumps(body).encode())

    def _name(self, name: str) -> str:
        key = digest([str(self.folder.resolve()), name], 32)
        return f"{NOTES}/{key[:2]}/{key}.json"
