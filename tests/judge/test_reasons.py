"""The line for a cause names the measure by which it is known, over the cycles that it holds for."""

from tracekit.judge.effects import Effect
from tracekit.judge.evidence import Sign
from tracekit.judge.reasons import reason_for


def effect(shift: float, error: float, n_now: int = 20) -> Effect:
    """A measure that has moved by `shift`."""
    return Effect(
        now=shift, reference=0.0, shift=shift, error=error, n_now=n_now, n_reference=20, tail_up=0.0, tail_down=0.0,
        scatter=1.0,
    )  # fmt: skip


def test_a_slow_valve_is_told_by_its_delay() -> None:
    """The answer to the command is told, though another measure moved by more of its errors."""
    effects = {"response": effect(0.095, 0.003), "open": effect(-0.89, 0.02)}
    assert "answer to the supply command changed by +95 ms" in reason_for(
        "supply_valve_slow", effects, (), "baseline", 0.95
    )


def test_a_leak_of_some_parts_is_told_by_its_groups() -> None:
    """Groups that leak differently are the reason, not a share of the slowing."""
    effects = {"balance": effect(1.2, 0.05)}
    sign = (Sign(name="rate_groups", present=0.98),)
    told = reason_for("leak_part_dependent", effects, sign, "baseline", 0.95)
    assert told == "groups of cycles that leak differently seen"


def test_a_change_says_over_which_cycles() -> None:
    """The last third is compared, so its change is not the difference of the medians of the whole log."""
    told = reason_for("leak_steady", {"decay": effect(4.3, 0.2, 13)}, (), "baseline", 0.95)
    assert told == "the leak with the supply off changed by +4.3 kPa/s against the baseline"
    told = reason_for("leak_steady", {"decay": effect(4.3, 0.2, 13)}, (), "earlier cycles", 0.95)
    assert told == "in the last 13 cycles the leak with the supply off changed by +4.3 kPa/s"


def test_over_pressure_beside_a_moved_zero_is_counted_from_it() -> None:
    """The trace has moved with the zero; what is unchanged is the distance from the idle reading."""
    effects = {"over": effect(0.1, 1.0), "idle": effect(4.5, 0.3)}
    assert "unchanged, counted from the idle reading" in reason_for("flow_restricted", effects, (), "baseline", 0.01)
    still = {"over": effect(0.1, 1.0), "idle": effect(0.0, 0.3)}
    assert "counted from" not in reason_for("flow_restricted", still, (), "baseline", 0.01)


def test_what_moved_by_more_than_its_error_is_not_called_unchanged() -> None:
    """An over-pressure 1.5 kPa lower, known to 1, is not clear; one 0.1 higher has not moved."""
    told = [reason_for("flow_restricted", {"over": effect(x, 1.0)}, (), "baseline", 0.01) for x in (-1.5, 0.1)]
    assert "not clearly changed" in told[0]
    assert "is unchanged" in told[1]
