"""What to do next: the test that tells the rivals apart, the repair, and what to expect when recorded again."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

from tracekit.frozen import dataclass
from tracekit.judge import handbook
from tracekit.judge.handbook import Check, Entry, State, Target, Verify
from tracekit.model.finding import NextStep
from tracekit.physics.air import L_MIN_ANR_PER_ML_KPA_S

MOST_TESTS = 3
"""More tests than this in a row and nobody makes them (common practice, no source)."""
LEAKS = frozenset({"leak_steady", "leak_part_dependent", "check_valve_leak", "release_valve_leak", "seal_lost_partly"})
NEEDS_EJECTOR = frozenset({"T4", "T5", "T6"})
NEEDS_AIR_SAVING = frozenset({"supply_on_below_reset", "supply_band_too_narrow", "supply_short_cycling"})
TIGHT_LEAK_L_MIN_ANR = 0.1
"""A station that leaks less is tight (common practice, no source)."""
_AFTERWARDS: Mapping[State, str] = {
    "running": "Then run it from outside the guards.",
    "safe stop": "Then back to the safe stop.",
    "locked out": "Then lock out and vent again.",
}


_NEAR = 0.05
"""Of a measure, by which it may miss a goal that proves nothing: a log of another day differs by as much."""
_NEXT_CAUSE = "look into the next likely cause"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """What is known of the station and its log where the steps are to be made."""

    air_saving: bool
    has_baseline: bool
    sensor_at: str
    source: str
    measures: Mapping[str, float]

    @property
    def ejector(self) -> bool:
        """Compressed air makes the vacuum: there is a silencer and an air feed."""
        return self.source == "ejector"


def next_steps(
    code: str, alternatives: Iterable[str], *, air_saving: bool, has_baseline: bool, sensor_at: str, source: str,
    measures: Mapping[str, float],
) -> tuple[NextStep, ...]:  # fmt: skip
    """Steps for a finding, in order: tests against its alternatives, the repair, the recording that proves it.

    Parameters
    ----------
    code, alternatives
        The leading code and those that the evidence cannot tell from it, most likely first.
    air_saving
        The log has coasts; without them a decay is made on purpose.
    has_baseline
        A healthy log of the station is at hand.
    sensor_at
        generator or cup: the side of the filter.
    source
        ejector, pump or blower; the last two have no silencer and no air to switch off.
    measures
        What is known, by name: medians of columns of the cycles table, the same with `baseline_` before or `_p95`
        behind, settings such as `reset_point_kpa`, `guard_kpa`, `drop_share`, `miss_share`,
        `supply_switches_per_hour`, `volume_ml`. Missing names leave their figures out.

    Returns
    -------
    tuple of NextStep
        A symptom gets no repair of its own. `minutes` is the upper end of the usual range.

    Raises
    ------
    UsageError
        For an unknown code.
    """
    place = _Place(
        air_saving=air_saving, has_baseline=has_baseline, sensor_at=sensor_at, source=source,
        measures=_with_tight_limit(measures),
    )  # fmt: skip
    entry = handbook.entry(code)
    rivals = tuple(handbook.entry(rival) for rival in _possible_rivals(code, alternatives, place))
    first = (_healthy_blower_first(),) if _blower_unknown(code, place) else ()
    asked = (_own_test(entry, place),) if entry.kind == "symptom" else _tests(entry, rivals, place)
    tests = tuple(_test_step(test, entry, rivals, place) for test in asked)
    if entry.kind == "recording":
        return (*first, *tests, _record_instead(entry, place))
    repair = () if entry.kind == "symptom" else (_repair_step(entry, rivals, place),)
    return (*first, *tests, *repair, _record_again(entry, rivals, place))


def own_steps(
    code: str, *, air_saving: bool, has_baseline: bool, sensor_at: str, source: str
) -> tuple[NextStep, NextStep]:
    """The test that finds a cause, setting or sensor fault by itself, and its repair, without the log's figures.

    Raises
    ------
    UsageError
        For an unknown code.
    """
    place = _Place(
        air_saving=air_saving, has_baseline=has_baseline, sensor_at=sensor_at, source=source, measures={}
    )  # fmt: skip
    entry = handbook.entry(code)
    return _test_step(_own_test(entry, place), entry, (), place), _repair_step(entry, (), place)


def _with_tight_limit(measures: Mapping[str, float]) -> dict[str, float]:
    """Known measures, with the fall of a tight station where the volume is known."""
    known = {name: value for name, value in measures.items() if math.isfinite(value)}
    volume_ml = known.get("volume_ml", 0.0)
    if volume_ml > 0:
        known["tight_decay_rate_kpa_s"] = TIGHT_LEAK_L_MIN_ANR / (L_MIN_ANR_PER_ML_KPA_S * volume_ml)
    return known


def _possible_rivals(code: str, alternatives: Iterable[str], place: _Place) -> tuple[str, ...]:
    excluded = {code} if place.air_saving else {code, *NEEDS_AIR_SAVING}
    return tuple(dict.fromkeys(rival for rival in alternatives if rival not in excluded))


def _blower_unknown(code: str, place: _Place) -> bool:
    return place.source == "blower" and code in LEAKS and not place.has_baseline


def _healthy_blower_first() -> NextStep:
    return NextStep(
        do="A blower leaks by design. Record this station, or its twin, in good order first.",
        expect_if="The healthy record falls more slowly: a leak. Go on.",
        expect_else="It falls as fast: nothing to repair.",
        minutes=30,
        caution=_caution(("running",), ""),
    )


def _tests(entry: Entry, rivals: tuple[Entry, ...], place: _Place) -> tuple[Check, ...]:
    """The fewest and cheapest tests that settle every rival; the entry's own test where no rival has one.

    Tests that serve more rivals come first, then those for the likelier rival, then the shorter ones.
    """
    open_for = {
        rival.code: [t for t in handbook.separating_tests(entry.code, rival.code) if _possible(t, place)]
        or _own_against(entry, rival, place)
        for rival in rivals
    }
    chosen: list[Check] = []
    pending = [code for code, tests in open_for.items() if tests]
    while pending and len(chosen) < MOST_TESTS:
        best = _best_test(pending, open_for)
        served = {code: test for code in pending for test in open_for[code] if test.do == best.do}
        chosen.append(_merged(tuple(served.values())))
        for code, test in served.items():
            open_for[code] = [] if test.settles else [t for t in open_for[code] if t.do != best.do]
        pending = [code for code in pending if open_for[code]]
    return tuple(chosen) or (_own_test(entry, place),)


def _own_against(entry: Entry, rival: Entry, place: _Place) -> list[Check]:
    """Where no test is known for a pair: the leading code's own test, which finds it or leaves the rival."""
    if "symptom" in (entry.kind, rival.kind) or "recording" in (entry.kind, rival.kind):
        return []
    test = _own_test(entry, place)
    other = handbook.short_name(rival.code, place.source)
    return [replace(test, expect_else=f"Not so: {other} next.")] if _possible(test, place) else []


