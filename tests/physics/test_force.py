"""Holding forces against worked figures (row names: a table of check values; g = 9.80665 m/s²)."""

import pytest

from tracekit.physics import force


@pytest.mark.parametrize(("vacuum_kpa", "expected_n"), [(60.0, 75.39822368615503), (80.0, 100.53096491487338)])
def test_theoretical_force(vacuum_kpa: float, expected_n: float) -> None:
    """A cup of 40 mm holds 75.4 N at 60 kPa and 100.5 N at 80 kPa (rows F01, F02)."""
    assert float(force.holding_force_n(vacuum_kpa, 40.0)) == pytest.approx(expected_n, rel=1e-9)


@pytest.mark.parametrize(("safety", "expected_n"), [(1.5, 44.41995), (2.0, 59.2266), (4.0, 118.4532)])
def test_lifting(safety: float, expected_n: float) -> None:
    """2 kg lifted at 5 m/s² need m(g + a)·S (rows F03)."""
    assert force.needed_force_n(2.0, 5.0, safety) == pytest.approx(expected_n, rel=1e-12)


def test_transport_and_shear() -> None:
    """Sideways with friction 0.5: 79.2 N on a horizontal face at S = 2, 236.9 N in shear at S = 4 (rows F04, F05)."""
    assert force.needed_force_n(2.0, 5.0, 2.0, "transport", 0.5) == pytest.approx(79.2266, rel=1e-9)
    assert force.needed_force_n(2.0, 5.0, 4.0, "shear", 0.5) == pytest.approx(236.9064, rel=1e-9)


def test_needed_vacuum() -> None:
    """Four cups of 40 mm hold 59.2 N at 11.78 kPa (row F06), and at most 99.9 N each at 2 000 m (row F07)."""
    assert force.needed_vacuum_kpa(59.2266, 40.0, 4) == pytest.approx(11.78275769065806, rel=1e-9)
    assert float(force.holding_force_n(79.4952, 40.0)) == pytest.approx(99.89661452626052, rel=1e-6)


def test_unknown_orientation_is_refused() -> None:
    """Another word for the orientation is an error that lists the known ones."""
    with pytest.raises(ValueError, match="expected lift, transport or shear"):
        force.needed_force_n(1.0, 0.0, 1.0, "sideways")
