"""The page of `tracekit tune`: settings to enter, what they change, the order of entry, and "what if" offline."""

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace

import numpy as np

from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.result import DiagnosisRecord, StationResult, SuggestedSetting, Suggestion
from tracekit.model.station import Station
from tracekit.model.tuning import Fitted, Tuning
from tracekit.report.cautions import CAUTIONS
from tracekit.report.frame import Block, asset, frame, render
from tracekit.report.measures import measure, setting, setting_names
from tracekit.report.page import provenance
from tracekit.report.plot import Picture
from tracekit.report.sections import evidence, lead_picture, setting_entries
from tracekit.report.text import NBSP, clean
from tracekit.report.tune_json import PREDICTED
from tracekit.report.tune_pictures import model_over_cycles, settings_axis
from tracekit.report.words import Num, count, number, of_quantity
from tracekit.units import pressure_unit

PREDICTION = "This is a prediction, not a permission. Try it at low speed with the area clear, and check the grip."
_PERCENT = ("missed_share", "false_drop_share", "supply_on_share")
_NOT_GIVEN = "not given"
_SEEN = ("false_drop_share", "chatter_edges_per_hold")  # as recorded, where no model can tell them
_MODEL: Mapping[str, str] = {
    "weakest_vacuum_kpa": "vacuum of the weakest cycle", "overshoot_kpa": "overshoot over supply off",
    "undershoot_kpa": "fall below supply on", "wall_exchange_s": "warming of the gas",
    "delay_on_s": "supply-on to the turn", "delay_off_s": "supply-off to the turn",
    "cycle_scatter_kpa": "scatter between cycles", "recharge_time_s": "length of a recharge",
    "deepest_dip_kpa": "deepest dip with the motion", "noise_time_s": "memory of the noise",
}  # fmt: skip


def tune_page(record: DiagnosisRecord, index: int, tuning: Tuning, station: Station, unit: str = "kPa") -> str:
    """The tuning of one station as one HTML file that needs nothing but itself."""
    result = replace(record.stations[index], suggestion=tuning.suggestion)
    axis, model = settings_axis(tuning, unit), model_over_cycles(tuning, unit)
    blocks = [
        Block(
            "answer", "", _answer(tuning, result, unit), beside=lead_picture(axis, unit) if axis else "", page_one=True
        )
    ]
    blocks += _effects(tuning)
    blocks += _order(tuning)
    blocks += _rules(tuning)
    blocks += _what_if(tuning, station, unit)
    blocks += _model(tuning, model, unit)
    blocks.append(Block("cautions", "Before you act", render("cautions.html", {"cautions": CAUTIONS}), "Cautions"))
    fitted = tuning.fitted
    data = None if fitted is None else {"tune": what_if_data(tuning, fitted, result, station)}
    return frame(
        f"{clean(tuning.station, 60)}: {headline(tuning)}", blocks,
        identity=(clean(tuning.station, 60), f"{count(len(result.data.cycles))} cycles", "settings"),
        provenance=provenance(record), unit=unit, scripts=(asset("tune.js"),) if fitted is not None else (),
        data=data, print_note=PREDICTION,
    )  # fmt: skip


def changed_rows(suggestion: Suggestion) -> tuple[SuggestedSetting, ...]:
    """The rows whose value changes."""
    return tuple(s for s in suggestion.settings if s.now_kpa is None or abs(s.suggested_kpa - s.now_kpa) > 1e-9)


def headline(tuning: Tuning) -> str:
    """The answer in at most 50 characters."""
    suggestion = tuning.suggestion
    if suggestion.withheld is None:
        n = len(changed_rows(suggestion))
        return f"Enter {count(n)} setting{'s' if n != 1 else ''}"
    return "Leave the settings" if suggestion.withheld.startswith("Leave") else "No settings yet"


def _answer(tuning: Tuning, result: StationResult, unit: str) -> str:
    suggestion = tuning.suggestion
    entries = setting_entries(result) if suggestion.withheld is None else []
    reason = clean(suggestion.withheld or "", 120).rstrip(".")
    lead = lead_line(tuning)
    if tuning.chatter is not None:
        lead = f"{lead} {tuning.chatter.text}".strip()
    return render("tune_answer.html", {
        "headline": headline(tuning), "lead": lead, "entries": entries,
        "one_unit": entries[0]["unit"] if len({e["unit"] for e in entries}) == 1 else "",
        "leave": f"{reason[:1].upper()}{reason[1:]}." if reason else "", "prediction": PREDICTION,
        "reasons": [setting_names(r) for r in (*suggestion.reasons, *tuning.notes)],
    }, unit)  # fmt: skip