def _best_test(pending: list[str], open_for: Mapping[str, list[Check]]) -> Check:
    def cost(item: tuple[int, int, Check]) -> tuple[int, int, int, int]:
        rank, order, test = item
        serves = sum(any(t.do == test.do for t in open_for[code]) for code in pending)
        return -serves, rank, test.minutes[1], order

    items = [(rank, order, test) for rank, code in enumerate(pending) for order, test in enumerate(open_for[code])]
    return min(items, key=cost)[2]


def _merged(tests: tuple[Check, ...]) -> Check:
    """One test that serves several rivals: the leading code's outcome once, each rival's own."""
    first = tests[0]
    return Check(
        do=first.do, minutes=first.minutes, state=first.state, caution=first.caution, ref=first.ref,
        expect_if=first.expect_if, expect_else=_said_once(test.expect_else for test in tests),
        figure_if=first.figure_if,
    )  # fmt: skip


def _said_once(outcomes: Iterable[str]) -> str:
    """Outcomes in one text; those that begin alike share what stands before the colon."""
    meanings: dict[str, list[str]] = {}
    for outcome in dict.fromkeys(outcomes):
        sign, _, meaning = outcome.partition(": ")
        meanings.setdefault(sign, []).append(meaning.removesuffix("."))
    return " ".join(f"{sign}: {', or '.join(found)}." for sign, found in meanings.items())


