"""The rule, case by case."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracekit.compare.rates import rate_result
from tracekit.compare.verdicts import Judged, judge, rule_text
from tracekit.model.comparison import MeasureResult, RateResult
from tracekit.model.estimate import Bound, Estimate, Withheld
from tracekit.options.compare import CompareOptions

OPTIONS = CompareOptions()
CLEAN = {n: rate_result(n, (0, 0), (50, 50), OPTIONS) for n in ("drop_share", "miss_share")}
DROPS = {**CLEAN, "drop_share": rate_result("drop_share", (0, 9), (100, 100), OPTIONS)}


def measure(column: str = "decay_rate_kpa_s", *, better: float = 0.5, equal: float = 0.5, change: float = -1.0,
            watched: bool = True) -> MeasureResult:  # fmt: skip
    """A result with the p values that a case needs; a margin of 0.5 [kPa/s]."""
    side = Estimate(value=5.0, lower=4.0, upper=6.0, unit="kPa/s", n=60, method="")
    difference = Estimate(value=change, lower=change - 1.0, upper=change + 1.0, unit="kPa/s", n=120, method="")
    return MeasureResult(
        column=column, unit="kPa/s", better="lower", before=side, after=side, difference=difference,
        verdict="undecided", margin=0.5, cycles_needed=300, p_better=better, p_worse=1.0 - better,
        p_equivalent=equal, watched=watched,
    )  # fmt: skip


def _judge(*results: MeasureResult, rates: dict[str, RateResult] | None = None, error: float = 0.025) -> Judged:
    return judge({r.column: r for r in results}, rates or CLEAN, "decay_rate_kpa_s", error, OPTIONS)


def test_demonstrated() -> None:
    """The primary is better and nothing is worse."""
    judged = _judge(measure(better=0.02), measure("release_time_s"))
    assert judged.verdict == "demonstrated"
    assert judged.measures["decay_rate_kpa_s"].verdict == "better"
    assert judged.measures["decay_rate_kpa_s"].cycles_needed is None
    assert judged.measures["release_time_s"].cycles_needed == 300


def test_better_wins_over_equivalent_on_the_primary() -> None:
    """A primary that is shown to be better is better, though its change also lies within the margin."""
    assert _judge(measure(better=0.01, equal=0.01)).verdict == "demonstrated"


def test_another_measure_is_worse() -> None:
    """A watched measure that is shown to be worse, by more than its margin, blocks the demonstration."""
    judged = _judge(measure(better=0.001), measure("release_time_s", better=0.999))
    assert judged.verdict == "not_demonstrated"
    assert "release_time_s is worse" in judged.reasons


@pytest.mark.parametrize(("equal", "change", "verdict"), [(0.01, 1.0, "equivalent"), (0.5, 0.3, "undecided")])
def test_a_trifle_does_not_block(equal: float, change: float, verdict: str) -> None:
    """A worsening within the margin, shown or as estimated, blocks nothing."""
    judged = _judge(measure(better=0.001), measure("release_time_s", better=0.9999, equal=equal, change=change))
    assert judged.verdict == "demonstrated"
    assert judged.measures["release_time_s"].verdict == verdict


def test_many_measures_share_one_error() -> None:
    """Of ten others, one with p = 0.02 is not worse: Holm asks for 0.0025."""
    others = [measure(f"m{k}", better=0.98 if k == 0 else 0.5) for k in range(10)]
    assert _judge(measure(better=0.001), *others).verdict == "demonstrated"
    others[0] = measure("m0", better=0.999)
    assert _judge(measure(better=0.001), *others).verdict == "not_demonstrated"


def test_a_measure_that_is_not_watched_does_not_block() -> None:
    """What is only shown may get worse."""
    other = measure("open_cup_vacuum_kpa", better=0.9999, watched=False)
    assert _judge(measure(better=0.001), other).verdict == "demonstrated"


def test_the_primary_is_worse() -> None:
    """The primary is worse: so is the station."""
    judged = _judge(measure(better=0.99))
    assert judged.verdict == "worse"
    assert judged.reasons == ("decay_rate_kpa_s is worse",)


def test_drops_make_it_worse() -> None:
    """A better primary with more drops is worse."""
    judged = _judge(measure(better=0.001), rates=DROPS)
    assert judged.verdict == "worse"
    assert judged.rates["drop_share"].verdict == "worse"


def test_drops_take_their_share_of_the_error() -> None:
    """Where drops could be shown, a primary at p = 0.02 is not yet worse; where none fell, it is."""
    some = {**CLEAN, "drop_share": rate_result("drop_share", (5, 4), (100, 100), OPTIONS)}
    assert _judge(measure(better=0.98), rates=some).verdict == "not_demonstrated"
    assert _judge(measure(better=0.98)).verdict == "worse"


def test_no_change() -> None:
    """The primary lies within its margin: both tests at 2.5 %, so that its 95 % interval does."""
    assert _judge(measure(equal=0.024)).verdict == "no_change"
    assert _judge(measure(equal=0.026)).verdict == "not_demonstrated"


def test_undecided() -> None:
    """Neither better nor equal is not demonstrated, with the cycles that would decide."""
    judged = _judge(measure())
    assert judged.verdict == "not_demonstrated"
    assert judged.measures["decay_rate_kpa_s"].cycles_needed == 300


def test_an_early_look_asks_for_more() -> None:
    """At an early look of a plan the primary must pass that look's bound."""
    assert _judge(measure(better=0.02), error=0.0015).verdict == "not_demonstrated"
    assert _judge(measure(better=0.001), error=0.0015).verdict == "demonstrated"


