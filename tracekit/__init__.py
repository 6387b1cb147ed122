"""tracekit reads what a logger recorded at a vacuum pick-and-place station and says what is wrong.

The front door is the list below. A name is imported when it is first used, so that `import tracekit` and the command
line start at once.
"""

import importlib
import sys
from collections.abc import Mapping
from types import MappingProxyType, ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tracekit.api import Diagnosis as Diagnosis
    from tracekit.api import Recording as Recording
    from tracekit.api import diagnose as diagnose
    from tracekit.api import read as read
    from tracekit.api import simulate as simulate
    from tracekit.errors import TracekitError as TracekitError
    from tracekit.model.estimate import Bound as Bound
    from tracekit.model.estimate import Estimate as Estimate
    from tracekit.model.estimate import Withheld as Withheld
    from tracekit.model.finding import Finding as Finding
    from tracekit.model.station import Station as Station
    from tracekit.simulate.scenario import Scenario as Scenario

_HOMES: Mapping[str, str] = MappingProxyType({
    "Bound": "tracekit.model.estimate",
    "Diagnosis": "tracekit.api",
    "Estimate": "tracekit.model.estimate",
    "Finding": "tracekit.model.finding",
    "Recording": "tracekit.api",
    "Scenario": "tracekit.simulate.scenario",
    "Station": "tracekit.model.station",
    "TracekitError": "tracekit.errors",
    "Withheld": "tracekit.model.estimate",
    "diagnose": "tracekit.api",
    "read": "tracekit.api",
    "simulate": "tracekit.api",
})  # fmt: skip
_ALSO_PACKAGES = ("read", "simulate")

__all__ = [
    "Bound", "Diagnosis", "Estimate", "Finding", "Recording", "Scenario", "Station", "TracekitError", "Withheld",
    "diagnose", "read", "simulate",
]  # fmt: skip


class _Called(ModuleType):
    """A package that may also be called, like the function of its name in `tracekit.api`."""

    def __call__(self, *positional: Any, **named: Any) -> Any:
        """Call the function."""
        function = getattr(importlib.import_module("tracekit.api"), self.__name__.rpartition(".")[2])
        return function(*positional, **named)


class _FrontDoor(ModuleType):
    """The package itself: `read` and `simulate` of its list are functions, and packages of that name besides."""

    def __setattr__(self, name: str, value: object) -> None:
        """Let the packages among the public names be called."""
        if name in _ALSO_PACKAGES and isinstance(value, ModuleType):
            value.__class__ = _Called
        super().__setattr__(name, value)


if not TYPE_CHECKING:  # a type checker shall refuse names that are not in the list

    def __getattr__(name: str) -> Any:
        """The public name, imported now."""
        if name in _ALSO_PACKAGES:
            return importlib.import_module(f"tracekit.{name}")
        if name in _HOMES:
            return getattr(importlib.import_module(_HOMES[name]), name)
        raise AttributeError(f"module 'tracekit' has no attribute {name!r}")


def __dir__() -> list[str]:
    """The public names."""
    return sorted(__all__)


sys.modules[__name__].__class__ = _FrontDoor