def _possible(test: Check, place: _Place) -> bool:
    return place.ejector or test.ref not in NEEDS_EJECTOR


def _own_test(entry: Entry, place: _Place) -> Check:
    if not place.ejector and entry.pump_test is not None:
        return entry.pump_test
    return entry.test


def _test_step(test: Check, entry: Entry, rivals: tuple[Entry, ...], place: _Place) -> NextStep:
    figure = "" if test.figure_if is None else _figure_text(test.figure_if, place, with_now=False)
    return NextStep(
        do=" ".join([test.do, *_notes(test, entry, rivals, place), *_recording(test)]),
        expect_if=_with_figure(test.expect_if, figure),
        expect_else=test.expect_else,
        minutes=test.minutes[1],
        caution=_caution(test.state, test.caution),
    )


def _with_figure(outcomes: str, figure: str) -> str:
    """Outcomes of a test with the figure of the first one behind what is seen."""
    seen, colon, rest = outcomes.partition(":")
    return f"{seen} ({figure}){colon}{rest}" if figure and colon else outcomes


def _recording(test: Check) -> list[str]:
    """How to record a test so that its answer can be read from the log; nothing for one that needs no log."""
    return [f"To log it: {known.record}" for known in handbook.field_tests() if known.id == test.ref]


def _notes(test: Check, entry: Entry, rivals: tuple[Entry, ...], place: _Place) -> list[str]:
    """What this station needs beside the test's usual form."""
    notes = []
    if test.ref in {"T1", "T2"} and not place.air_saving and LEAKS & {entry.code, *(r.code for r in rivals)}:
        notes.append("Switch the supply off by hand for 10 s; without a check valve shut a valve at the port.")
    if test.ref == "T3" and place.sensor_at == "cup":
        notes.append("Read a second gauge at the generator: the station's sensor sits beyond the filter.")
    if not place.has_baseline and "baseline" in test.expect_if + test.expect_else:
        notes.append("Without a baseline compare with a healthy station of the same kind.")
    return notes


def _repair_step(entry: Entry, rivals: tuple[Entry, ...], place: _Place) -> NextStep:
    repair = entry.repair if place.ejector or entry.pump_repair is None else entry.pump_repair
    if entry.kind == "setting":
        worked, failed = "Every part holds at low speed: record again.", "A part slips or is missed: set back."
    else:
        worked = "The test above finds no fault any more: record again."
        failed = f"No change: {_next_rival(rivals, place) or _NEXT_CAUSE}."
    return NextStep(
        do=repair.do, expect_if=worked, expect_else=failed, minutes=repair.minutes[1],
        caution=_caution(repair.state, repair.caution),
    )  # fmt: skip


def _next_rival(rivals: tuple[Entry, ...], place: _Place) -> str:
    """Where to look next, such as "check valve next"; empty without a rival that can be repaired."""
    names = [handbook.short_name(rival.code, place.source) for rival in rivals if rival.kind != "symptom"]
    return f"{names[0]} next" if names else ""


def _record_instead(entry: Entry, place: _Place) -> NextStep:
    """A fault of the recording is repaired by recording again."""
    repair = entry.repair
    return NextStep(
        do=repair.do, expect_if=_expectation(entry.verify, place), expect_else="Not so: repeat the test above.",
        minutes=repair.minutes[1], caution=_caution(repair.state, repair.caution),
    )  # fmt: skip


def _record_again(entry: Entry, rivals: tuple[Entry, ...], place: _Place) -> NextStep:
    verify = entry.verify
    picks = max(verify.cycles, _picks_to_show(verify, place))
    expected = _expectation(verify, place)
    failed = f"Not reached: {_next_rival(rivals, place) or _NEXT_CAUSE}."
    keep = "" if place.has_baseline else "Keep it as the baseline."
    return NextStep(
        do=_joined(f"Record again, at least {picks} picks with the same part and speed.", keep),
        expect_if=f"Expect: {expected[0].lower()}{expected[1:]}",
        expect_else=failed,
        minutes=math.ceil(verify.minutes * picks / verify.cycles),
        caution=_caution(("running",), "Try the grip at low speed first, area clear."),
    )


