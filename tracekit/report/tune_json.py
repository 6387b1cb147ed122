"""`tuning.json`: plain dictionaries as the contract names them."""

from collections.abc import Mapping
from datetime import UTC, datetime
from importlib.metadata import version

from tracekit.model.estimate import Estimate, Withheld, quantity_json
from tracekit.model.result import Constraint
from tracekit.model.tuning import Chatter, EntryPlan, Tuning, WhatIf
from tracekit.report.json import plain_object, quantity, suggestion_json

SCHEMA = "tracekit.tuning/1"
PREDICTED = (
    "evacuation_time_s", "missed_share", "false_drop_share", "chatter_edges_per_hold", "supply_switches_per_hold",
    "supply_switches_per_hour", "supply_on_share", "air_l_anr_per_cycle",
)  # fmt: skip
_NO_PRICE = "no nozzle flow in the station file"
_NO_DECAY = "the log does not show how fast vacuum is lost, or how long a hold lasts"


def tuning_json(tuning: Tuning, log_ids: tuple[str, ...]) -> dict[str, object]:
    """The whole of `tuning.json` for one station."""
    suggestion = tuning.suggestion
    document = suggestion_json(suggestion)
    document["settings_now"] = {
        name: {"kpa": known.value, "lower": known.low, "upper": known.high, "display": _display(tuning, name)}
        for name, known in tuning.known.items()
    }
    if suggestion.withheld is None:
        document["predicted"] = {
            "now": predictions(suggestion.predicted_now),
            "suggested": predictions(suggestion.predicted_suggested),
        }
        document["order_of_entry"] = _order(tuning.order)
    return plain_object(
        {
            "schema": SCHEMA,
            "tool": {"name": "tracekit", "version": version("tracekit")},
            "created": datetime.now(UTC).isoformat(timespec="seconds"),
            "station": tuning.station,
            "log_ids": log_ids,
            "goal": tuning.goal,
            **document,
            "notes": list(tuning.notes),
            "what_if": None if tuning.what_if is None else what_if_json(tuning, tuning.what_if),
            "chatter": None if tuning.chatter is None else _chatter(tuning.chatter),
            "decay_law": "" if tuning.fitted is None else tuning.fitted.law,
            "model": {} if tuning.fitted is None else {n: quantity(v) for n, v in tuning.fitted.figures.items()},
        }
    )


def _display(tuning: Tuning, name: str) -> dict[str, object]:
    value, unit, entry = tuning.shown_now[name]
    return {"value": value, "unit": unit, "from": entry}


def _order(plan: EntryPlan | None) -> list[dict[str, object]]:
    steps = plan.steps if plan is not None else ()
    return [{"setting": s.name, "enter": s.enter, "unit": s.unit, "from": s.entry} for s in steps]


def predictions(found: Mapping[str, Estimate], why: str | None = None) -> dict[str, object]:
    """Every predicted effect; what cannot be predicted is withheld with the reason, `why` where that is known."""
    out: dict[str, object] = {}
    for name in PREDICTED:
        value = found.get(name)
        lacks = _NO_PRICE if name.startswith("air") and "supply_on_share" in found else _NO_DECAY
        out[name] = quantity_json(Withheld(why or lacks)) if value is None else quantity(value)
    return out


def what_if_json(tuning: Tuning, asked: WhatIf) -> dict[str, object]:
    """The settings asked for, what they break and do, beside what the settings in force do.

    `breaks` names the rules that they break more than the settings in force; without any there is an order of entry.
    """
    return {
        "asked": {name: {"kpa": value} for name, value in asked.typed.items()},
        "settings": {
            name: {"kpa": value, "display": {**_display(tuning, name), "value": asked.shown[name]}}
            for name, value in asked.values.items()
        },
        "constraints": [_constraint(c) for c in asked.constraints],
        "breaks": list(asked.newly),
        "order_of_entry": _order(asked.order),
        "now": predictions(tuning.suggestion.predicted_now),
        "predicted": predictions(asked.predicted, asked.withheld),
        "replayed": dict(asked.replayed),
        "replay": "every sample" if asked.exact else "averaged traces",
    }


def _constraint(found: Constraint) -> dict[str, object]:
    return {"name": found.name, "holds": found.holds, "margin_kpa": found.margin_kpa}


def _chatter(chatter: Chatter) -> dict[str, object]:
    return {
        "holds": chatter.holds,
        "edges": chatter.edges,
        "frequency_hz": None if chatter.frequency_hz is None else quantity(chatter.frequency_hz),
        "duty": chatter.duty,
        "at_share_of_hold": list(chatter.at_share),
        "cause": chatter.cause,
        "support": chatter.support,
        "text": chatter.text,
    }
