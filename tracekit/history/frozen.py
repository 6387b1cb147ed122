"""Records of the model as bytes and back: arrays in NumPy's own container, everything else as JSON, no code in either.

Only the record types listed here can come back. A record of another version that lacks a field without a default, or
has one too many, is refused: what was measured then cannot be compared field by field.
"""

import io
import json
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracekit.model.cycle import Bins, Excerpt, SensorFacts, SettingInForce, StationData, Strip, Wiring
from tracekit.model.estimate import Bound, Estimate, Withheld
from tracekit.model.result import BudgetLine, CoastShape, LeakGroup, LeakResult
from tracekit.model.tables import Column, Table

_TYPES: Mapping[str, type[Any]] = {
    kind.__name__: kind
    for kind in (
        Bins, Bound, BudgetLine, CoastShape, Column, Estimate, Excerpt, LeakGroup, LeakResult, SensorFacts,
        SettingInForce, StationData, Strip, Table, Wiring, Withheld,
    )
}  # fmt: skip
_MOST_BYTES = 512 << 20
_HEAD = "head.json"


def freeze(records: Mapping[str, object], facts: Mapping[str, object]) -> bytes:
    """Bytes of some records by name, with `facts` that can be read without them."""
    arrays: list[NDArray[Any]] = []
    body = {"facts": dict(facts), "records": {name: _plain(record, arrays) for name, record in records.items()}}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as file:
        file.writestr(_HEAD, json.dumps(body, ensure_ascii=False))
        for number, array in enumerate(arrays):
            held = io.BytesIO()
            np.lib.format.write_array(held, array, allow_pickle=False)
            file.writestr(f"{number}.npy", held.getvalue())
    return out.getvalue()


def thaw(data: bytes) -> tuple[dict[str, Any], dict[str, Any]]:
    """Records by name and the facts. Raises ValueError where the bytes are damaged or of another version."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as file:
            if sum(member.file_size for member in file.infolist()) > _MOST_BYTES:
                raise ValueError("larger than any log that is kept")
            body = json.loads(file.read(_HEAD))
            records = {str(name): _record(tree, file) for name, tree in body["records"].items()}
    except (zipfile.BadZipFile, zlib.error, KeyError, TypeError, EOFError, NotImplementedError) as error:
        raise ValueError(f"not what this version keeps ({type(error).__name__})") from error
    return records, dict(body["facts"])


def _plain(value: object, arrays: list[NDArray[Any]]) -> object:
    """A value as JSON can hold it; arrays go to the list and leave their number."""
    if is_dataclass(value) and not isinstance(value, type):
        own = {f.name: _plain(getattr(value, f.name), arrays) for f in fields(value)}
        return {"record": type(value).__name__, "fields": own}
    if isinstance(value, np.ndarray):
        arrays.append(value)
        return {"array": len(arrays) - 1}
    if isinstance(value, Mapping):
        return {"map": {str(key): _plain(item, arrays) for key, item in value.items()}}
    if isinstance(value, tuple | list):
        return {"list": [_plain(item, arrays) for item in value]}
    if isinstance(value, np.generic):
        return value.item()
    return value


def _record(tree: Any, file: zipfile.ZipFile) -> Any:
    """What `_plain` made, made back."""
    if not isinstance(tree, dict):
        return tree
    if "record" in tree:
        own = {str(name): _record(item, file) for name, item in tree["fields"].items()}
        return _TYPES[tree["record"]](**own)
    if "array" in tree:
        return np.lib.format.read_array(io.BytesIO(file.read(f"{int(tree['array'])}.npy")), allow_pickle=False)
    if "map" in tree:
        return {str(key): _record(item, file) for key, item in tree["map"].items()}
    return tuple(_record(item, file) for item in tree["list"])
