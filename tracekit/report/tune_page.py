"""The page of `tracekit tune`: settings to enter, what they change, the order of entry, and "what if" offline."""

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace

import numpy as np

from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.result import DiagnosisRecord, StationResult
from tracekit.model.station import Station
from tracekit.model.tuning import Fitted, Tuning
from tracekit.report.cautions import CAUTIONS
from tracekit.report.entries import suggested_entries
from tracekit.report.frame import Block, asset, frame, render
from tracekit.report.markup import html_number
from tracekit.report.measures import measure, setting, setting_names
from tracekit.report.page import provenance
from tracekit.report.plot import Picture
from tracekit.report.sections import evidence, lead_picture
from tracekit.report.text import NBSP, clean
from tracekit.report.tune_json import PREDICTED
from tracekit.report.tune_pictures import model_over_cycles, settings_axis
from tracekit.report.tune_words import (
    EXTRAPOLATED,
    PREDICTION,
    asked_changes,
    asked_lines,
    command_options,
    device_value,
    do_not_enter,
    extrapolates,
    figure,
    headline,
    lead_line,
    model_name,
    reason_lines,
    rule_words,
    shown_now,
)
from tracekit.report.words import Num, capital, count, of_quantity, plain
from tracekit.units import pressure_unit

_SEEN = ("false_drop_share", "chatter_edges_per_hold")  # as recorded, where no model can tell them
_OPTIONS = "Options"


def tune_page(record: DiagnosisRecord, index: int, tuning: Tuning, station: Station, unit: str = "kPa") -> str:
    """The tuning of one station as one HTML file that needs nothing but itself."""
    result = replace(record.stations[index], suggestion=tuning.suggestion)
    axis, model = settings_axis(tuning, unit), model_over_cycles(tuning, unit)
    blocks = [
        Block(
            "answer", "", _answer(tuning, result, unit), beside=lead_picture(axis, unit) if axis else "", page_one=True
        )
    ]
    blocks += _settings(tuning)
    blocks += _effects(tuning, unit)
    blocks += _order(tuning)
    blocks += _rules(tuning, unit)
    blocks += _what_if(tuning, station, unit)
    blocks += _model(tuning, model, unit)
    blocks.append(Block("cautions", "Before you act", render("cautions.html", {"cautions": CAUTIONS}), "Cautions"))
    fitted = tuning.fitted
    data = None if fitted is None else {"tune": what_if_data(tuning, fitted, result, station)}
    return frame(
        f"{clean(tuning.station, 60)}: {headline(tuning)}", blocks,
        identity=(clean(tuning.station, 60), f"{count(len(result.data.cycles))} cycles", "settings"),
        provenance=asked_provenance(record, tuning), unit=unit,
        scripts=(asset("tune.js"),) if fitted is not None else (), data=data, print_note=PREDICTION,
    )  # fmt: skip


def asked_provenance(record: DiagnosisRecord, tuning: Tuning) -> list[tuple[str, str]]:
    """Where the page comes from, with what the command line asked for."""
    typed = command_options(tuning)
    return [
        (name, f"{typed}; thresholds of the analysis: {text}" if name == _OPTIONS and typed else text)
        for name, text in provenance(record)
    ]


def _entries(tuning: Tuning, result: StationResult) -> list[dict[str, str]]:
    """The buttons of the settings to enter: those asked for, unless a rule forbids them, else those suggested."""
    asked, suggestion = tuning.what_if, tuning.suggestion
    if asked is None:
        return suggested_entries(result) if suggestion.withheld is None else []
    if asked.newly:
        return []
    return [
        {"name": setting(n), "entry": setting_names(entry), "now": shown_now(tuning, n), "unit": shown_unit,
         "new": device_value(tuning, asked.shown[n]), "typed": f"{asked.shown[n]:.6g}"}
        for n, (_, shown_unit, entry) in tuning.shown_now.items() if n in asked_changes(tuning, asked)
    ]  # fmt: skip


