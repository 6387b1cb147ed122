"""The whole answer of `tracekit tune` for one station: suggestion, what-if, model, chatter, tables."""

from dataclasses import replace

import numpy as np

from tracekit.errors import UsageError, message, nearest
from tracekit.frozen import dataclass
from tracekit.model.cycle import StationData
from tracekit.model.result import LeakResult, StationResult, Suggestion
from tracekit.model.station import Station
from tracekit.model.trace import Block
from tracekit.model.tuning import EntryPlan, Fitted, Tuning
from tracekit.options.tune import TuneOptions
from tracekit.tune.asked import Asking, what_if
from tracekit.tune.chatter import chatter_of
from tracekit.tune.cost import GOALS
from tracekit.tune.display import entry_form, shown
from tracekit.tune.entry_order import entry_plan
from tracekit.tune.figures import leak_law, model_figures
from tracekit.tune.interim import interim_note
from tracekit.tune.known import known_settings
from tracekit.tune.obstacles import repair_first, unknown
from tracekit.tune.order import Values
from tracekit.tune.predict import later_reach_kpa, most_overshoot_kpa, predict
from tracekit.tune.prepare import Prepared, prepare
from tracekit.tune.replay import Replayed, answer_time_s, compared, replay_bins, replay_blocks
from tracekit.tune.suggest import suggest_for
from tracekit.tune.trace import misfit_kpa, model_curve, recorded_curves
from tracekit.tune.what_if import tables_of

_CURVES = 8


def check_goal(goal: str | None) -> None:
    """Refuse an unknown goal with a UsageError."""
    if goal is not None and goal not in GOALS:
        raise UsageError(message("--goal", f'"{goal}"', "one of " + ", ".join(GOALS), nearest(goal, GOALS)))


def tune_station(
    result: StationResult,
    station: Station,
    *,
    asked: Values | None = None,
    goal: str | None = None,
    blocks: tuple[Block, ...] = (),
    index: int = 0,
    options: TuneOptions | None = None,
) -> Tuning:
    """The tuning of one station of a diagnosis.

    asked   settings of a what-if [kPa of vacuum]
    blocks  all samples of the log for exact replays, `index` the station's index among them; without them the
            averaged traces are replayed

    Raises UsageError where `asked` names a setting that is not in force.
    """
    o = options or TuneOptions()
    data, known = result.data, known_settings(result.data, o)
    suggestion = suggest_for(data, result.leak, station, result.findings, goal=goal, options=o)
    now = {n: k.value for n, k in known.items()}
    display = station.display
    base = Tuning(
        station=data.station,
        known=known,
        sure=frozenset(n for n, k in known.items() if k.half_width <= o.exact_kpa),
        shown_now={n: (shown(display, now, n), display.unit, entry_form(display, n)) for n in now},
        suggestion=suggestion,
        chatter=chatter_of(data, known),
        goal=goal,
    )
    _check_asked(asked, now)
    if unknown(data, known, o) is not None:
        return base
    prepared = prepare(data, result.leak, station, known, goal, o)
    answer = answer_time_s(blocks, index, data, now) if blocks else None
    replayer = _Replayer(prepared=prepared, blocks=blocks, index=index, answer_s=answer or 0.0)
    note = interim_note(prepared, station) if repair_first(result.findings) is not None else None
    if suggestion.withheld is None:
        suggestion = replace(suggestion, replayed=replayer.against(_all_of(now, suggestion))[0])
    elif asked:
        suggestion = replace(suggestion, predicted_now=predict(prepared.scene, now))
    answered = what_if(Asking(prepared=prepared, station=station, replay=replayer.against), asked)
    tried = (_all_of(now, suggestion), *([answered.values] if answered is not None else []))
    return replace(
        base, suggestion=suggestion, fitted=_fitted(prepared, data, result.leak, tried), answer_s=answer,
        what_if=answered, order=_order(station, now, suggestion), notes=() if note is None else (note,),
    )  # fmt: skip