def test_a_withheld_primary() -> None:
    """What is withheld is never demonstrated, and the reason is given."""
    nan = float("nan")
    withheld = replace(
        measure(), difference=Withheld("no coast"), cycles_needed=Withheld("no coast"), p_better=nan, p_worse=nan,
        p_equivalent=nan,
    )  # fmt: skip
    judged = _judge(withheld, measure("release_time_s", better=0.999))
    assert judged.verdict == "not_demonstrated"
    assert judged.reasons == ("decay_rate_kpa_s is withheld: no coast",)


def test_a_primary_that_is_not_there() -> None:
    """A primary that no log holds is not demonstrated."""
    assert _judge(measure("release_time_s", better=0.001)).reasons == ("decay_rate_kpa_s is not in these logs",)


def test_a_rate_as_the_primary() -> None:
    """Nine of 100 drops before and none after demonstrate the repair of the drops."""
    rates = {**CLEAN, "drop_share": rate_result("drop_share", (9, 0), (100, 100), OPTIONS)}
    judged = judge({"decay_rate_kpa_s": measure()}, rates, "drop_share", 0.025, OPTIONS)
    assert judged.verdict == "demonstrated"


def test_a_bound_counts_by_its_limit() -> None:
    """A secondary of which only a bound is known is better where the bound is beyond the margin."""
    bound = Bound(status="upper_bound", limit=-2.0, unit="kPa/s", n=60, method="")
    other = replace(measure("leak_rate_pa_m3_s", better=0.001), difference=bound)
    assert _judge(measure(better=0.001), other).measures["leak_rate_pa_m3_s"].verdict == "better"


_EXACT = st.integers(0, 4096).map(lambda k: k / 4096)  # 1 - p without rounding


@given(_EXACT, _EXACT, st.floats(0.0, 1.0), st.floats(-2.0, 2.0))
def test_exchanging_the_sides_exchanges_the_verdicts(first: float, other: float, equal: float, change: float) -> None:
    """Before and after exchanged, better and worse change places."""
    turned = {"better": "worse", "worse": "better"}
    there = _judge(measure(better=first, equal=equal), measure("release_time_s", better=other, change=change))
    back = _judge(measure(better=1 - first, equal=equal), measure("release_time_s", better=1 - other, change=-change))
    for name, result in there.measures.items():
        assert back.measures[name].verdict == turned.get(result.verdict, result.verdict)


@given(st.lists(st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)), min_size=1, max_size=6))
def test_the_verdict_follows_from_the_parts(cases: list[tuple[float, float]]) -> None:
    """Demonstrated means: primary better and nothing worse. No change means: primary equivalent."""
    names = ["decay_rate_kpa_s", *(f"m{k}" for k in range(1, len(cases)))]
    judged = _judge(*(measure(n, better=b, equal=e) for n, (b, e) in zip(names, cases, strict=True)))
    verdicts = {n: m.verdict for n, m in judged.measures.items()}
    first = verdicts["decay_rate_kpa_s"]
    expected = {
        "better": "demonstrated" if "worse" not in verdicts.values() else "not_demonstrated",
        "worse": "worse", "equivalent": "no_change", "undecided": "not_demonstrated",
    }[first]  # fmt: skip
    assert judged.verdict == expected


def test_the_rule_in_words() -> None:
    """The rule names the primary, the error rates and the looks; it is the same for every comparison."""
    text = rule_text("release_time_s", OPTIONS)
    assert "release_time_s" in text
    assert "one-sided 2.5 %" in text
    assert "two one-sided tests, 2.5 % each" in text
    assert ", over 3 looks" in rule_text("release_time_s", OPTIONS, ", over 3 looks")