def lead_line(tuning: Tuning) -> str:
    """What changes most, in one or two sentences; each clause only where its interval says so."""
    now, new = tuning.suggestion.predicted_now, tuning.suggestion.predicted_suggested
    clauses = []
    for name, words in (
        ("false_drop_share", "holds that lose the output: {} → {}"), ("missed_share", "missed picks: {} → {}"),
        ("chatter_edges_per_hold", "needless output changes per hold: {} → {}"),
        ("supply_switches_per_hold", "supply changes per hold: {} → {}"),
        ("evacuation_time_s", "part present after {} → {}"),
    ):  # fmt: skip
        if name in now and name in new and not _overlap(now[name], new[name]):
            clauses.append(words.format(short(name, now[name]), short(name, new[name])))
    text = "; ".join(clauses[:3])
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def _overlap(one: Estimate, other: Estimate) -> bool:
    return one.lower <= other.upper and other.lower <= one.upper


def short(name: str, value: Estimate) -> str:
    """A predicted effect without its interval."""
    if name in _PERCENT:
        return f"{100.0 * value.value:.0f}{NBSP}%"
    step = max((value.upper - value.lower) / 2.0, 0.01 * abs(value.value), 1e-3)
    unit = value.unit if value.unit == "s" or value.unit.startswith("L") else ""
    if value.value == 0.0:
        return f"0{NBSP}{unit}".rstrip()
    return number(Num(value=value.value, unit=unit, step=step))


def figure(name: str, value: Estimate | Withheld | None) -> str:
    """A predicted effect with its interval."""
    if not isinstance(value, Estimate):
        return _NOT_GIVEN
    if name in _PERCENT:
        low, high = np.floor(100.0 * value.lower), np.ceil(100.0 * value.upper)
        return f"{100.0 * value.value:.0f}{NBSP}% ({low:.0f} to {high:.0f})"
    num = of_quantity(replace(value, unit={"per hold": "", "per hour": ""}.get(value.unit, value.unit)))
    return _NOT_GIVEN if num is None else breakable(number(num))


def breakable(text: str) -> str:
    """A number whose interval may go to a line of its own."""
    head, bracket, tail = text.partition(" (")
    return head + bracket + tail.replace(NBSP, " ")


def model_name(name: str) -> str:
    """What a quantity of the fitted model is called."""
    words = _MODEL.get(name) or measure(name).name
    return f"{words[:1].upper()}{words[1:]}"


def _effects(tuning: Tuning) -> list[Block]:
    sides: list[tuple[str, Mapping[str, Estimate]]] = []
    suggestion = tuning.suggestion
    if suggestion.withheld is None or tuning.what_if is not None:
        sides = [("Now", suggestion.predicted_now)]
    if suggestion.withheld is None:
        sides.append(("Suggested", suggestion.predicted_suggested))
    if tuning.what_if is not None:
        sides.append(("Asked", tuning.what_if.predicted))
    if not sides:
        return []
    names = [n for n in PREDICTED if any(n in found for _, found in sides)]
    rows = [(_name(n), *(figure(n, found.get(n)) for _, found in sides)) for n in names]
    table = render("plan_table.html", {"head": ("Effect", *(s for s, _ in sides)), "rows": rows})
    if len(sides) > 2:
        table = f'<div class="scroll" tabindex="0" role="region" aria-label="Effects">{table}</div>'
    beyond = any("beyond" in v.method for _, found in sides for v in found.values())
    note = "In brackets: 95 % interval, for a recording as long as this one."
    note += " Some settings lie beyond the vacuum that was recorded: those figures extrapolate." if beyond else ""
    lines = [note, *_replay_lines(tuning)]
    told = render("sheet_lines.html", {"text": "", "lines": lines})
    return [Block("effects", "What will change", table + told, "Effects", page_one=True)]


def _name(name: str) -> str:
    words = measure(name).name
    return f"{words[:1].upper()}{words[1:]}"


def _replay_lines(tuning: Tuning) -> list[str]:
    found = []
    if tuning.suggestion.withheld is None and tuning.suggestion.replayed:
        found.append(f"Replay of the recorded cycles: {_replayed(tuning.suggestion.replayed)}.")
    if tuning.what_if is not None:
        exact = "every sample" if tuning.what_if.exact else "averaged traces"
        found.append(f"What was asked, replayed over {exact}: {_replayed(tuning.what_if.replayed)}.")
    return found


def _replayed(counts: Mapping[str, int]) -> str:
    return (
        f"{count(counts['drops_avoided'])} output losses avoided, {count(counts['drops_left'])} left; "
        f"{count(counts['edges_avoided'])} needless changes avoided, {count(counts['edges_left'])} left"
    )


