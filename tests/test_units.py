"""The table of units."""

from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station import units
from station.errors import UsageError


@pytest.mark.parametrize(("number", "unit", "si"), [
    (1500.0, "rpm", 50 * pi),
    (10.0, "V/krpm", 0.0954929658551372),  # 10 x 60/(2 pi 1000): physics of units
    (180.0, "deg", pi),
    (2.5, "Mohm", 2.5e6),
    (23.4, "degC", 23.4),
])
def test_to_si(number, unit, si):
    assert units.to_si(number, unit) == pytest.approx(si, rel=1e-12)


@given(st.sampled_from(units.names()), st.floats(-1e6, 1e6))
def test_there_and_back(unit, number):
    assert units.from_si(units.to_si(number, unit), unit) == pytest.approx(number, rel=1e-12, abs=1e-12)


def test_factor_refuses_another_dimension():
    with pytest.raises(UsageError, match="resistance"):
        units.factor("V", "ohm")


def test_unknown_unit_lists_the_known():
    with pytest.raises(UsageError, match="V/krpm"):
        units.to_si(1.0, "furlong")