def _picks_to_show(verify: Verify, place: _Place) -> int:
    """Picks without an event after which the share is below that of this log, at 95 % (3/n); 0 where unknown."""
    share = place.measures.get(verify.picks_from, 0.0)
    return math.ceil(3.0 / share) if share > 0 else 0


def _expectation(verify: Verify, place: _Place) -> str:
    """The words of a verification with the figures that are known."""
    words = verify.expect
    if not place.air_saving and verify.without_saving:
        words = verify.without_saving
    elif not place.has_baseline and verify.without_baseline:
        words = verify.without_baseline
    figures = "; ".join(_figure_text(target, place, with_now=True) for target in _known_targets(verify, place))
    picks = _picks_to_show(verify, place)
    if picks:
        share = place.measures[verify.picks_from]
        then = f"then, at 95 %, the share is below the {100 * share:.2g} % of this log"
        words = f"No {verify.picks_word} in {picks} picks: {then}."
    return _joined(words, figures and f"Here: {figures}.")


def _known_targets(verify: Verify, place: _Place) -> tuple[Target, ...]:
    """The first target of each measure whose terms are known, that applies to this station and is still ahead."""
    found: dict[str, Target] = {}
    for target in verify.targets:
        hidden = target.measure.startswith("decay_") and not place.air_saving
        elsewhere = target.only_sensor_at not in {"", place.sensor_at}
        if not hidden and not elsewhere and _ahead(target, place):
            found.setdefault(target.measure, target)
    return tuple(found.values())


def _ahead(target: Target, place: _Place) -> bool:
    """A goal whose terms are known, which can be reached and is not as good as met: else it proves nothing."""
    bounds = _bounds(target, place)
    if bounds is None:
        return False
    (low, high), now = bounds, place.measures.get(target.measure)
    impossible = high is not None and high < 0.0 and (now is None or now >= 0.0)
    near = 0.0 if now is None else _NEAR * abs(now)
    met = now is not None and (low is None or now >= low - near) and (high is None or now <= high + near)
    return not impossible and not met


def _bounds(target: Target, place: _Place) -> tuple[float | None, float | None] | None:
    """Lower and upper bound in the target's unit, None for an open side; None as a whole if a term is unknown."""
    known = {**place.measures, "constant": 1.0}
    if any(name not in known for name, _ in target.low + target.high):
        return None
    low, high = (
        sum(factor * known[name] for name, factor in terms) if terms else None for terms in (target.low, target.high)
    )
    return low, high


def _figure_text(target: Target, place: _Place, *, with_now: bool) -> str:
    """Such as "fall with the supply off at most 0.50 kPa/s, now 7.4 kPa/s"; empty where a term is unknown."""
    bounds = _bounds(target, place)
    if bounds is None:
        return ""
    low, high = bounds
    unit = target.unit and f" {target.unit}"
    if low is not None and high is not None:
        said = f"{_number(low, target.unit)} to {_number(high, target.unit)}{unit}"
    elif low is not None:
        said = f"at least {_number(low, target.unit)}{unit}"
    else:
        said = f"at most {_number(high or 0.0, target.unit)}{unit}"
    now = place.measures.get(target.measure)
    tail = f", now {_number(now, target.unit)}{unit}" if with_now and now is not None else ""
    return f"{target.words} {said}{tail}".strip()


def _number(value: float, unit: str) -> str:
    """No finer than a technician can use: 0.1 kPa, 0.01 or 0.1 kPa/s, 1 ms, whole counts."""
    if unit == "s":
        return f"{value:.3f}" if abs(value) < 1 else f"{value:.2f}"
    if unit == "kPa/s":
        return f"{value:.2f}" if abs(value) < 1 else f"{value:.1f}"
    return f"{value:.1f}" if unit else f"{value:.0f}"


def _caution(states: tuple[State, ...], own: str) -> str:
    """What must hold first, what the test or repair adds, and what must hold afterwards."""
    first = dict(handbook.state_cautions())[states[0]]
    return " ".join(part for part in (first, own, *(_AFTERWARDS[state] for state in states[1:])) if part)


def _joined(*parts: str) -> str:
    return " ".join(part for part in parts if part)
