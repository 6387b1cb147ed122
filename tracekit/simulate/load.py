"""Scenarios by name or from a TOML file."""

import tomllib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from importlib.resources import files
from pathlib import Path
from types import NoneType
from typing import Any, get_args, get_type_hints

from tracekit.errors import UsageError, message, nearest
from tracekit.simulate.scenario import Fault, Scenario

FOLDER = "scenarios"


def scenario_names() -> tuple[str, ...]:
    """Names of the scenarios that come with the package, sorted."""
    found = files("tracekit.simulate").joinpath(FOLDER).iterdir()
    return tuple(sorted(f.name.removesuffix(".toml") for f in found if f.name.endswith(".toml")))


def load_scenario(name_or_path: str | Path) -> Scenario:
    """A named scenario, or one from a TOML file whose tables mirror `Scenario`.

    A key `like = "name"` takes what is not given from another named scenario, table by table.
    Raises UsageError for an unknown name, a file that cannot be read, an unknown key or a wrong type.
    """
    text = str(name_or_path)
    if text in scenario_names():
        return parse_scenario(_named_text(text), text)
    path = Path(name_or_path)
    if path.suffix != ".toml":
        raise UsageError(message("scenario", f'"{text}"', "a name or a .toml file", nearest(text, scenario_names())))
    try:
        return parse_scenario(path.read_text("utf-8"), path.stem)
    except (OSError, UnicodeDecodeError) as problem:
        said = getattr(problem, "strerror", None) or "not UTF-8 text"
        raise UsageError(message(path.name, str(said), "a readable TOML file", "Check the path.")) from problem


def parse_scenario(text: str, name: str) -> Scenario:
    """A scenario from TOML text. Raises UsageError that names the key."""
    made: Scenario = _record(Scenario, {"name": name} | _tables(text, name), name)
    return made


def _named_text(name: str) -> str:
    return files("tracekit.simulate").joinpath(FOLDER, f"{name}.toml").read_text("utf-8")


def _tables(text: str, name: str) -> dict[str, Any]:
    """The tables of a scenario, laid over those of the one that it is like."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise UsageError(message(name, str(problem), "TOML", "Correct that line.")) from problem
    model = tables.pop("like", None)
    if model is None:
        return tables
    if model not in scenario_names() or model == name:
        raise UsageError(message(name, f"like = {model!r}", "a named scenario", nearest(str(model), scenario_names())))
    return _laid_over(_tables(_named_text(model), model), tables)


def _laid_over(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    """Tables merged key by key; what stands above wins."""
    both = {k for k in above if isinstance(above[k], Mapping) and isinstance(below.get(k), Mapping)}
    return {**below, **above} | {k: _laid_over(below[k], above[k]) for k in both}


def _record(kind: Any, given: Any, where: str) -> Any:
    """A frozen record of `kind` from a table, its own tables too."""
    if not isinstance(given, Mapping):
        raise UsageError(message(where, f"{given!r}", "a table", "Write it as [table]."))
    hints = get_type_hints(kind)
    known = [f.name for f in fields(kind)]
    for key in given:
        if key not in known:
            raise UsageError(message(where, f'unknown key "{key}"', "a known one", nearest(key, known)))
    return kind(**{key: _value(hints[key], value, f"{where}, {key}") for key, value in given.items()})


def _value(hint: Any, value: Any, where: str) -> Any:
    """One value in the type that the record wants; `false` stands for an absent table."""
    options = get_args(hint)
    if NoneType in options:
        return None if value is False else _value(next(o for o in options if o is not NoneType), value, where)
    if is_dataclass(hint):
        return _record(hint, value, where)
    if options and options[0] is Fault:
        return tuple(_record(Fault, v, f"{where} {k + 1}") for k, v in enumerate(_list(value, where)))
    if getattr(hint, "__origin__", None) is tuple:
        return tuple(_value(float, v, where) for v in _list(value, where))
    if options:
        return _mapping(value, options[1], where)
    number = isinstance(value, int | float) and not isinstance(value, bool)
    fits = number if hint is float else isinstance(value, hint) and (hint is bool or not isinstance(value, bool))
    if not fits:
        raise UsageError(message(where, f"{value!r}", f"a {_word(hint)}", "Correct the value."))
    return float(value) if hint is float else value


def _mapping(value: Any, of: Any, where: str) -> dict[str, Any]:
    if not isinstance(value, Mapping):
        raise UsageError(message(where, f"{value!r}", "a table", "Write it as a table."))
    return {k: v if of is Any else _value(of, v, f"{where}, {k}") for k, v in value.items()}


def _list(value: Any, where: str) -> list[Any]:
    if not isinstance(value, list):
        raise UsageError(message(where, f"{value!r}", "a list", "Write it in brackets."))
    return value


def _word(hint: Any) -> str:
    return "number" if hint is float else "whole number" if hint is int else "truth value" if hint is bool else "text"
