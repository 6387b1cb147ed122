"""How a threshold is written down."""

from dataclasses import field, fields
from typing import Any


def option(default: Any, unit: str, reason: str) -> Any:
    """A dataclass field with its unit and the reason for its default."""
    return field(default=default, metadata={"unit": unit, "reason": reason})


def describe(group: Any) -> list[tuple[str, Any, str, str]]:
    """Name, value, unit and reason of every option in a group, for tables made from the code."""
    return [(f.name, getattr(group, f.name), f.metadata["unit"], f.metadata["reason"]) for f in fields(group)]
