"""Frozen records that cost little to define: some hundreds of them are defined before anything is read.

For each frozen record the standard library writes and compiles six functions, most of which most runs never call. Here
five are shared by all records, and the sixth, which makes a record, is compiled when the first one is made.
"""

import dataclasses
from collections.abc import Callable
from reprlib import recursive_repr
from typing import TYPE_CHECKING, Any

__all__ = ["dataclass"]

if TYPE_CHECKING:
    from dataclasses import dataclass  # the same to a type checker
else:

    def dataclass(*, frozen: bool, slots: bool, kw_only: bool = False) -> Callable[[type[Any]], type[Any]]:
        """As `dataclasses.dataclass`; `frozen` and `slots` have to be true."""
        assert frozen
        assert slots

        def made(plain: type[Any]) -> type[Any]:
            record = dataclasses.dataclass(init=False, repr=False, eq=False, slots=True, kw_only=kw_only)(plain)
            record.__init__ = _first_init(record)
            for name, shared in _SHARED.items():
                if plain.__dict__.get(name) is None:
                    setattr(record, name, shared)
            return record

        return made


def _first_init(record: type[Any]) -> Callable[..., None]:
    """What makes the first of some records: it compiles what makes the others, which takes its place."""

    def __init__(self: Any, *args: Any, **values: Any) -> None:  # noqa: N807 - it becomes the record's own
        type.__setattr__(record, "__init__", _init(record))
        record.__init__(self, *args, **values)

    return __init__


def _init(record: type[Any]) -> Callable[..., None]:
    """What makes a record from the values of its fields, as the standard library would write it."""
    known: dict[str, Any] = {"_set": object.__setattr__, "_absent": dataclasses.MISSING}
    named: list[str] = []
    placed, body = ["_self"], []
    for field in dataclasses.fields(record):
        name = field.name
        told, value = _default(field, known)
        if field.init:
            (named if field.kw_only else placed).append(name + told)
        if value:
            body.append(f" _set(_self, {name!r}, {value})")
    if hasattr(record, "__post_init__"):
        body.append(" _self.__post_init__()")
    arguments = ", ".join([*placed, "*", *named] if named else placed)
    exec(f"def __init__({arguments}):\n" + "\n".join(body or [" pass"]), known)  # noqa: S102 - of names alone
    made: Callable[..., None] = known["__init__"]
    made.__qualname__ = f"{record.__qualname__}.__init__"
    return made


def _default(field: dataclasses.Field[Any], known: dict[str, Any]) -> tuple[str, str]:
    """How a field stands among the arguments, after its name, and what it is set to; its default becomes known."""
    name = field.name
    if field.default is not dataclasses.MISSING:
        known[f"_default_{name}"] = field.default
        return f"=_default_{name}", name if field.init else f"_default_{name}"
    if field.default_factory is not dataclasses.MISSING:
        known[f"_make_{name}"] = field.default_factory
        made = f"_make_{name}()"
        return "=_absent", f"{made} if {name} is _absent else {name}" if field.init else made
    return "", name if field.init else ""


def _refused(_record: Any, name: str, *value: Any) -> None:
    """Raise FrozenInstanceError in the place of what would change a field."""
    act = "assign to" if value else "delete"
    raise dataclasses.FrozenInstanceError(f"cannot {act} field {name!r}")


@recursive_repr()
def _told(record: Any) -> str:
    values = (f"{field.name}={getattr(record, field.name)!r}" for field in dataclasses.fields(record) if field.repr)
    return f"{type(record).__qualname__}({', '.join(values)})"


def _compared(record: Any) -> tuple[Any, ...]:
    return tuple(getattr(record, field.name) for field in dataclasses.fields(record) if field.compare)


def _equal(record: Any, other: object) -> Any:
    return _compared(record) == _compared(other) if type(other) is type(record) else NotImplemented


def _hash(record: Any) -> int:
    return hash(_compared(record))


def _state(record: Any) -> list[Any]:
    return [getattr(record, field.name) for field in dataclasses.fields(record)]


def _restored(record: Any, state: list[Any]) -> None:
    for field, value in zip(dataclasses.fields(record), state, strict=True):
        object.__setattr__(record, field.name, value)


_SHARED: dict[str, Callable[..., Any]] = {
    "__setattr__": _refused,
    "__delattr__": _refused,
    "__repr__": _told,
    "__eq__": _equal,
    "__hash__": _hash,
    "__getstate__": _state,
    "__setstate__": _restored,
}
