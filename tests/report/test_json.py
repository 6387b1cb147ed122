"""`diagnosis.json` says everything that the record holds, without a null and without NaN."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
import stories

from tracekit.model.cycle import SettingInForce
from tracekit.model.estimate import Bound, Estimate, Withheld
from tracekit.report.json import diagnosis_json, plain_object, quantity, suggestion_json, utc_text

PLOTS = ("torn_cup", "healthy", "no_baseline", "by_part", "no_digitals", "unmeasurable", "withheld", "hostile", "many")


def _leaves(value):
    if isinstance(value, dict):
        for item in value.values():
            yield from _leaves(item)
    elif isinstance(value, list):
        for item in value:
            yield from _leaves(item)
    else:
        yield value


@pytest.mark.parametrize("story", PLOTS)
def test_no_null_and_no_nan(story: str) -> None:
    """Whatever is missing in a diagnosis, its JSON holds neither null nor NaN."""
    document = diagnosis_json(getattr(stories, story)())
    leaves = list(_leaves(json.loads(json.dumps(document, allow_nan=False))))
    assert leaves
    assert None not in leaves
    assert not any(isinstance(leaf, float) and not math.isfinite(leaf) for leaf in leaves)


def test_what_a_diagnosis_says() -> None:
    """Counts, settings, leak and findings stand where the contract puts them."""
    record = stories.torn_cup()
    document = diagnosis_json(record)
    station, result = document["stations"][0], record.stations[0]
    assert document["schema"] == "tracekit.diagnosis/1"
    assert document["tool"] == {"name": "tracekit", "version": record.version}
    assert document["logs"][0]["log_id"] == record.logs[0].log_id
    assert station["summary"]["cycles"] == len(result.data.cycles)
    assert station["summary"]["held"] == int(result.data.cycles.where("outcome", "held").sum())
    assert station["settings"]["set_point_kpa"]["value"] == result.data.settings["set_point"].value_kpa
    assert [f["code"] for f in station["findings"]] == [f.code for f in result.findings]
    assert station["leak"]["decay_rate_kpa_s"] == plain_object(quantity(result.leak.decay_rate))
    assert station["suggestion"] == {"status": "withheld", "reason": result.suggestion.withheld}
    for name, stats in station["summary"]["measures"].items():
        assert set(stats) == {"median", "p05", "p95", "unit"}, name


def test_settings_that_are_unknown_are_withheld() -> None:
    """A setting that neither the edges nor a station file give is withheld with its reason."""
    record = stories.healthy()
    settings = {**record.stations[0].data.settings, "supply_off": SettingInForce(value_kpa=None, source="absent")}
    data = replace(record.stations[0].data, settings=settings)
    document = diagnosis_json(replace(record, stations=(replace(record.stations[0], data=data),)))
    shown = document["stations"][0]["settings"]["supply_off_kpa"]
    assert shown["status"] == "withheld"
    assert "station file" in shown["reason"]


def test_settings_that_differ_show_both() -> None:
    """Where edges and station file differ, the edges' value is in force and the file's stands beside it."""
    record = stories.healthy()
    both = SettingInForce(value_kpa=60.2, source="edges", station_file_kpa=58.0)
    data = replace(record.stations[0].data, settings={"set_point": both})
    document = diagnosis_json(replace(record, stations=(replace(record.stations[0], data=data),)))
    shown = document["stations"][0]["settings"]["set_point_kpa"]
    assert shown == {"value": 60.2, "source": "edges", "station_file": 58.0}


def test_quantities() -> None:
    """An estimate, a bound and a withheld quantity have the form of the contract."""
    estimate = Estimate(value=1.0, lower=0.5, upper=2.0, unit="kPa/s", n=12, method="m")
    tail = {"level": 0.95, "unit": "kPa/s", "n": 12, "method": "m"}
    assert quantity(estimate) == {"value": 1.0, "lower": 0.5, "upper": 2.0, **tail}
    bound = Bound(status="lower_bound", limit=3.0, unit="kPa/s", n=12, method="m")
    assert quantity(bound) == {"status": "lower_bound", "lower": 3.0, **tail}
    assert quantity(Withheld("why")) == {"status": "withheld", "reason": "why"}
    assert quantity(replace(estimate, upper=math.inf))["status"] == "withheld"


def test_suggestion() -> None:
    """A suggestion names each setting in kPa and as the device takes it, now and suggested."""
    suggestion = stories.suggestion(withheld=None)
    document = suggestion_json(suggestion)
    for setting in suggestion.settings:
        shown = document["settings_suggested"][setting.name]
        assert shown["kpa"] == setting.suggested_kpa
        assert shown["display"] == {"value": setting.shown, "unit": setting.unit, "from": setting.entry}
    assert len(document["settings_suggested"]) == len(suggestion.settings) > 0
    assert len(document["constraints"]) == len(suggestion.constraints)


def test_plain_numbers() -> None:
    """NumPy's numbers become Python's, to nine digits; what is missing is left out."""
    given = {"a": np.float64(1 / 3), "b": np.int32(3), "c": np.bool_(1), "d": math.nan, "e": None, "f": (1, None, "x")}
    assert plain_object(given) == {"a": 0.333333333, "b": 3, "c": True, "f": [1, "x"]}
    with pytest.raises(TypeError, match="object has no place in a JSON file"):
        plain_object({"a": object()})


def test_dates() -> None:
    """Dates are ISO 8601 in UTC; 2024-02-29T23:59:59.999+01:00 is 22:59:59.999 in UTC."""
    assert utc_text(1_709_247_599_999_000) == "2024-02-29T22:59:59.999000Z"
