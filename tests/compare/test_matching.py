"""Matching by part type."""

from dataclasses import replace

import numpy as np
import pytest

from tests.compare.compared_stations import Scene, recording
from tracekit.compare.matching import PartMix, match_parts, part_mix
from tracekit.compare.measures import Measure, measure_named
from tracekit.compare.values import SideValues, side_values
from tracekit.model.comparison import Recording
from tracekit.options.compare import CompareOptions

OPTIONS = CompareOptions()
HALF = {"plain": (0.0, 0.5), "glazed": (3.0, 0.5)}
MOSTLY = {"plain": (0.0, 0.2), "glazed": (3.0, 0.8)}


def _leak() -> Measure:
    found = measure_named("decay_rate_kpa_s")
    assert found is not None
    return found


def _sides(before: Recording, after: Recording, mix: PartMix) -> tuple[SideValues, SideValues]:
    return side_values(_leak(), (before,), mix.columns), side_values(_leak(), (after,), mix.columns)


def test_the_column_is_found() -> None:
    """A context column with a few values that both sides share tells part types apart."""
    before, after = recording(1, 150, Scene(parts=HALF)), recording(2, 150, Scene(parts=MOSTLY))
    mix = part_mix((before,), (after,), (), OPTIONS)
    assert mix.columns == ("context_tile",)
    assert set(mix.common) == {"plain", "glazed"}
    assert 0.15 < mix.differs < 0.45


def test_the_column_may_be_named_either_way() -> None:
    """The column may be given with or without its prefix."""
    sides = (recording(1, 50, Scene(parts=HALF)),), (recording(2, 50, Scene(parts=HALF)),)
    assert part_mix(*sides, ("tile",), OPTIONS) == part_mix(*sides, ("context_tile",), OPTIONS)


def test_without_a_column_nothing_is_matched() -> None:
    """No context column, no matching: the sides come back as they are."""
    before, after = recording(1, 50), recording(2, 50)
    mix = part_mix((before,), (after,), (), OPTIONS)
    assert mix == PartMix()
    sides = _sides(before, after, mix)
    assert match_parts(sides, mix) == sides


def test_a_number_is_no_part_type() -> None:
    """A column with more values than part types has, as a serial number, does not match."""
    sides = (recording(1, 50, Scene(parts=HALF)),), (recording(2, 50, Scene(parts=HALF)),)
    assert part_mix(*sides, (), replace(OPTIONS, part_types=1)) == PartMix()


def test_another_mix_is_no_change() -> None:
    """More glazed tiles raise the plain median by kPa/s; matched, the change is gone."""
    before, after = recording(1, 400, Scene(parts=HALF)), recording(2, 400, Scene(parts=MOSTLY))
    mix = part_mix((before,), (after,), (), OPTIONS)
    plain = _sides(before, after, mix)
    assert np.median(plain[1].values) - np.median(plain[0].values) > 1.0
    matched = match_parts(plain, mix)
    assert np.median(matched[1].values) - np.median(matched[0].values) == pytest.approx(0.0, abs=0.15)
    shares = [[side.weights[side.parts == p].sum() / side.weights.sum() for p in mix.common] for side in matched]
    assert shares[0] == pytest.approx(shares[1])


def test_a_change_stays() -> None:
    """A leak that fell on all parts falls by as much after matching."""
    before = recording(1, 400, Scene(parts=HALF))
    after = recording(2, 400, Scene(parts=MOSTLY, medians={"decay_rate_kpa_s": 4.0}))
    mix = part_mix((before,), (after,), (), OPTIONS)
    matched = match_parts(_sides(before, after, mix), mix)
    assert np.median(matched[1].values) - np.median(matched[0].values) == pytest.approx(-1.0, abs=0.15)


def test_a_part_of_one_side_is_left_out() -> None:
    """A part type that only one side ran cannot be compared."""
    before = recording(1, 100, Scene(parts=HALF))
    after = recording(2, 100, Scene(parts={"plain": (0.0, 0.6), "matt": (1.0, 0.4)}))
    mix = part_mix((before,), (after,), ("tile",), OPTIONS)
    assert mix.common == ("plain",)
    matched = match_parts(_sides(before, after, mix), mix)
    assert {p for side in matched for p in side.parts.tolist()} == {"plain"}


def test_nothing_in_common() -> None:
    """Sides without a common part type have nothing left to compare."""
    before = recording(1, 40, Scene(parts={"plain": (0.0, 1.0)}))
    after = recording(2, 40, Scene(parts={"matt": (0.0, 1.0)}))
    mix = part_mix((before,), (after,), ("tile",), OPTIONS)
    assert [len(side) for side in match_parts(_sides(before, after, mix), mix)] == [0, 0]