def _answer(tuning: Tuning, result: StationResult, unit: str) -> str:
    suggestion = tuning.suggestion
    entries = _entries(tuning, result)
    reason = clean(suggestion.withheld or "", 120).rstrip(".")
    reason = f"{reason[:1].upper()}{reason[1:]}." if reason else ""
    lead = lead_line(tuning)
    if tuning.chatter is not None:
        lead = f"{lead} {tuning.chatter.text}".strip()
    return render("tune_answer.html", {
        "headline": headline(tuning), "lead": lead, "entries": entries, "asked": asked_lines(tuning),
        "of_asked": tuning.what_if is not None,
        "refused": "" if tuning.what_if is None else do_not_enter(tuning.what_if),
        "one_unit": entries[0]["unit"] if len({e["unit"] for e in entries}) == 1 else "",
        "leave": reason, "prediction": PREDICTION,
        "reasons": [plain(capital((setting_names(r),))) for r in reason_lines(tuning)],
    }, unit)  # fmt: skip


def _settings(tuning: Tuning) -> list[Block]:
    """Settings in force, suggested and asked for side by side; only where some were asked for."""
    asked = tuning.what_if
    if asked is None:
        return []
    new = {s.name: s.shown for s in tuning.suggestion.settings} if tuning.suggestion.withheld is None else {}
    rows = [
        (f"{setting(n)}{', ' + setting_names(entry) if entry else ''}", shown_now(tuning, n),
         device_value(tuning, asked.shown[n]),
         *([device_value(tuning, new[n]) if n in new else "leave"] if new else []))
        for n, (_, _, entry) in tuning.shown_now.items()
    ]  # fmt: skip
    shown_unit = next(iter(tuning.shown_now.values()))[1]
    head = (f"Setting [{shown_unit}]", "Now", "Asked", *(["Suggested"] if new else []))
    table = _wide(render("plan_table.html", {"head": head, "rows": rows}), "Settings")
    return [
        Block("settings-asked", "Now, asked, suggested" if new else "Now and asked", table, "Settings", page_one=True)
    ]


def _wide(table: str, label: str) -> str:
    """A table that scrolls inside itself on a phone."""
    return f'<div class="scroll" tabindex="0" role="region" aria-label="{label}">{table}</div>'


def _effects(tuning: Tuning, unit: str) -> list[Block]:
    sides: list[tuple[str, Mapping[str, Estimate]]] = []
    suggestion = tuning.suggestion
    asked = tuning.what_if if tuning.what_if is not None and not tuning.what_if.impossible else None
    if suggestion.withheld is None or asked is not None:
        sides = [("Now", suggestion.predicted_now)]
    if suggestion.withheld is None:
        sides.append(("Suggested", suggestion.predicted_suggested))
    if asked is not None:
        sides.append(("Asked", asked.predicted))
    if not sides:
        return []
    names = [n for n in PREDICTED if any(n in found for _, found in sides)]
    rows = [(_name(n), *(figure(n, found.get(n)) for _, found in sides)) for n in names]
    table = render("plan_table.html", {"head": ("Effect", *(s for s, _ in sides)), "rows": rows})
    table = _wide(table, "Effects") if len(sides) > 2 else table
    note = "In brackets: 95 % interval, for a recording as long as this one."
    lines = [note, *([EXTRAPOLATED] if extrapolates(tuning) else []), *_replay_lines(tuning)]
    told = render("sheet_lines.html", {"text": "", "lines": lines}, unit)
    return [Block("effects", "What will change", table + told, "Effects", page_one=True)]


def _name(name: str) -> str:
    words = measure(name).name
    return f"{words[:1].upper()}{words[1:]}"


def _replay_lines(tuning: Tuning) -> list[str]:
    found = []
    if tuning.suggestion.withheld is None and tuning.suggestion.replayed:
        found.append(f"Replay of the recorded cycles: {_replayed(tuning.suggestion.replayed)}.")
    if tuning.what_if is not None and tuning.what_if.replayed:
        exact = "every sample" if tuning.what_if.exact else "averaged traces"
        found.append(f"What was asked, replayed over {exact}: {_replayed(tuning.what_if.replayed)}.")
    return found


