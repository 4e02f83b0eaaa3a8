"""Conversions between conventions: each against power, which no convention changes."""

from math import pi, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.analysis import conversion

constants = st.floats(1e-3, 10.0)


@given(constants)
def test_sine_torque_is_electrical_power_over_speed(peak):
    """Three phases of e and i in phase: 3/2 of the product of their peaks."""
    power_per_speed = 1.5 * (peak / sqrt(3)) * 1.0
    assert conversion.torque_constant_peak(peak) == pytest.approx(power_per_speed)
    assert conversion.torque_constant_rms(peak) == pytest.approx(power_per_speed * sqrt(2))


@given(constants)
def test_six_step_torque_is_the_mean_over_a_sector(peak):
    angle = np.linspace(-pi / 6, pi / 6, 20001)
    mean = float(np.mean(peak * np.cos(angle)))
    assert conversion.torque_constant_six_step(peak) == pytest.approx(mean, rel=1e-4)


@given(constants, st.integers(1, 40))
def test_flux_linkage_is_what_the_voltage_integrates_to(peak, pole_pairs):
    angle = np.linspace(0, pi, 20001)
    phase_volts_per_electrical_speed = peak / sqrt(3) / pole_pairs
    swing = np.trapezoid(phase_volts_per_electrical_speed * np.sin(angle), angle)
    assert conversion.flux_linkage_of_phase(peak, pole_pairs) == pytest.approx(float(swing) / 2, rel=1e-6)


@given(constants, st.floats(1.0, 100.0))
def test_at_the_touch_speed_the_terminals_carry_that_voltage(peak, limit):
    speed = conversion.touch_voltage_speed(peak, limit)
    assert peak * speed / sqrt(2) == pytest.approx(limit)
    assert conversion.touch_voltage_speed(conversion.peak_of_rms(peak), limit) * peak == pytest.approx(limit)


def test_speed_constant_is_the_reciprocal_of_torque_per_ampere():
    assert conversion.speed_constant(0.05) == pytest.approx(20.0)


def test_star_equivalent_keeps_the_terminals():
    phases = np.exp(-2j * pi / 3 * np.arange(3)) * conversion.star_equivalent(7.0)
    assert np.abs(phases - np.roll(phases, -1)) == pytest.approx([7.0] * 3)