def _all_of(now: Values, suggestion: Suggestion) -> Values:
    """Every setting once the suggestion is entered [kPa]."""
    return {**now, **{s.name: s.suggested_kpa for s in suggestion.settings}}


def _check_asked(asked: Values | None, now: Values) -> None:
    missing = [n for n in asked or {} if n not in now]
    if missing:
        known = f"Known: {', '.join(now)}. " if now else ""
        todo = f"{known}Put what the log does not show into the station file, under [settings]."
        raise UsageError(message("--set", f"{missing[0]} is not in force here", "a setting of this station", todo))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Replayer:
    """Replays settings over the samples where there are any, else over the averaged traces."""

    prepared: Prepared
    blocks: tuple[Block, ...]
    index: int
    answer_s: float

    def against(self, values: Values) -> tuple[dict[str, int], bool]:
        """What `values` avoid and leave, and whether that is exact."""
        scene = self.prepared.scene
        loop = any(abs(values.get(n, v) - v) > 1e-9 for n, v in scene.now.items() if n.startswith("supply"))
        exact = bool(self.blocks) and not loop
        return compared(scene.data, self._one(scene.now, exact), self._one(values, exact)), exact

    def _one(self, values: Values, exact: bool) -> Replayed:
        scene = self.prepared.scene
        if exact:
            return replay_blocks(self.blocks, self.index, scene.data, values, self.answer_s)
        return replay_bins(scene.data, values, scene.now, scene.fall)


def _order(station: Station, now: Values, suggestion: Suggestion) -> EntryPlan | None:
    if suggestion.withheld is not None:
        return None
    return entry_plan(station.display, now, _all_of(now, suggestion), station.settings.guard_kpa)


def _fitted(prepared: Prepared, data: StationData, leak: LeakResult, tried: tuple[Values, ...]) -> Fitted:
    """What the page shows of the model."""
    problem, model = prepared.problem, prepared.scene.model
    curve, recorded = model_curve(model, problem.now), recorded_curves(data, model, _CURVES)
    return Fitted(
        figures=model_figures(data, leak, model),
        levels=_levels(prepared),
        limits=_limits(prepared),
        curve=curve,
        recorded=recorded,
        misfit_kpa=misfit_kpa(recorded, curve),
        tables=tables_of(prepared, tried),
        law=leak_law(leak),
    )


def _levels(prepared: Prepared) -> dict[str, tuple[float, float]]:
    levels, facts = prepared.problem.levels, prepared.problem.model.facts
    found = {}
    for name, values, low, high in (
        ("open_cup", levels.empty, None, facts.open_high), ("floor", levels.floor, facts.floor, None),
        ("reach", levels.reach, facts.reach_low, None),
    ):  # fmt: skip
        if len(values):
            start = float(values.min()) if low is None else low
            found[name] = (start, max(float(values.max()), start) if high is None else high)
    return found


def _limits(prepared: Prepared) -> dict[str, float]:
    rules = prepared.problem.rules
    found = {
        "guard": rules.guard, "step": rules.step, "hysteresis": rules.hysteresis, "band": rules.band,
        "band_most": rules.band_most, "fall": prepared.problem.fall, "needed": rules.needed,
        "open_level": rules.open_level, "point_most": rules.point_most, "off_most": rules.off_most,
        "dip_level": rules.dip_level, "overshoot": most_overshoot_kpa(prepared.scene),
        "later": later_reach_kpa(prepared.scene), **_range(prepared),
    }  # fmt: skip
    return {name: float(value) for name, value in found.items() if value is not None}


def _range(prepared: Prepared) -> dict[str, float | None]:
    """The vacuum that holds of this log went through [kPa]."""
    facts, rise = prepared.problem.model.facts, prepared.scene.model.rise
    low, high = facts.floor, float(np.nanmedian(rise.last_level()))
    return {
        "seen_low": low if np.isfinite(low) else None,
        "seen_high": high + facts.overshoot_seen if np.isfinite(high) else None,
    }
