"""Outside check: 1 mbar = 100 Pa exactly (NIST SP 811, appendix B.8, from memory); the rest are SI prefixes."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.units import Quantity, Unit, resolution_in_base, to_base

FACTORS = {
    Unit.G: Fraction(1),
    Unit.MG: Fraction(1, 1000),
    Unit.KG: Fraction(1000),
    Unit.PA: Fraction(1),
    Unit.HPA: Fraction(100),
    Unit.KPA: Fraction(1000),
    Unit.MBAR: Fraction(100),
}


def test_each_unit_has_a_factor_here() -> None:
    assert set(FACTORS) == set(Unit)


@pytest.mark.parametrize(
    ("number", "unit", "value"),
    [
        ("0.412356", Unit.KG, 412.356),
        ("412356", Unit.MG, 412.356),
        ("412.356", Unit.G, 412.356),
        ("2.5123", Unit.KPA, 2512.3),
        ("25.123", Unit.MBAR, 2512.3),
        ("25.123", Unit.HPA, 2512.3),
        ("0.1", Unit.KPA, 100.0),
    ],
)
def test_a_converted_number_is_the_float_of_the_decimal(number: str, unit: Unit, value: float) -> None:
    assert to_base(number, unit) == value


@settings(deadline=None)
@given(st.integers(0, 10**12), st.integers(0, 9), st.sampled_from(Unit))
def test_conversion_is_the_nearest_float_of_the_exact_value(steps: int, decimals: int, unit: Unit) -> None:
    whole, part = divmod(steps, 10**decimals)
    number = f"{whole}.{part:0{decimals}d}" if decimals else str(whole)

    exact = Fraction(steps, 10**decimals) * FACTORS[unit]

    assert to_base(number, unit) == float(exact)
    assert resolution_in_base(decimals, unit) == float(Fraction(1, 10**decimals) * FACTORS[unit])


def test_units_know_their_quantity_and_base() -> None:
    assert {unit for unit in Unit if unit.quantity is Quantity.MASS} == {Unit.G, Unit.MG, Unit.KG}
    assert all(unit.base == ("g" if unit.quantity is Quantity.MASS else "Pa") for unit in Unit)
