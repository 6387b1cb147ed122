"""Reads the handbook's TOML files from the package, each at most once and only when asked for."""

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from tracekit.judge.handbook.records import (
    STATES,
    Check,
    Entry,
    FieldTest,
    Pair,
    Repair,
    State,
    TakenFor,
    Target,
    Terms,
    Verify,
)  # fmt: skip
from tracekit.model.finding import CODES

_Raw = Mapping[str, Any]


def _toml(*parts: str) -> dict[str, Any]:
    return tomllib.loads(files("tracekit.judge.handbook").joinpath(*parts).read_text(encoding="utf-8"))


def _minutes(raw: _Raw) -> tuple[int, int]:
    low, high = raw["minutes"]
    return int(low), int(high)


def _states(raw: _Raw) -> tuple[State, ...]:
    return tuple(STATES[STATES.index(word)] for word in raw["state"])


def _terms(raw: _Raw, key: str) -> Terms:
    return tuple((str(name), float(factor)) for name, factor in raw.get(key, {}).items())


def _target(raw: _Raw, measure: str) -> Target:
    return Target(
        measure=measure, words=raw["words"], unit=raw["unit"], low=_terms(raw, "low"), high=_terms(raw, "high"),
        only_sensor_at=raw.get("only_sensor_at", ""),
    )  # fmt: skip


@cache
def field_tests() -> tuple[FieldTest, ...]:
    """The recorded tests T0 to T10, in order."""
    return tuple(
        FieldTest(
            id=name, name=raw["name"], act=raw["act"], do=raw["do"], tool=raw["tool"], minutes=_minutes(raw),
            state=_states(raw), caution=raw["caution"], record=raw["record"], source=raw["source"],
        )
        for name, raw in _toml("tests.toml").items()
    )  # fmt: skip


@cache
def _small_checks() -> _Raw:
    return _toml("checks.toml")


@cache
def _check_base(ref: str) -> _Raw:
    """What a recorded test or small check gives to every use of it."""
    for test in field_tests():
        if test.id == ref:
            return {"do": test.act, "minutes": test.minutes, "state": test.state, "caution": test.caution}
    raw = _small_checks()[ref]
    return {"do": raw["act"], "minutes": raw["minutes"], "state": raw["state"], "caution": raw["caution"]}


def _check(raw: _Raw, if_key: str, else_key: str) -> Check:
    ref = str(raw.get("ref", ""))
    whole = {**_check_base(ref), **raw} if ref else raw
    figure = raw.get("figure_if")
    return Check(
        ref=ref, do=whole["do"], minutes=_minutes(whole), state=_states(whole), caution=whole["caution"],
        expect_if=raw[if_key], expect_else=raw[else_key],
        figure_if=None if figure is None else _target(figure, ""), settles=raw.get("settles", True),
    )  # fmt: skip


def _repair(raw: _Raw) -> Repair:
    return Repair(do=raw["do"], minutes=_minutes(raw), state=_states(raw), caution=raw["caution"])


def _verify(raw: _Raw) -> Verify:
    return Verify(
        expect=raw["expect"], measures=tuple(raw["measures"]),
        targets=tuple(_target(target, target["measure"]) for target in raw.get("targets", [])),
        without_saving=raw.get("without_saving", ""), without_baseline=raw.get("without_baseline", ""),
        picks_from=raw.get("picks_from", ""), picks_word=raw.get("picks_word", ""),
        cycles=raw.get("cycles", 200), minutes=raw.get("minutes", 30),
    )  # fmt: skip


@cache
def entry_of(code: str) -> Entry:
    """The entry of a known code, read on first use."""
    raw = _toml("texts", f"{code}.toml")
    pump = raw.get("pump", {})
    return Entry(
        code=code, kind=CODES[code], title=raw["title"], short=raw["short"], what=raw["what"],
        shows=tuple(raw["shows"]), taken_for=tuple(TakenFor(**other) for other in raw["taken_for"]),
        test=_check(raw["test"], "expect_if", "expect_else"), repair=_repair(raw["repair"]),
        verify=_verify(raw["verify"]), cautions=tuple(raw["cautions"]), source=raw["source"],
        pump_title=pump.get("title", ""), pump_short=pump.get("short", ""),
        pump_test=_check(pump["test"], "expect_if", "expect_else") if "test" in pump else None,
        pump_repair=_repair(pump["repair"]) if "repair" in pump else None,
    )  # fmt: skip


@cache
def pairs() -> tuple[Pair, ...]:
    """All pairs of codes that a test tells apart."""
    return tuple(
        Pair(codes=(raw["codes"][0], raw["codes"][1]), tests=tuple(_check(t, "first", "second") for t in raw["tests"]))
        for raw in _toml("pairs.toml")["pair"]
    )


@cache
def state_cautions() -> tuple[tuple[State, str], ...]:
    """What must hold in each state of the machine, one line each."""
    return tuple((state, _toml("states.toml")["states"][state]) for state in STATES)


@cache
def general_cautions() -> tuple[str, ...]:
    """The cautions that hold at every station."""
    return tuple(_toml("states.toml")["general"]["cautions"])