def _order(tuning: Tuning) -> list[Block]:
    if tuning.order is None or not tuning.order.steps:
        return []
    rows = [(f"{k}. {setting(s.name)}{', ' + setting_names(s.entry) if s.entry else ''}", plain_value(s.before),
             f"{plain_value(s.enter)}{NBSP}{s.unit}") for k, s in enumerate(tuning.order.steps, 1)]  # fmt: skip
    table = render("plan_table.html", {"head": ("Enter in this order", "Shows", "Enter"), "rows": rows})
    text = (
        ""
        if tuning.order.safe
        else "No order keeps the rules at every step: enter them with the machine stopped and empty."
    )
    told = render("sheet_lines.html", {"text": text, "lines": []})
    return [Block("order", "How to enter them", table + told, "Order", page_one=True)]


def plain_value(value: float) -> str:
    """A value as the device shows it, with a true minus."""
    return f"{round(value, 6) + 0.0:.4g}".replace("-", "\u2212")  # minus nothing is nothing


def _rules(tuning: Tuning) -> list[Block]:
    found = tuning.what_if.constraints if tuning.what_if is not None else tuning.suggestion.constraints
    if not found:
        return []
    rows = [(setting_names(c.name).replace("<=", "≤"), "holds" if c.holds else "broken", f"{c.margin_kpa:+.1f}{NBSP}kPa"
             .replace("-", "\u2212")) for c in found]  # fmt: skip
    title = "Rules that the asked settings meet" if tuning.what_if is not None else "Rules that they keep"
    table = render("plan_table.html", {"head": ("Rule, after rounding", "", "Margin"), "rows": rows})
    return [Block("rules", title, table, "Rules")]


def _model(tuning: Tuning, picture: Picture | None, unit: str) -> list[Block]:
    if tuning.fitted is None:
        return []
    rows = []
    for name, value in tuning.fitted.figures.items():
        num = of_quantity(value)
        why = value.reason if isinstance(value, Withheld) else value.method
        said = breakable(number(num, unit)) if num is not None else _NOT_GIVEN
        rows.append((model_name(name), said, setting_names(clean(why, 90))))
    rows.append(("Form of the leak", clean(tuning.fitted.law, 300), "bend of the pooled coasts"))
    table = render("plan_table.html", {"head": ("Quantity", "Value", "How found"), "rows": rows})
    shown = evidence((picture,), unit) if picture is not None else ""
    return [Block("model", "The model behind it", shown + table, "Model")]


def _what_if(tuning: Tuning, station: Station, unit: str) -> list[Block]:
    if tuning.fitted is None:
        return []
    controls = [{"name": n, "title": setting(n)} for n in tuning.known]
    body = render("tune_what_if.html", {"controls": controls, "shown": station.display.unit}, unit)
    return [Block("what-if", "What if", body, "What if")]


def what_if_data(tuning: Tuning, fitted: Fitted, result: StationResult, station: Station) -> dict[str, object]:
    """Everything that the script needs to answer without a network: grids, tables, rules, the device's form."""
    cycles = result.data.cycles
    grids = {f.name: _list(getattr(fitted.tables, f.name)) for f in fields(fitted.tables)}
    held = int(cycles.where("outcome", "held").sum())
    hours = max(float(cycles.floats("end_s")[-1] - cycles.floats("start_s")[0]) / 3600.0, 1e-6)
    now = {n: k.value for n, k in tuning.known.items()}
    new = {s.name: s.suggested_kpa for s in tuning.suggestion.settings} if tuning.suggestion.withheld is None else {}
    unit_kpa = pressure_unit(station.display.unit).kpa
    seen = {n: tuning.suggestion.predicted_now[n].value for n in _SEEN if n in tuning.suggestion.predicted_now}
    flow = station.price.nozzle_flow_l_min_anr if station.price is not None else None
    return {
        "now": now, "suggested": {**now, **new}, "tables": grids, "holds_per_hour": held / hours,
        "flow_l_min": flow or 0.0, "unit_kpa": unit_kpa, "step": station.display.step * unit_kpa,
        "shown_unit": station.display.unit, "negative": station.display.negative,
        "entry": {n: f for n, f in station.display.entry.items() if f != "absolute"},
        "names": {n: setting(n) for n in now}, "limits": dict(fitted.limits), "seen": seen,
    }  # fmt: skip


def _list(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> object:
    """Numbers for JSON: rounded, and null where there is none."""
    nested: object = np.round(values, 5).tolist()
    return _without_nan(nested)


def _without_nan(value: object) -> object:
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_without_nan(v) for v in value]
    return None if isinstance(value, float) and not np.isfinite(value) else value
