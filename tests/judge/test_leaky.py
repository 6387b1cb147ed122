"""How large a leak must be without a reference, and how much one slows where its rate is not known."""

from dataclasses import replace

import numpy as np
import pytest
from judge.test_evidence import calm, effect, quiet
from segment.made_traces import PLAIN

from tests.judge.test_verdict import case_of
from tracekit.judge.effects import Effect
from tracekit.judge.evidence import Circumstances, log_likelihood
from tracekit.judge.leaky import leaky_sign
from tracekit.model.estimate import Bound
from tracekit.model.result import LeakResult
from tracekit.options.judge import JudgeOptions

OPTIONS = JudgeOptions()


@pytest.fixture(scope="module")
def plain():
    return case_of(PLAIN * 12)


def leaking(plain, rate: float) -> LeakResult:
    return replace(plain.leak, decay_rate=Bound(status="lower_bound", limit=rate, unit="kPa/s", n=40, method="fall"))


@pytest.mark.parametrize(("share", "leaky"), [(0.4, False), (0.12, True)])
def test_sound_stations_leak_more_through_porous_parts_that_differ(plain, share: float, leaky: bool) -> None:
    """0.33 L/min at 100 mL: fair where picks differ by 40 %, as parts do; a leak where they do by 12 %, as lips do."""
    scatter = Effect(
        now=float(np.log(share)), reference=0.0, shift=float(np.log(share)), error=0.3, n_now=40, n_reference=0,
        tail_up=0.0, tail_down=0.0, scatter=1.0,
    )  # fmt: skip
    sign = leaky_sign(leaking(plain, 5.5), 100.0, 8.9, False, OPTIONS, None, scatter)
    assert (sign.present > 0.9) == leaky
    assert (sign.present < 0.5) != leaky
    # more than that is a leak, whoever lets it in
    assert leaky_sign(leaking(plain, 60.0), 100.0, 8.9, False, OPTIONS, None, scatter).present > 0.9


def test_small_stations_leak_less_by_their_rims_alone(plain) -> None:
    """0.09 L/min at 23 mL counts as 0.12 at 60 mL, by the third root of the volume: no clear leak."""
    assert leaky_sign(leaking(plain, 6.5), 23.0, None, False, OPTIONS).present < 0.7
    assert leaky_sign(leaking(plain, 13.0), 23.0, None, False, OPTIONS).present > 0.9


def test_a_leak_slows_no_more_than_it_lowers_the_end() -> None:
    """Half the suction gone at 36 of 72 kPa lowers the end by 18 kPa: 3 kPa less do not halve an evacuation's speed."""
    ends = replace(effect("ultimate", -3.0), reference=72.0, error=1.0)
    halved = {**quiet(), "rise": effect("rise", 0.7), "ultimate": ends}
    deep = {**halved, "ultimate": replace(ends, now=54.0, shift=-18.0)}
    unknown = Circumstances(rated=False)
    against = [
        log_likelihood(("leak_steady",), of, calm(), OPTIONS, unknown)
        - log_likelihood(("exhaust_restricted",), of, calm(), OPTIONS, unknown)
        for of in (halved, deep)
    ]
    assert against[0] < against[1] - 3.0
