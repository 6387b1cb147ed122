"""What to do: the first step, all steps in order, and how to record a log that shows more."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracekit.model.cycle import BOTH_COILS, PULSES
from tracekit.model.estimate import Withheld
from tracekit.model.finding import Finding, Severity
from tracekit.model.result import StationResult
from tracekit.report.blow_figures import reached
from tracekit.report.doubt import RUNNING, untold_leak
from tracekit.report.goals import as_told, tight
from tracekit.report.measures import handbook_code, measure
from tracekit.report.passed import Passed
from tracekit.report.phrases import cause_name, phrase
from tracekit.report.repairs import conditional, locked_once, named, own_first
from tracekit.report.rivals import told_second
from tracekit.report.ruled import LIKELY
from tracekit.report.second import DROPPED, SURE, drops_by, rivals_of_second, second_fault
from tracekit.report.steps_told import GOAL, Step, step_of
from tracekit.report.urgent import cannot_answer
from tracekit.report.view import counts, fault_of_log, main_finding, symptom
from tracekit.report.words import of_quantity

_GOOD_INTERVAL_S, _GOOD_CYCLES, _PACED, _LONGEST_MIN = 0.005, 200, 5, 240.0
_RANK: tuple[Severity, ...] = ("info", "minor", "major", "critical")
_MOST_PICKS, _MARGIN_KPA = 0.95, 5.0  # the margin is that of the handbook
TO_LOG = "To log it:"
_WIRE = "Wire only at a locked-out machine; never touch safety circuits."
_HELD = "Vacuum holds the part: keep people out from under it."
_SOUND_ZERO = "Within 0.5 kPa of zero with the port open"
_OVER_PRESSURE = "over-pressure was left in the line: a release valve that seeps"
_VACUUM_LEFT = "vacuum was left in the line: a supply valve that seeps, or the release"


def steps(result: StationResult, limits: Sequence[Passed] = ()) -> tuple[Step, ...]:
    """All steps in order; the last says how to prove the repair, or what to record.

    limits  of the station file that this station does not keep; what no finding explains is looked into first
    """
    told = _by_findings(result, limits)
    open_limit = _unexplained(result, limits)
    return locked_once(told if open_limit is None else (_look_into(open_limit), *told))


def _unexplained(result: StationResult, limits: Sequence[Passed]) -> Passed | None:
    """The most severe limit that is passed, where it weighs more than whatever was found."""
    worst = max((_RANK.index(f.severity) for f in result.findings), default=0)
    above = [one for one in limits if _RANK.index(one.severity) > worst]
    return max(above, key=lambda one: _RANK.index(one.severity), default=None)


def _look_into(limit: Passed) -> Step:
    """What a person can do about a limit that is passed without a finding that says why."""
    code = handbook_code(limit.measure)
    read = f"tracekit explain {code} (cause, test, repair)" if code else "compare with a healthy log"
    return Step(
        act=f"Find out why a limit is passed: {measure(limit.measure).name}",
        how=limit.found,
        minutes=None,
        results=(
            ("Where to look", read),
            ("Always been so", "whoever set the limit corrects it"),
        ),
        caution="Run no parts until it is known." if limit.severity == "critical" else "",
    )


def _by_findings(result: StationResult, limits: Sequence[Passed]) -> tuple[Step, ...]:
    """Steps of the first finding, or of a log without one."""
    source = main_finding(result) or symptom(result) or fault_of_log(result)
    found = [as_told(step_of(s), result, source) for s in source.next_steps] if source is not None else []
    if found and source is not None and source.code == "timeout_too_short":
        found[0] = replace(found[0], how=f"{found[0].how} {_time_limit(result, source)}".strip())
    if found and source is not None and source.code == "set_point_too_high":
        found[0] = replace(found[0], how=f"{_over_set_point(result, source)} {found[0].how}".strip())
    if found and source is not None and source.code == "valves_overlap":
        found[0] = replace(found[0], how=f"{_both_on(result, source)} {found[0].how}".strip())
    if source is not None and source.code == "sensor_zero_shift":
        found = [_on_its_side(step, source) for step in found]
    if source is not None and source.code == "release_weak":
        found = [replace(s, how=f"{reached(result, source, s.act)} {s.how}".strip()) for s in found]
    if found and source is not None:
        found[0] = _for_test_alone(found[0], result)
        found = conditional(found, result, source) if named(result, source) else own_first(found, result, source)
    if source is None and not cannot_answer(result):
        if limits:
            return (_prove(result, None),)
        kept = _keep_as_baseline(result)
        return (_plate_first(result), kept) if untold_leak(result) else (kept,)
    if source is None or source.kind == "recording":
        return tuple(found) if found and _is_recording(found[-1].act) else (*found, _record_better(result))
    last = found.pop() if found and _is_recording(found[-1].act) else _prove(result, source)
    told = (*found, *_second_test(result, source), *_for_drops(result, source), last)
    return tuple(tight(step, last) for step in told)


def _on_its_side(step: Step, source: Finding) -> Step:
    """The step with what a sound zero means: a reading below it was over-pressure, one above it vacuum."""
    idle = next((e.value for e in source.evidence if e.measure == "idle_vacuum_kpa"), 0.0)
    if not idle:
        return step
    left = _OVER_PRESSURE if idle < 0.0 else _VACUUM_LEFT
    return replace(step, results=tuple((seen, left if seen == _SOUND_ZERO else means) for seen, means in step.results))


def _both_on(result: StationResult, source: Finding) -> str:
    """For how long the log has both commands on, which the test asks for; empty where it does not tell."""
    both = result.data.timing.get("overlap_s")
    if both is None:
        return ""
    named = both[[c for c in source.cycles if 0 <= c < len(both)]]
    known = named[np.isfinite(named) & (named > 0.0)]
    if not len(known):
        return ""
    step = 1e3 * result.data.sensor.sample_interval_s
    size = step * round(1e3 * float(np.median(known)) / step)
    return f"This log has both on for {size:.3g} ms (median of {len(known)} cycles)."


def _over_set_point(result: StationResult, source: Finding) -> str:
    """How far above the set point the picks of this log get; empty where that is more than the setting explains."""
    level = getattr(result.data.settings.get("set_point"), "value_kpa", None)
    cycles = result.data.cycles
    lost = cycles.where("outcome", "missed") | cycles.where("outcome", "incomplete")
    named = np.zeros(len(cycles), np.bool_)
    named[[c for c in source.cycles if 0 <= c < len(cycles)]] = True
    peaks = cycles.floats("peak_vacuum_kpa")[named if named.any() else ~lost]
    if level is None or not np.isfinite(peaks).any():
        return ""
    above = float(np.median(peaks[np.isfinite(peaks)])) - level
    if above > _MARGIN_KPA:
        return ""
    if above < 0.0:
        return f"In this log the vacuum that picks reach ends {-above:.1f} kPa below the set point (median)."
    return f"In this log the vacuum that picks reach is only {above:.1f} kPa above the set point (median)."


def _time_limit(result: StationResult, source: Finding) -> str:
    """After how long the picks of a finding were given up, and what the time-out would have to be; empty if unknown."""
    data, edges = result.data, result.data.edges
    starts, given_up = data.cycles.floats("start_s"), np.full(len(data.cycles), np.inf)
    ends = (edges.where("signal", "supply") & (edges.codes("value") == 0)) | (
        edges.where("signal", "release") & (edges.codes("value") == 1)
    )
    ends &= edges.codes("cycle") >= 0
    owner = edges.codes("cycle")[ends]
    np.minimum.at(given_up, owner, edges.floats("time_s")[ends] - starts[owner])
    after = given_up[[c for c in source.cycles if 0 <= c < len(given_up)]]
    good = data if result.baseline is None else result.baseline
    needed = good.cycles.floats("evacuation_time_s")
    if not np.isfinite(after).any() or not np.isfinite(needed).any():
        return ""
    where = "the picks that grip" if result.baseline is None else "the baseline's picks"
    limit, usual = float(np.median(after[np.isfinite(after)])), float(np.nanquantile(needed, _MOST_PICKS))
    return (
        f"Now picks are given up after {limit:.3g} s; 95 % of {where} need at most {usual:.3g} s. "
        f"1.5 times that is {1.5 * usual:.3g} s."
    )


def _for_drops(result: StationResult, source: Finding) -> tuple[Step, ...]:
    """The test of what else may have lost the dropped parts, where no other step is for it."""
    if not counts(result.data)["dropped"]:
        return ()
    told = {source.code, getattr(second_fault(result, source), "code", "")}
    chances = {c.code: c.chance for c in result.causes}
    other = [
        f for f in result.findings
        if f.kind == "cause" and DROPPED in f.explains and f.next_steps and f.code not in told
        and chances.get(f.code, f.confidence) >= LIKELY
    ]  # fmt: skip
    if not other:
        return ()
    likeliest = max(other, key=lambda f: chances.get(f.code, 0.0))
    test = _named(step_of(likeliest.next_steps[0]), f"For the drops, perhaps {phrase(likeliest.code).noun}")
    # whether the drops stop is seen without a log
    return (_for_test_alone(replace(test, how=test.how.partition(TO_LOG)[0].strip()), result),)


def _for_test_alone(step: Step, result: StationResult) -> Step:
    """A step that runs the machine although parts may fall says that it does so for the test alone."""
    if RUNNING not in step.caution or all(f.severity != "critical" for f in result.findings):
        return step
    return replace(step, caution=f"Run for this test only, area clear. {step.caution}")


def _second_test(result: StationResult, source: Finding) -> tuple[Step, ...]:
    """The first step of a second fault and its repair with what it comes to, named as such; tests of its rivals.

    What is only perhaps there is repaired only if its test says so.
    """
    second = second_fault(result, source) if source is main_finding(result) else None
    if second is None or not second.next_steps:
        return ()
    told = [as_told(step_of(s), result, second) for s in second.next_steps]
    sure = "Second fault" if second.confidence >= SURE else "Perhaps a second fault"
    alone = DROPPED in second.explains and DROPPED not in source.explains
    drops = counts(result.data)["dropped"] and (alone or drops_by(result, source, second) is second)
    name = f"{cause_name(second.code).lower()}{', which drops the parts' if drops else ''}"
    first = _for_test_alone(_named(told[0], f"{sure}, {name}"), result)
    repaired = [s for s in told[1:-1] if not _is_recording(s.act)][-1:]
    repair = "Its repair" if second.confidence >= SURE else "If that test says so, its repair"
    proof = told[-1] if _is_recording(told[-1].act) else None
    goal = tuple(p for p in (*proof.results, *proof.more) if p[0] == GOAL) if proof is not None else ()
    repairs = (replace(_named(s, repair), more=(*s.more, *goal)) for s in repaired)
    rivals = rivals_of_second(result, second) if told_second(result, source) is second else []
    return (first, *repairs, *(s for code in rivals[:1] for s in _test_of(code, result)))


def _test_of(code: str, result: StationResult) -> tuple[Step, ...]:
    """The test of what may be there instead of a second fault: of its own finding, else that of the cause."""
    causes = (c.test for c in result.causes if c.code == code)
    own = next((f.next_steps[0] for f in result.findings if f.code == code and f.next_steps), next(causes, None))
    return () if own is None else (_for_test_alone(_named(step_of(own), f"Or {phrase(code).noun}"), result),)


def _named(step: Step, name: str) -> Step:
    """A step whose act follows a name."""
    act = step.act if step.act[1:2].isupper() else step.act[:1].lower() + step.act[1:]
    return replace(step, act=f"{name}: {act}")


def lasting(step: Step) -> str:
    """How long a step takes, to stand behind its act; in all, where the act itself names minutes."""
    if not step.minutes:
        return ""
    if step.act.endswith(" min)"):
        return ""
    return f", {step.minutes} min in all" if " min" in step.act else f" ({step.minutes} min)"


def to_record(result: StationResult) -> tuple[str, ...]:
    """How to record a log that shows more, one line per thing that this one lacks."""
    data = result.data
    pulses = data.wiring.evidence.get("supply") == PULSES
    lacks: list[tuple[bool, str]] = [
        (pulses, f"No new recording for the supply, which {PULSES}. {BOTH_COILS}"),
        (data.wiring.supply_on_level is None and not pulses, "Log the command of the supply valve."),
        (data.wiring.release_on_level is None, "Log the command of the release valve."),
        (data.wiring.present_on_level is None, "Log the part-present output of the switch."),
        (
            data.sensor.sample_interval_s > _GOOD_INTERVAL_S * 1.01,
            "Record at least 200 samples a second; 1000 for valves and chatter.",
        ),
        (len(data.cycles) < _GOOD_CYCLES, f"Record at least 200 cycles{_at_this_pace(result)}."),
        (
            not bool(data.periods.where("kind", "coast").any()),
            "Close the supply by hand 20 times, for 10 s each, on a held part at rest: only then the leak shows.",
        ),
        (_volume_lacks(result), "Put the volume under vacuum into the station file: tracekit volume measures it."),
        (result.baseline is None, "Keep a log of the healthy station to compare with."),
    ]
    return tuple(text for lacking, text in lacks if lacking)


def _at_this_pace(result: StationResult) -> str:
    """How long 200 cycles take at the pace of this log, as in ", some 15 min"; empty where it has too few to tell."""
    starts = result.data.cycles.floats("start_s")
    if len(starts) < _PACED:
        return ""
    minutes = _GOOD_CYCLES * float(starts[-1] - starts[0]) / (len(starts) - 1) / 60.0
    return f", some {max(5, 5 * round(minutes / 5.0))} min" if minutes < _LONGEST_MIN else ""


def _volume_lacks(result: StationResult) -> bool:
    """True where nothing but the volume keeps the leak from being told as a flow."""
    return isinstance(result.leak_rate_pa_m3_s, Withheld) and not isinstance(result.leak.decay_rate, Withheld)


def _is_recording(act: str) -> bool:
    return act.casefold().startswith(("record", "repeat the recording", "take a new log"))


def _prove(result: StationResult, source: Finding | None) -> Step:
    """Record again after the repair, with what to expect; without a source a limit is what has to be kept."""
    done = "change" if source is not None and source.kind == "setting" else "repair"
    return Step(
        act=f"Record again after the {done}",
        how="Same part, speed and air pressure, at least 30 cycles.",
        minutes=None,
        results=(("Expect", "every limit of the station file kept" if source is None else _expected(result)),),
        caution="",
    )


def _expected(result: StationResult) -> str:
    """What a log after the repair should show."""
    if result.baseline_leak is not None:
        base = of_quantity(result.baseline_leak.decay_rate)
        if base is not None and base.upper is not None:
            return "every measure as in the baseline"
    return "no finding on the new page"


def _plate_first(result: StationResult) -> Step:
    """The test that tells whether a leak which nothing can be held against sits at the cup."""
    rate = of_quantity(result.leak.decay_rate)
    now = f"{rate.value:.2g}" if rate is not None and rate.value < 100.0 else ""
    half = f" (at most {rate.value / 2.0:.2g} kPa/s)" if rate is not None and now else ""
    same = f" (stays near {now} kPa/s)" if now else ""
    return Step(
        act="Pick a flat plate with the station's own cup, then with a new cup",
        how="Close the supply each time and watch how fast vacuum falls.",
        minutes=10,
        results=(
            (f"Only the new cup halves the fall{half}", "the old cup leaks; change it, then record again"),
            (f"Neither cup halves it{same}", "hose, fittings or valves leak; find the place before this log is kept"),
            (
                f"Both cups halve it{half}",
                "the parts let air in; ask who knows them whether that is usual",
            ),
        ),
        caution="Plate on the cup, never a hand. Lock out and vent before changing the cup.",
    )


def _keep_as_baseline(result: StationResult) -> Step:
    if result.baseline is not None:
        return Step(act="Nothing to do", how="Record again on the usual day.", minutes=None, results=(), caution="")
    sound = "the plate test shows no leak" if untold_leak(result) else "the station runs well"
    return Step(
        act=f"If {sound}, keep this log as the baseline",
        how="The next log of this station is then judged against it, and shows smaller changes.",
        minutes=None,
        results=(),
        caution="",
    )


def _record_better(result: StationResult) -> Step:
    lines = to_record(result)
    return Step(
        act="Record again",
        how=" ".join(lines[:3]) or "Record at least 200 cycles.",
        minutes=30,
        results=(),
        caution=_WIRE if any(line.startswith("Log the ") for line in lines[:3]) else _HELD,
    )