def _replayed(counts: Mapping[str, int]) -> str:
    return (
        f"{count(counts['drops_avoided'])} output losses avoided, {count(counts['drops_left'])} left; "
        f"{count(counts['edges_avoided'])} needless changes avoided, {count(counts['edges_left'])} left"
    )


def _order(tuning: Tuning) -> list[Block]:
    order = tuning.order_to_enter
    if order is None or not order.steps:
        return []
    rows = [
        (f"{k}. {setting(s.name)}{', ' + setting_names(s.entry) if s.entry else ''}",
         device_value(tuning, s.before), f"{device_value(tuning, s.enter)}{NBSP}{s.unit}")
        for k, s in enumerate(order.steps, 1)
    ]  # fmt: skip
    table = render("plan_table.html", {"head": ("Enter in this order", "Shows", "Enter"), "rows": rows})
    text = (
        "" if order.safe else "No order keeps the rules at every step: enter them with the machine stopped and empty."
    )
    told = render("sheet_lines.html", {"text": text, "lines": []})
    title = "How to enter them" if tuning.what_if is None else "How to enter what was asked"
    return [Block("order", title, table + told, "Order", page_one=True)]


def _rules(tuning: Tuning, unit: str) -> list[Block]:
    """Every rule with its margin, those that are broken first; the heading says how many are."""
    found = tuning.what_if.constraints if tuning.what_if is not None else tuning.suggestion.constraints
    if not found:
        return []
    unsure = tuning.what_if.unsure if tuning.what_if is not None else ()
    rows = []
    for c in sorted(found, key=lambda c: (c.holds, c.name in unsure)):
        margin = html_number(Num(value=c.margin_kpa, unit="kPa", step=0.1), unit)
        word = "holds" if c.holds else "not sure" if c.name in unsure else "broken"
        sign = "+" if c.margin_kpa >= 0.0 else ""
        rows.append({"name": rule_words(c.name), "word": word, "margin": sign + margin})
    whose = "the suggested settings" if tuning.what_if is None else "what was asked"
    bad = sum(not c.holds and c.name not in unsure for c in found)
    title = f"All {count(len(found))} rules hold with {whose}"
    if unsure:
        title = f"Not sure that all {count(len(found))} rules hold with {whose}"
    if bad:
        title = f"{count(bad)} of {count(len(found))} rules {'is' if bad == 1 else 'are'} broken by {whose}"
        title = title if len(found) > 1 else f"No device can hold {whose}"
    return [Block("rules", title, render("tune_rules.html", {"rows": rows}), "Rules")]


def _model(tuning: Tuning, picture: Picture | None, unit: str) -> list[Block]:
    if tuning.fitted is None:
        return []
    rows = []
    for name, value in tuning.fitted.figures.items():
        num = of_quantity(value)
        why = value.reason if isinstance(value, Withheld) else value.method
        said = html_number(num, unit) if num is not None else "not given"
        rows.append({"name": model_name(name), "html": said, "text": "", "how": clean(why, 300)})
    law = clean(tuning.fitted.law, 300)
    rows.append({"name": "Form of the leak", "html": "", "text": law, "how": "bend of the pooled coasts"})
    table = _wide(render("tune_model.html", {"rows": rows}, unit), "Model")
    shown = evidence((picture,), unit) if picture is not None else ""
    return [Block("model", "The model behind it", shown + table, "Model")]


def _what_if(tuning: Tuning, station: Station, unit: str) -> list[Block]:
    if tuning.fitted is None:
        return []
    controls = [{"name": n, "title": setting(n)} for n in tuning.known]
    body = render("tune_what_if.html", {
        "controls": controls, "shown": station.display.unit, "asked": tuning.what_if is not None,
        "made": tuning.suggestion.withheld is None,
    }, unit)  # fmt: skip
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
        "now": now, "suggested": {**now, **new},
        "low": {n: k.low for n, k in tuning.known.items()}, "high": {n: k.high for n, k in tuning.known.items()},
        "asked": dict(tuning.what_if.values) if tuning.what_if is not None else None,
        "tables": grids, "holds_per_hour": held / hours,
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
