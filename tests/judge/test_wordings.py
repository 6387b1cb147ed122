"""Sentences of reasons and of the handbook, as a reader meets them."""

import pytest

from tracekit.judge import handbook
from tracekit.judge.effects import Effect
from tracekit.judge.reasons import reason_for
from tracekit.judge.steps import next_steps


@pytest.mark.parametrize(
    ("shift_s", "told"),
    [(0.1132, "+113 ms"), (0.0113, "+11 ms"), (-0.0034, "-3.4 ms"), (1.26, "+1260 ms"), (0.00998, "+10.0 ms")],
)
def test_changes_have_no_exponents(shift_s, told):
    """Two digits of a change, all of those before the point."""
    response = Effect(
        now=0.2, reference=0.1, shift=shift_s, error=abs(shift_s) / 20.0, n_now=40, n_reference=40, tail_up=1.0, tail_down=0.0,
        scatter=0.0,
    )  # fmt: skip
    effects = {"response": response}
    assert reason_for("supply_valve_slow", effects, (), "baseline", 0.9).endswith(f"by {told} against the baseline")


def test_a_ripple_of_the_supply_is_named():
    """The outcome of the test ends with what it means."""
    assert handbook.entry("supply_pulsation").test.expect_if.endswith("only with the supply on: the air supply pulses.")


@pytest.mark.parametrize("code", ["leak_steady", "check_valve_leak", "release_valve_leak"])
def test_half_a_fall_is_no_baseline(code):
    """Where the baseline's own rate is not known, half of today's fall is called a first sign, not 20 % above it."""

    def goal(measures):
        return next_steps(
            code, (), air_saving=True, has_baseline=True, sensor_at="generator", source="ejector", measures=measures
        )[-1].expect_if

    unknown = goal({"decay_rate_kpa_s": 14.8})
    assert "halved as a first sign, at most 7.4 kPa/s, now 14.8 kPa/s" in unknown
    assert "20 %" not in unknown
    assert "fall with the supply off at most 1.3 kPa/s" in goal({"decay_rate_kpa_s": 14.8, "baseline_decay_rate_kpa_s": 1.0})


def test_how_to_record_names_no_column():
    """A technician reads pages, not tables: no name of a column or of a file of tables stands in a record."""
    told = " ".join(test.record for test in handbook.field_tests())
    assert "_kpa" not in told.replace("--primary pump_time_constant_s", "")
    assert "parquet" not in told
    assert "drop_share" not in told
