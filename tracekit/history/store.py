"""A history at an address that fsspec understands: a store of objects, or a server with folders.

In a store of objects a put is whole or absent. Where the store has a conditional put, an object that is there is never
written again: names tell their content, so the one that is there is the same, and is replaced only if its bytes are
not. A server with folders (SFTP, a share) gets the file under an unfinished name first, which is then renamed.
"""

import inspect
import re
import sys
import time
from typing import Any
from uuid import uuid4

from tracekit.errors import OutputError, UsageError, message
from tracekit.frozen import dataclass
from tracekit.history.schema import UNFINISHED

_OBJECTS = frozenset(
    ("s3", "s3a", "gs", "gcs", "az", "abfs", "abfss", "adl", "oci", "oss", "obs", "r2", "tos", "memory")
)
"""Protocols whose put of an object is whole or absent."""
_FOREIGN = (
    ("botocore.exceptions", "BotoCoreError"), ("aiohttp", "ClientError"), ("google.auth.exceptions", "GoogleAuthError"),
    ("azure.core.exceptions", "AzureError"), ("paramiko", "SSHException"),
)  # fmt: skip
"""What the stores' own libraries raise beside OSError when a server cannot be reached or a key is wrong."""
_KEYS = "Check address, keys and network; nothing that was added before is lost."
_USER = re.compile(r"(?<=://)[^/@]*@")


@dataclass(frozen=True, slots=True)
class StorePlace:
    """An address that fsspec understands. Keys and servers are configured as fsspec does it, never in the history."""

    address: str

    @property
    def where(self) -> str:
        """The address, without a user's name and password."""
        return _USER.sub("", self.address)

    def _store(self) -> tuple[Any, str]:
        try:
            import fsspec
        except ImportError as error:
            text = message(self.where, "an address of a store", "a local folder", 'Install "tracekit[fleet]".')
            raise UsageError(text) from error
        try:
            store, root = fsspec.core.url_to_fs(self.address)
        except (ImportError, ValueError) as error:
            todo = "Install the package that fsspec names, or correct the address."
            raise UsageError(message(self.where, said(error), "an address that fsspec can open", todo)) from error
        return store, str(root).rstrip("/")

    def names(self, folder: str) -> list[str]:
        """Names of the files directly inside `folder`, sorted. Raises UsageError where the store cannot be read."""
        return self._inside(folder, "file")

    def folders(self, folder: str) -> list[str]:
        """Names of the folders directly inside `folder`, sorted. Raises UsageError as `names` does."""
        return self._inside(folder, "directory")

    def _inside(self, folder: str, kind: str) -> list[str]:
        store, root = self._store()
        path = f"{root}/{folder}".rstrip("/")
        try:
            store.invalidate_cache()
            found = store.ls(path, detail=True)
        except (FileNotFoundError, NotADirectoryError):
            return []
        except failures() as error:
            raise UsageError(message(self.where, said(error), "a store that can be read", _KEYS)) from error
        here = (str(e["name"]).strip("/") for e in found if e["type"] == kind)
        return sorted(name.rsplit("/", 1)[-1] for name in here if name != path.strip("/"))

    def read(self, name: str) -> bytes:
        """The object's bytes. Raises FileNotFoundError where it is gone, UsageError where the store cannot be read.

        What does not answer now is not damaged: nobody may take what is left for the whole.
        """
        store, root = self._store()
        try:
            return bytes(store.cat_file(f"{root}/{name}"))
        except FileNotFoundError:
            raise
        except failures() as error:
            raise UsageError(message(f"{self.where}/{name}", said(error), "a store that can be read", _KEYS)) from error

    def put(self, name: str, data: bytes) -> None:
        """Put the object whole; one that holds the same bytes already stays as it is.

        Raises OutputError where the store refuses or cannot be reached.
        """
        store, root = self._store()
        path = f"{root}/{name}"
        try:
            if not _is_store_of_objects(store):
                _put_beside(store, path, data)
            elif not _put_new(store, path, data):
                store.pipe_file(path, data)
        except failures() as error:
            text = f"cannot be written ({said(error)})"
            raise OutputError(message(f"{self.where}/{name}", text, "a store that may be written", _KEYS)) from error

    def delete(self, name: str) -> None:
        """Remove the object; one that is gone already is no error. Raises OutputError where the store refuses."""
        store, root = self._store()
        try:
            store.rm_file(f"{root}/{name}")
        except FileNotFoundError:
            return
        except failures() as error:
            text = f"cannot be removed ({said(error)})"
            raise OutputError(message(f"{self.where}/{name}", text, "a store that may be written", _KEYS)) from error

    def age_s(self, name: str) -> float:
        """Seconds since the object was last written; as if it were new where the store does not tell."""
        store, root = self._store()
        try:
            modified = store.modified(f"{root}/{name}")
        except FileNotFoundError:
            raise
        except (NotImplementedError, OSError):
            return 0.0
        except failures():
            return 0.0
        return float(time.time() - modified.timestamp())


def failures() -> tuple[type[Exception], ...]:
    """What a store can raise: OSError, and the errors of those libraries that are loaded."""
    found = (getattr(sys.modules.get(module), name, None) for module, name in _FOREIGN)
    return (OSError, *(kind for kind in found if isinstance(kind, type) and issubclass(kind, Exception)))


def said(error: Exception) -> str:
    """What an error says, on one line, without a user's name and password."""
    text = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return _USER.sub("", " ".join(str(text).split())[:300])


def _is_store_of_objects(store: Any) -> bool:
    protocol = store.protocol
    return bool(_OBJECTS & set((protocol,) if isinstance(protocol, str) else protocol))


def _put_new(store: Any, path: str, data: bytes) -> bool:
    """Put an object that is not there yet, if the store can do that; True where it now holds the bytes."""
    if "mode" not in inspect.signature(store.pipe_file).parameters:
        return False
    try:
        store.pipe_file(path, data, mode="create")
    except FileExistsError:
        return bool(store.cat_file(path) == data)
    except (OSError, ValueError, NotImplementedError):
        return False  # a store without conditional put refuses the condition, not the object
    return True


def _put_beside(store: Any, path: str, data: bytes) -> None:
    """Write beside, then rename: for servers with folders."""
    beside = f"{path}.{uuid4().hex}{UNFINISHED}"
    store.makedirs(path.rsplit("/", 1)[0], exist_ok=True)
    try:
        store.pipe_file(beside, data)
        store.mv(beside, path)
    except OSError:
        if store.exists(beside):
            store.rm_file(beside)
        raise
