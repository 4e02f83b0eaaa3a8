"""Winding resistance: temperature, open lines, spread and uncertainty."""

from math import inf, isfinite, nan, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.analysis.winding import at_temperature, phase_resistances, winding_resistance
from station.motor import MotorType, Reference

COPPER = MotorType("CP-40", 4, "star", 48.0, "clockwise", "drive end", None, Reference(20.0, -0.0011, 235.0))
ALL = {f"winding_resistance.{line}" for line in ("ab", "bc", "ca")} | {"winding_resistance_spread"}
ohms = st.floats(1e-3, 1e3)


def _measure(ab, bc, ca, *, temperature=20.0, gain=1e-4, offset=1e-5, temperature_u=0.5):
    return winding_resistance({"ab": ab, "bc": bc, "ca": ca}, temperature, COPPER, gain, offset, temperature_u)


def test_brought_to_the_reference_temperature():
    found = _measure(0.573, 0.573, 0.573, temperature=25.0)
    assert found["winding_resistance.ab"].value == pytest.approx(0.573 * 255 / 260)
    assert found["winding_resistance.ab"].unit == "ohm"
    assert set(found) == ALL


def test_uncertainty_of_a_line():
    line = _measure(0.5, 0.5, 0.5, temperature=20.0, gain=1e-3, offset=2e-4, temperature_u=1.0)["winding_resistance.bc"]
    expected = sqrt((0.5 * 1e-3) ** 2 + 2e-4**2 + (0.5 / 255) ** 2) / sqrt(3)
    assert line.u == pytest.approx(expected)
    assert {row.source for row in line.budget} == {"ohmmeter gain", "ohmmeter offset", "temperature of the motor"}


def test_spread_is_the_largest_deviation_from_the_mean():
    found = _measure(0.50, 0.50, 0.53)
    assert found["winding_resistance_spread"].value == pytest.approx(100 * 0.02 / 0.51)
    assert found["winding_resistance_spread"].unit == "%"


def test_gain_and_temperature_cancel_in_the_spread():
    small, large = (_measure(0.5, 0.5, 0.53, gain=g, temperature_u=u)["winding_resistance_spread"].u
                    for g, u in ((1e-5, 0.1), (1e-1, 20.0)))
    assert small == large > 0


def test_spread_follows_the_offset_of_each_line():
    u = _measure(0.45, 0.45, 0.6, offset=3e-3)["winding_resistance_spread"].u
    assert u == pytest.approx(100 * 3e-3 / sqrt(3) * sqrt(2 / 3) / 0.5)


def test_spread_of_like_lines_is_less_sure_because_it_reads_high():
    u = _measure(0.5, 0.5, 0.5, offset=3e-3)["winding_resistance_spread"].u
    assert u > 1.2 * 100 * 3e-3 / sqrt(3) * sqrt(2 / 3) / 0.5


@pytest.mark.parametrize("absent", [inf, nan, -inf])
def test_a_line_without_a_number_has_no_measurement_and_no_spread(absent):
    assert set(_measure(0.5, absent, 0.5)) == {"winding_resistance.ab", "winding_resistance.ca"}
    assert _measure(absent, absent, absent) == {}


def test_a_line_that_was_not_indicated_has_no_measurement():
    found = winding_resistance({"ab": 0.5}, 20.0, COPPER, 1e-4, 1e-5, 0.5)
    assert set(found) == {"winding_resistance.ab"}


def test_leads_on_one_terminal_have_no_spread():
    assert set(_measure(0.0, 0.0, 0.0)) == ALL - {"winding_resistance_spread"}


@given(resistance=ohms, there=st.floats(-40, 180), back=st.floats(-40, 180))
def test_temperature_correction_undoes_itself(resistance, there, back):
    assert at_temperature(at_temperature(resistance, there, back), back, there) == pytest.approx(resistance)


@given(a=ohms, b=ohms, c=ohms)
def test_star_phases_give_their_lines_back(a, b, c):
    found = phase_resistances({"ab": a + b, "bc": b + c, "ca": c + a}, "star")
    assert [found[phase] for phase in "abc"] == pytest.approx([a, b, c], rel=1e-6, abs=1e-9)


@given(ab=st.floats(0.1, 10), bc=st.floats(0.1, 10), ca=st.floats(0.1, 10))
def test_delta_phases_give_their_lines_back(ab, bc, ca):
    total = ab + bc + ca
    lines = {"ab": ab * (bc + ca) / total, "bc": bc * (ca + ab) / total, "ca": ca * (ab + bc) / total}
    assert phase_resistances(lines, "delta") == pytest.approx({"ab": ab, "bc": bc, "ca": ca}, rel=1e-6)


readings = st.sampled_from([nan, inf, -inf, 0.0]) | st.floats(-1e9, -1e-6) | st.floats(1e-6, 1e9)


@given(st.dictionaries(st.sampled_from(["ab", "bc", "ca"]), readings))
def test_nothing_but_numbers_is_reported(indications):
    found = winding_resistance(indications, 20.0, COPPER, 1e-4, 1e-5, 0.5)
    assert all(isfinite(m.value) and isfinite(m.u) for m in found.values())
    measured = {line for line, value in indications.items() if isfinite(value)}
    assert {f"winding_resistance.{line}" for line in measured} == set(found) - {"winding_resistance_spread"}
