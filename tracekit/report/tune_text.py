"""The answer of `tracekit tune` in a terminal."""

import textwrap

from tracekit.model.estimate import Withheld
from tracekit.model.tuning import Tuning
from tracekit.report.markup import numbers_plain
from tracekit.report.measures import setting, setting_names
from tracekit.report.text import NBSP, clean
from tracekit.report.tune_json import PREDICTED
from tracekit.report.tune_words import (
    EXTRAPOLATED,
    PREDICTION,
    asked_lines,
    device_value,
    do_not_enter,
    extrapolates,
    figure,
    headline,
    lead_line,
    model_name,
    reason_lines,
    short,
    shown_now,
)
from tracekit.report.words import number, of_quantity

WIDTH = 80
_NAME, _EFFECT, _NOW, _CELL = 38, 26, 12, 25
_EFFECTS = {
    "evacuation_time_s": "part present after", "missed_share": "missed picks",
    "false_drop_share": "holds losing the output", "chatter_edges_per_hold": "needless changes per hold",
    "supply_switches_per_hold": "supply changes per hold", "supply_switches_per_hour": "supply changes per hour",
    "supply_on_share": "supply on", "air_l_anr_per_cycle": "air per cycle",
}  # fmt: skip


def tuning_lines(tuning: Tuning, unit: str = "kPa") -> list[str]:
    """Headline, settings old and new, their effects, the order of entry, and what was asked; lines of 80 characters.

    Settings stand as the device takes them, all other pressures in `unit`.
    """
    suggestion, asked = tuning.suggestion, tuning.what_if
    lines = [f"{clean(tuning.station, 40)}: {headline(tuning)}."]
    lines += _wrapped(lead_line(tuning), unit)
    for line in asked_lines(tuning):
        lines += _wrapped(line, unit)
    if asked is not None and asked.newly:
        lines.append(do_not_enter(asked))
    if suggestion.withheld is not None:
        lines += _wrapped(f"{'' if asked is None else 'Suggested: '}{suggestion.withheld}.", unit)
    if tuning.chatter is not None:
        lines += _wrapped(tuning.chatter.text, unit)
    lines += ["", *_settings(tuning)]
    lines += _reasons(tuning, unit)
    lines += _effects(tuning)
    if suggestion.withheld is None or (asked is not None and not asked.newly):
        lines += ["", *_wrapped(PREDICTION)]
    return [line.replace(NBSP, " ") for line in lines]


def model_lines(tuning: Tuning, unit: str = "kPa") -> list[str]:
    """The fitted model, a line per quantity with its interval."""
    lines = ["", "Model of the station:"]
    for name, value in ({} if tuning.fitted is None else tuning.fitted.figures).items():
        num = of_quantity(value)
        words = number(num, unit) if num is not None else value.reason if isinstance(value, Withheld) else "not given"
        lines += _hanging(model_name(name)[:_NAME], clean(words, 300))
    if tuning.fitted is not None:
        lines += _hanging("Form of the leak", clean(tuning.fitted.law, 300))
    if tuning.fitted is None:
        lines.append("  too little is known of this station for a model")
    return [line.replace(NBSP, " ") for line in lines]


def _hanging(name: str, text: str) -> list[str]:
    """A name and its text, which goes on below itself."""
    first, *rest = textwrap.wrap(text, WIDTH - _NAME - 3) or [""]
    return [f"  {name:<{_NAME}} {first}", *(" " * (_NAME + 3) + line for line in rest)]


def _wrapped(text: str, unit: str = "kPa") -> list[str]:
    return textwrap.wrap(numbers_plain(text, unit), WIDTH) if text.strip() else []


def _settings(tuning: Tuning) -> list[str]:
    """A table of settings in the device's own form."""
    new = {s.name: s.shown for s in tuning.suggestion.settings} if tuning.suggestion.withheld is None else {}
    asked = tuning.what_if.shown if tuning.what_if is not None else {}
    names = {
        n: f"{setting(n)}{', ' + setting_names(entry) if entry else ''} [{unit}]"
        for n, (_, unit, entry) in tuning.shown_now.items()
    }
    wide = max((len(label) for label in names.values()), default=0) + 2
    second = "suggested" if asked else "enter"
    lines = [f"  {'setting':<{wide}}{'now':>10}{second:>11}" + (f"{'asked':>10}" if asked else "")]
    for name, label in names.items():
        entered = device_value(tuning, new[name]) if name in new else "-"
        row = f"  {label:<{wide}}{shown_now(tuning, name):>10}{entered:>11}"
        lines.append(row + (f"{device_value(tuning, asked[name]):>10}" if name in asked else ""))
    order = tuning.order_to_enter
    if order is not None and order.steps:
        steps = ", then ".join(setting(s.name).lower() for s in order.steps)
        lines += _wrapped(f"Order of entry{' of what was asked' if asked else ''}: {steps}.")
        if not order.safe:
            lines += _wrapped("No order keeps the rules at every step: machine stopped and empty.")
    return lines


def _reasons(tuning: Tuning, unit: str) -> list[str]:
    """Why the suggestion moves what it moves, and what holds until a repair."""
    found = [
        line
        for r in reason_lines(tuning)
        for line in textwrap.wrap(numbers_plain(r, unit), WIDTH, initial_indent="  ", subsequent_indent="    ")
    ]
    return ["Why others are suggested:", *found] if found and tuning.what_if is not None else found


def _effects(tuning: Tuning) -> list[str]:
    found = [("now", tuning.suggestion.predicted_now)]
    sides = [("suggested", tuning.suggestion.predicted_suggested)] if tuning.suggestion.withheld is None else []
    if tuning.what_if is not None and not tuning.what_if.impossible:
        found, sides = found + sides, [("asked", tuning.what_if.predicted)]
    if not sides:
        return []
    head = f"  {'effect':<{_EFFECT}}" + "".join(f"{title:>{_NOW}}" for title, _ in found)
    lines = ["", head + "".join(f" {title:>{_CELL}}" for title, _ in sides)]
    for name in PREDICTED:
        if any(name in values for _, values in sides):
            now = "".join(f"{short(name, values[name]) if name in values else '-':>{_NOW}}" for _, values in found)
            cells = "".join(f" {figure(name, values.get(name)):>{_CELL}}" for _, values in sides)
            lines.append(f"  {_EFFECTS[name]:<{_EFFECT}}{now}{cells}")
    return lines + (_wrapped(EXTRAPOLATED) if extrapolates(tuning) else [])
