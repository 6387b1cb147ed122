"""Frozen records that cost little to define: some hundreds of them are defined before anything is read.

For each frozen record the standard library writes and compiles six functions, most of which most runs never call. Here
five are shared by all records, and the sixth, which makes a record, is had from it when the first one is made.
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
    """What makes the first of some records: it has what makes the others compiled, which takes its place."""

    def __init__(self: Any, *args: Any, **values: Any) -> None:  # noqa: N807 - it becomes the record's own
        type.__setattr__(record, "__init__", _init(record))
        record.__init__(self, *args, **values)

    return __init__


def _init(record: type[Any]) -> Callable[..., None]:
    """What makes a record from the values of its fields, as the standard library writes it for a twin of the record."""
    named: dict[str, Any] = {"__doc__": "twin"}  # without a text the standard library would work one out, at length
    if hasattr(record, "__post_init__"):
        named["__post_init__"] = record.__post_init__
    fields = [(one.name, one.type, _again(one)) for one in dataclasses.fields(record)]
    slots = not all(one.init for one in dataclasses.fields(record))  # else what is no argument would not be set
    twin = dataclasses.make_dataclass(
        record.__name__, fields, namespace=named, frozen=True, slots=slots, repr=False, eq=False
    )
    made: Callable[..., None] = vars(twin)["__init__"]
    made.__qualname__ = f"{record.__qualname__}.__init__"
    return made


def _again(one: dataclasses.Field[Any]) -> Any:
    """A field of the same kind for another record."""
    kind: dict[str, Any] = {"init": one.init, "kw_only": bool(one.kw_only)}
    if one.default is not dataclasses.MISSING:
        kind["default"] = one.default
    if one.default_factory is not dataclasses.MISSING:
        kind["default_factory"] = one.default_factory
    return dataclasses.field(**kind)


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
