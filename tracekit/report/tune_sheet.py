"""The set-up sheet: one printed page to take to the device, sign and file."""

from datetime import UTC, datetime

from tracekit.model.result import DiagnosisRecord
from tracekit.model.tuning import EntryPlan, Tuning
from tracekit.report.cautions import SHORT
from tracekit.report.frame import Block, frame, render
from tracekit.report.measures import setting, setting_names
from tracekit.report.text import NBSP, clean
from tracekit.report.tune_words import asked_lines, command_options, device_value, do_not_enter, figure, plain_value

_BLANK = "\u2002" * 7
_VERIFY = (
    "Clear the area. Photograph the settings before and after.",
    "Enter the settings in the order above, machine in a safe stop, no part in the air.",
    "Pick 10 parts at half speed, nobody near the load. Every part must hold to the end.",
    "Pick 10 times without a part: the output must stay off.",
    "Record 200 cycles at full speed, then: tracekit tune LOG. No output loss, no needless change.",
    "If a part drops, the output toggles, or grip is in doubt: enter the old settings again.",
)
_ASKED = "As asked on the command line, not as suggested."
_HOLDS = "The load's owner agrees to the new settings. Local rules and the machine's risk assessment come first."


def sheet_page(record: DiagnosisRecord, tuning: Tuning, unit: str = "kPa") -> str:
    """The sheet as one HTML file; it prints on one A4 page.

    It is the sheet of what is going to be entered: the settings asked for where there are any, else the suggestion.
    """
    order = tuning.order_to_enter
    title = f"Set-up sheet: {clean(tuning.station, 60)}"
    blocks = [
        Block("answer", "", _head(record, tuning, title, unit), page_one=True),
        Block("old-new", "Settings", _table(tuning), "Settings", page_one=True),
    ]
    check = render("tune_check.html", {"lines": _verify(tuning)}, unit)
    cautions = render("sheet_lines.html", {"text": "", "lines": [SHORT, _HOLDS]})
    if order is not None and order.steps:
        blocks += [
            Block("order", "Order of entry", _order(tuning, order), "Order", page_one=True),
            Block("verify", "Check the grip", check, "Check", page_one=True),
            Block("expect", "What to expect", _expect(tuning), "Expect", page_one=True),
            Block("signed", "Entered by", _signed(), "Signed", page_one=True),
        ]
    blocks.append(Block("cautions", "Cautions", cautions, "Cautions", page_one=True))
    logs = [(clean(log.source, 60), log.log_id) for log in record.logs]
    logs += [("Options", typed)] if (typed := command_options(tuning)) else []
    return frame(title, blocks, identity=(clean(tuning.station, 60), "set-up sheet"), provenance=logs, unit=unit)


def _head(record: DiagnosisRecord, tuning: Tuning, title: str, unit: str) -> str:
    day = datetime.now(UTC).strftime("%Y-%m-%d")
    logs = ", ".join(clean(log.source, 40) for log in record.logs)
    first, *more = _reasons(tuning)
    return render("tune_sheet_head.html", {
        "headline": title, "lead": f"{day}. From {logs}, tracekit {record.version}.", "first": first, "reasons": more,
    }, unit)  # fmt: skip


def _reasons(tuning: Tuning) -> list[str]:
    """What to do with this sheet, and what forbids it."""
    withheld, asked = tuning.suggestion.withheld, tuning.what_if
    if asked is None:
        until = [f"{note}." for note in tuning.notes]
        return ["Enter only at this station." if withheld is None else f"No settings to enter. {withheld}.", *until]
    first = do_not_enter(asked) or f"{_ASKED} Enter only at this station."
    advice = [f"Suggested: {withheld}."] if withheld is not None else []
    return [first, *asked_lines(tuning), *advice]


def _table(tuning: Tuning) -> str:
    """Old and new values in the device's own entry form; beside what was asked for, what is suggested."""
    asked = tuning.what_if
    suggested = {s.name: s.shown for s in tuning.suggestion.settings} if tuning.suggestion.withheld is None else {}
    new = suggested if asked is None else asked.shown
    shown_unit = next((unit for _, unit, _ in tuning.shown_now.values()), "")
    heading = "New" if asked is None else "Asked: do not enter" if asked.newly else "New, as asked"
    beside = asked is not None and bool(suggested)
    rows = []
    for name, (value, _, entry) in tuning.shown_now.items():
        label = f"{setting(name)}{', ' + setting_names(entry) if entry else ''}"
        old = device_value(tuning, value) if name in tuning.sure else f"about{NBSP}{plain_value(round(value, 1))}"
        sides = [new, suggested] if beside else [new]
        cells = [device_value(tuning, side[name]) if name in side else "leave" for side in sides]
        rows.append((label, old, *cells))
    head = (f"Setting [{shown_unit}]", "Old", heading, *(["Suggested"] if beside else []))
    return render("plan_table.html", {"head": head, "rows": rows})


def _order(tuning: Tuning, order: EntryPlan) -> str:
    lines = [
        f"{setting(s.name)}{', ' + setting_names(s.entry) if s.entry else ''}: {device_value(tuning, s.before)} → "
        f"{device_value(tuning, s.enter)} {s.unit}"
        for s in order.steps
    ]
    if not order.safe:
        lines.append("No order keeps every rule in between: only with the machine stopped and empty.")
    return render("tune_lines.html", {"lines": lines})


def _verify(tuning: Tuning) -> tuple[str, ...]:
    """How to check what was entered; what no log has shown comes before the way back."""
    of_rows = {s.reason for s in tuning.suggestion.settings}
    if tuning.what_if is not None:
        return _VERIFY  # what no log has shown of these stands above
    unsure = (f"{setting_names(clean(r, 300))}." for r in tuning.suggestion.reasons if r not in of_rows)
    return (*_VERIFY[:-1], *unsure, _VERIFY[-1])


def _expect(tuning: Tuning) -> str:
    names = (
        ("evacuation_time_s", "Part present after"), ("supply_switches_per_hold", "Supply changes per hold"),
        ("chatter_edges_per_hold", "Needless output changes per hold"),
        ("false_drop_share", "Holds that lose the output"),
    )  # fmt: skip
    now = tuning.suggestion.predicted_now
    new = tuning.suggestion.predicted_suggested if tuning.what_if is None else tuning.what_if.predicted
    rows = [(words, figure(n, now.get(n)), figure(n, new.get(n))) for n, words in names if n in new]
    return render("plan_table.html", {"head": ("Effect", "Now", "Then"), "rows": rows})


def _signed() -> str:
    rows = [(who, _BLANK, _BLANK) for who in ("Entered by", "Grip checked by", "Load's owner")]
    return render("plan_table.html", {"head": ("", "Name, signature", "Date"), "rows": rows})
