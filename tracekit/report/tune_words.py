"""Words of a tuning that its page, its sheet and its terminal screen share: answer, effects, rules, what was asked."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from tracekit.model.estimate import Estimate, Withheld
from tracekit.model.result import Constraint, SuggestedSetting, Suggestion
from tracekit.model.tuning import Tuning, WhatIf
from tracekit.report.measures import measure, setting, setting_names
from tracekit.report.text import MINUS, NBSP
from tracekit.report.words import Num, count, number, of_quantity

PREDICTION = "This is a prediction, not a permission. Try it at low speed with the area clear, and check the grip."
ROUGHLY = "Put what stands with ~ into the station file, under [settings]."
UNSURE = "Not sure to hold, since settings in force are known only roughly"
EXTRAPOLATED = "Some settings lie beyond the vacuum that was recorded: those figures extrapolate."
_PERCENT = ("missed_share", "false_drop_share", "supply_on_share")
_NOT_GIVEN = "not given"
_MODEL: Mapping[str, str] = {
    "weakest_vacuum_kpa": "vacuum of the weakest cycle", "overshoot_kpa": "overshoot over supply off",
    "undershoot_kpa": "fall below supply on", "wall_exchange_s": "warming of the gas",
    "delay_on_s": "supply-on to the turn", "delay_off_s": "supply-off to the turn",
    "cycle_scatter_kpa": "scatter between cycles", "recharge_time_s": "length of a recharge",
    "deepest_dip_kpa": "deepest dip with the motion", "noise_time_s": "memory of the noise",
}  # fmt: skip


def changed_rows(suggestion: Suggestion) -> tuple[SuggestedSetting, ...]:
    """The rows whose value changes."""
    return tuple(s for s in suggestion.settings if s.now_kpa is None or abs(s.suggested_kpa - s.now_kpa) > 1e-9)


def headline(tuning: Tuning) -> str:
    """The answer in at most 50 characters."""
    suggestion = tuning.suggestion
    if tuning.what_if is not None:
        return _asked_headline(tuning, tuning.what_if)
    if suggestion.withheld is None:
        n = len(changed_rows(suggestion))
        return f"Enter {count(n)} setting{'s' if n != 1 else ''}"
    return "Leave the settings" if suggestion.withheld.startswith("Leave") else "No settings yet"


def _asked_headline(tuning: Tuning, asked: WhatIf) -> str:
    if asked.impossible:
        return "No device can hold what was asked"
    breaks = [n for n in asked.newly if n not in asked.unsure]
    left = [c for c in asked.broken if c.name not in asked.unsure]
    if breaks:
        return f"What was asked breaks {_rules(len(breaks))}"
    if asked.newly:
        return f"What was asked may break {_rules(sum(c.name in asked.unsure for c in asked.broken))}"
    if left:
        return f"What was asked leaves {_rules(len(left))} broken"
    n = len(asked_changes(tuning, asked))
    return f"Enter {count(n)} setting{'s' if n != 1 else ''} as asked" if n else "What was asked is in force already"


def _rules(n: int) -> str:
    return f"{count(n)} rule{'s' if n != 1 else ''}"


def asked_changes(tuning: Tuning, asked: WhatIf) -> tuple[str, ...]:
    """Names of the settings that the device shows otherwise once what was asked is entered."""
    return tuple(n for n, (value, _, _) in tuning.shown_now.items() if abs(asked.shown[n] - value) > 1e-9)


def lead_line(tuning: Tuning) -> str:
    """What changes most by what is asked, else suggested; each clause only where its interval says so."""
    asked = tuning.what_if
    now = tuning.suggestion.predicted_now
    new = tuning.suggestion.predicted_suggested if asked is None else asked.predicted
    clauses = []
    for name, words in (
        ("false_drop_share", "holds that lose the output: {} → {}"), ("missed_share", "missed picks: {} → {}"),
        ("chatter_edges_per_hold", "needless output changes per hold: {} → {}"),
        ("supply_switches_per_hold", "supply changes per hold: {} → {}"),
        ("evacuation_time_s", "part present after {} → {}"),
    ):  # fmt: skip
        if name in now and name in new and not _overlap(now[name], new[name]):
            clauses.append(words.format(*_alike(name, now[name], new[name])))
    text = "; ".join(clauses[:3])
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def asked_lines(tuning: Tuning) -> tuple[str, ...]:
    """What is to be said of the asked settings, a sentence each, pressures in kPa; nothing where none were asked."""
    asked = tuning.what_if
    if asked is None:
        return ()
    lines = []
    sure = [c for c in asked.broken if c.name not in asked.unsure]
    for words, found in (
        ("Breaks", [c for c in sure if c.name in asked.newly]),
        ("Broken by the settings in force already", [c for c in sure if c.name not in asked.newly]),
        (UNSURE, [c for c in asked.broken if c.name in asked.unsure]),
    ):
        if found:
            lines.append(f"{words}: {_short_by(found, 'up to ' if words == UNSURE else '')}.")
    if not asked.broken:
        lines.append("Every rule holds.")
    if asked.withheld is not None:
        lines.append(f"Not predicted: {asked.withheld}.")
    if asked.unsure:
        lines.append(ROUGHLY)
    moved = [n for n, v in asked.typed.items() if abs(v - asked.values[n]) > 1e-6]
    if moved:
        steps = ", ".join(f"{setting(n).lower()} {asked.typed[n]:.4g} → {asked.values[n]:.4g} kPa" for n in moved)
        lines.append(f"Put on the device's steps: {steps}.")
    return (*lines, *(f"{note}." for note in asked.notes))


def do_not_enter(asked: WhatIf) -> str:
    """What is to be done with settings that break a rule, or may break one; empty where they break none."""
    if not asked.newly:
        return ""
    sure = any(name not in asked.unsure for name in asked.newly)
    return "Do not enter what was asked." if sure else "Enter it only once these settings are known exactly."


def _short_by(rules: Iterable[Constraint], most: str) -> str:
    return "; ".join(f"{rule_words(c.name)} (short by {most}{-c.margin_kpa:.1f} kPa)" for c in rules)


def rule_words(name: str) -> str:
    """A rule as pages and screen write it."""
    return setting_names(name).replace("<=", "≤").replace(" - ", f" {MINUS} ")


def extrapolates(tuning: Tuning) -> bool:
    """Whether a predicted effect is of settings beyond the recorded range of vacuum."""
    asked = tuning.what_if.predicted if tuning.what_if is not None else {}
    sides = (tuning.suggestion.predicted_now, tuning.suggestion.predicted_suggested, asked)
    return any("beyond" in value.method for found in sides for value in found.values())


def reason_lines(tuning: Tuning) -> tuple[str, ...]:
    """Why the suggestion moves what it moves and what holds until a repair, less what `asked_lines` says already."""
    said = tuning.what_if.notes if tuning.what_if is not None else ()
    return tuple(r for r in (*tuning.suggestion.reasons, *tuning.notes) if r not in said)


def command_options(tuning: Tuning) -> str:
    """What the command line asked for, as typed there; "" where it asked for nothing."""
    typed = tuning.what_if.typed if tuning.what_if is not None else {}
    words = [f"--set {name}={value:.6g}kPa" for name, value in typed.items()]
    return " ".join([*words, *([f"--goal {tuning.goal}"] if tuning.goal else [])])


def _overlap(one: Estimate, other: Estimate) -> bool:
    return one.lower <= other.upper and other.lower <= one.upper


def _alike(name: str, *values: Estimate) -> tuple[str, ...]:
    """Predicted effects without their intervals, in the digits of the least sure of them."""
    coarsest = max(_step(value) for value in values)
    return tuple(short(name, value, coarsest) for value in values)


def _step(value: Estimate) -> float:
    """What limits the digits of an effect; one that was counted is exact."""
    if value.lower == value.upper and value.value.is_integer():
        return 1.0
    return max((value.upper - value.lower) / 2.0, 0.01 * abs(value.value), 1e-3)


def short(name: str, value: Estimate, step: float | None = None) -> str:
    """A predicted effect without its interval, its digits limited by `step`, else by its own interval."""
    if name in _PERCENT:
        return f"{100.0 * value.value:.0f}{NBSP}%"
    step = step or _step(value)
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
    if value.lower == value.upper:
        return short(name, value)
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


def shown_now(tuning: Tuning, name: str) -> str:
    """A setting in force as the device shows it, marked where it is known only roughly."""
    value = tuning.shown_now[name][0]
    return device_value(tuning, value) if name in tuning.sure else f"~{plain_value(round(value, 2))}"


def device_value(tuning: Tuning, value: float) -> str:
    """A value to be entered, with the decimals that the device shows of any."""
    return plain_value(value, _decimals_of(tuning))


def _decimals_of(tuning: Tuning) -> int:
    """Decimals of the settings that are to be entered; at least one in kPa."""
    new = [s.shown for s in tuning.suggestion.settings] if tuning.suggestion.withheld is None else []
    asked = list(tuning.what_if.shown.values()) if tuning.what_if is not None else []
    in_kpa = any(unit == "kPa" for _, unit, _ in tuning.shown_now.values())
    needed = (len(plain_value(value).partition(".")[2]) for value in (*new, *asked))
    return max(int(in_kpa), *needed, 0)


def plain_value(value: float, decimals: int = 0) -> str:
    """A value as the device shows it, with a true minus and at least so many decimals."""
    figure = f"{round(value, 3) + 0.0:.7g}"  # minus nothing is nothing
    if len(figure.partition(".")[2]) < decimals:
        figure = f"{float(figure):.{decimals}f}"
    return figure.replace("-", MINUS)
