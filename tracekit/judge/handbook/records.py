"""What a handbook entry is made of. The words live in the TOML files beside this module."""

from typing import Literal

from tracekit.frozen import dataclass
from tracekit.model.finding import FindingKind

State = Literal["running", "safe stop", "locked out"]
STATES: tuple[State, ...] = ("running", "safe stop", "locked out")
TEST_IDS = ("T0", "T1", "T2", "T3", "T4", "T5", "T6", "T7", "T8", "T9", "T10")

Terms = tuple[tuple[str, float], ...]
"""A linear form: sum of factor times the measure of that name; the name `constant` stands for 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldTest:
    """One of the recorded tests, described once for all entries.

    `act` is its short form for a list of steps, `do` the whole, `minutes` from and to [min], `state` the states of
    the machine in the order in which they are needed, `record` how to record it so that tracekit reads the answer.
    """

    id: str
    name: str
    act: str
    do: str
    tool: str
    minutes: tuple[int, int]
    state: tuple[State, ...]
    caution: str
    record: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What a measure should read, as linear forms of measures known before; an empty form sets no bound.

    `only_sensor_at` limits the target to stations with the sensor on that side of the filter.
    """

    measure: str
    words: str
    unit: str
    low: Terms = ()
    high: Terms = ()
    only_sensor_at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A quick test with both outcomes. `ref` names the recorded test or small check that it is, if any.

    `expect_if` is the outcome that speaks for the code of the entry (of a pair: for its first code), `expect_else`
    the other one. `figure_if` puts a number to the first outcome. `settles` is false where the doubt may remain.
    """

    do: str
    minutes: tuple[int, int]
    state: tuple[State, ...]
    caution: str
    expect_if: str
    expect_else: str
    ref: str = ""
    figure_if: Target | None = None
    settles: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """What to do about it, how long [min, from and to], in which state of the machine."""

    do: str
    minutes: tuple[int, int]
    state: tuple[State, ...]
    caution: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verify:
    """How to see that the repair worked: words, measures of tracekit and what they should read.

    Of several targets for one measure the first counts whose terms are all known. `without_saving` are the words for
    a station without air saving, `without_baseline` those without a healthy log, where they differ. `picks_from`
    names a share: none of `picks_word` in 3 divided by that share shows, at 95 %, that it has fallen. `cycles` and
    `minutes` say how much to record.
    """

    expect: str
    measures: tuple[str, ...]
    targets: tuple[Target, ...] = ()
    without_saving: str = ""
    without_baseline: str = ""
    picks_from: str = ""
    picks_word: str = ""
    cycles: int = 200
    minutes: int = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenFor:
    """Something else that looks like it; `code` is empty where it has none."""

    name: str
    code: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """The handbook's page on one code.

    `title` is a heading of at most 50 characters, `short` a few words for use inside a sentence. Where vacuum comes
    from a pump or blower the fields that begin with `pump_` stand in for theirs, unless empty.
    """

    code: str
    kind: FindingKind
    title: str
    short: str
    what: str
    shows: tuple[str, ...]
    taken_for: tuple[TakenFor, ...]
    test: Check
    repair: Repair
    verify: Verify
    cautions: tuple[str, ...]
    source: str
    pump_title: str = ""
    pump_short: str = ""
    pump_test: Check | None = None
    pump_repair: Repair | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """The tests that tell two codes apart, in the order in which to make them."""

    codes: tuple[str, str]
    tests: tuple[Check, ...]
