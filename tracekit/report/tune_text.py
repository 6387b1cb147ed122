"""The answer of `tracekit tune` in a terminal."""

import textwrap

from tracekit.model.estimate import Withheld
from tracekit.model.tuning import Tuning
from tracekit.report.measures import setting, setting_names
from tracekit.report.text import NBSP, clean
from tracekit.report.tune_json import PREDICTED
from tracekit.report.tune_page import PREDICTION, figure, headline, lead_line, model_name, plain_value, short
from tracekit.report.words import number, of_quantity

WIDTH = 80
_NAME, _EFFECT, _NOW, _CELL = 38, 26, 12, 25
_ROUGHLY = " What is marked ~ is known roughly and counts at its worst: put it into the station file, under [settings]."
_EFFECTS = {
    "evacuation_time_s": "part present after", "missed_share": "missed picks",
    "false_drop_share": "holds losing the output", "chatter_edges_per_hold": "needless changes per hold",
    "supply_switches_per_hold": "supply changes per hold", "supply_switches_per_hour": "supply changes per hour",
    "supply_on_share": "supply on", "air_l_anr_per_cycle": "air per cycle",
}  # fmt: skip


def tuning_lines(tuning: Tuning) -> list[str]:
    """Headline, settings old and new, their effects, the order of entry, and what was asked; lines of 80 characters."""
    suggestion = tuning.suggestion
    lines = [f"{clean(tuning.station, 40)}: {headline(tuning)}."]
    lead = lead_line(tuning)
    if suggestion.withheld is not None:
        lead = f"{suggestion.withheld}."
    lines += _wrapped(lead)
    if tuning.chatter is not None:
        lines += _wrapped(tuning.chatter.text)
    lines += ["", *_settings(tuning)]
    lines += _reasons(tuning)
    lines += _effects(tuning)
    if suggestion.withheld is None:
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


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(clean(setting_names(text), 400), WIDTH) if text.strip() else []


def _settings(tuning: Tuning) -> list[str]:
    """A table of settings in the device's own form."""
    new = {s.name: s.shown for s in tuning.suggestion.settings} if tuning.suggestion.withheld is None else {}
    asked = tuning.what_if.values if tuning.what_if is not None else {}
    lines = [f"  {'setting':<30}{'now':>10}{'enter':>10}" + (f"{'asked, kPa':>14}" if asked else "")]
    for name, (value, unit, entry) in tuning.shown_now.items():
        label = f"{setting(name)}{', ' + setting_names(entry) if entry else ''} [{unit}]"
        rough = "" if name in tuning.sure else "~"
        entered = plain_value(new[name]) if name in new else "-"
        row = f"  {label:<30}{rough + plain_value(round(value, 2)):>10}{entered:>10}"
        lines.append(row + (f"{asked[name]:>14.1f}" if name in asked else ""))
    if tuning.order is not None and tuning.order.steps:
        steps = ", then ".join(setting(s.name).lower() for s in tuning.order.steps)
        lines += _wrapped(f"Order of entry: {steps}.")
    return lines


def _reasons(tuning: Tuning) -> list[str]:
    return [
        line
        for r in (*tuning.suggestion.reasons, *tuning.notes)
        for line in textwrap.wrap(setting_names(r), WIDTH, initial_indent="  ", subsequent_indent="    ")
    ]


def _effects(tuning: Tuning) -> list[str]:
    found = [("now", tuning.suggestion.predicted_now)]
    sides = [("suggested", tuning.suggestion.predicted_suggested)] if tuning.suggestion.withheld is None else []
    if tuning.what_if is not None:
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
    return lines + _broken(tuning)


def _broken(tuning: Tuning) -> list[str]:
    if tuning.what_if is None:
        return []
    bad = [f"{c.name} (short by {-c.margin_kpa:.1f} kPa)" for c in tuning.what_if.constraints if not c.holds]
    if not bad:
        return _wrapped("The asked settings keep every rule.")
    rough = _ROUGHLY if any(name not in tuning.sure for name in tuning.shown_now) else ""
    return _wrapped(f"Asked settings break: {'; '.join(bad)}.{rough}")
