"""Sensor places seen from the rotor's own zero, lag apart from position."""

from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.analysis.hall_view import pairs_of, view_of_both, view_of_motor, view_of_one, zero_shift
from station.characteristic import unit_of
from station.measurement import Measurement

LINES = ("ab", "bc", "ca")


def numbers(values):
    return {name: Measurement(name, value, unit_of(name), 0.01, inf) for name, value in values.items()}


def edges(speed, lag=0.0, wide=180.0):
    """Sensors at 10, 130, 250 degrees, each edge later in time by `lag`."""
    late = lag if speed > 0 else -lag
    found = {"speed": speed, "electrical_frequency": abs(speed) / 15}
    for sensor, rise in zip("abc", (10.0, 130.0, 250.0), strict=True):
        found[f"hall_angle_rise.{sensor}"] = (rise + late + (180.0 - wide) / 2) % 360.0
        found[f"hall_angle_fall.{sensor}"] = (rise + late + (180.0 + wide) / 2) % 360.0
        found[f"hall_duty.{sensor}"] = wide / 3.6
    return numbers(found)


@given(lag=st.floats(-20.0, 20.0), wide=st.floats(120.0, 240.0))
def test_lag_stands_apart_from_position(lag, wide):
    """Source: lag later in time is a larger angle forward, a smaller one in reverse (derived)."""
    found = view_of_both(edges(1500.0, lag, wide), edges(-1500.0, lag, wide))
    assert found.both_ways
    assert list(found.middles.values()) == pytest.approx([10.0, 130.0, 250.0], abs=1e-6)
    assert list(found.lags.values()) == pytest.approx([lag] * 3, abs=1e-6)
    assert list(found.duties.values()) == pytest.approx([wide / 3.6] * 3)


def test_one_direction_leaves_them_together():
    found = view_of_one(edges(1500.0, 5.0))
    assert not found.both_ways
    assert list(found.middles.values()) == pytest.approx([15.0, 135.0, 255.0])
    assert found.lags == {}


@given(left=st.floats(0.1, 1.0), phase=st.integers(0, 2), turn=st.floats(-0.3, 0.3), order=st.sampled_from([1, -1]))
def test_the_zero_of_a_faulty_phase_is_taken_back(left, phase, turn, order):
    """Angles count from v_ab; the sound rotor's zero is where the sum of the phases has it."""
    own = np.exp(-2j * np.pi / 3 * order * np.arange(3))
    sound = own - np.roll(own, -1)
    own[phase] *= left * np.exp(1j * turn)
    lines = own - np.roll(own, -1)
    away = np.degrees(np.angle(lines[0] / sound[0]))   # v_ab comes early by so much
    late = [-float(np.degrees(np.angle(line / lines[0]))) for line in lines]
    measured = numbers({"phase_order": float(order)}
                       | {f"back_emf_constant_fundamental.{k}": abs(v) for k, v in zip(LINES, lines, strict=True)}
                       | {"phase_angle.bc": late[1], "phase_angle.ca": late[2]})
    # the positive sequence itself turns a little with the faulty phase's own angle
    drift = np.degrees(np.angle(2 + left * np.exp(1j * turn)))
    assert zero_shift(measured) == pytest.approx(-away + drift, abs=1e-6)


def test_captures_pair_by_speed_and_the_fastest_comes_first():
    captures = [edges(1000.0), edges(-1010.0), edges(2000.0), edges(-2000.0), edges(3000.0), {}]
    assert [(one["speed"].value, other["speed"].value) for one, other in pairs_of(captures)] == [
        (2000.0, -2000.0), (1000.0, -1010.0)]


def test_without_sensors_unequal_only_what_switches_is_placed():
    measured = edges(1500.0)
    del measured["hall_angle_fall.b"]
    assert list(view_of_one(measured).middles) == ["a", "c"]
    view = view_of_both(edges(1500.0), edges(-1500.0)).without({"b"})
    assert list(view.middles) == list(view.lags) == ["a", "c"]
    assert view.without_lags().lags == {}


def test_another_speed_stands_beside_the_fastest():
    captures = [edges(1000.0, 3.0), edges(2000.0, 5.0), edges(-2000.0, 5.0), edges(-1000.0, 3.0)]
    found = view_of_motor(captures)
    assert found.lags["a"] == pytest.approx(5.0)
    assert found.slower is not None
    assert found.slower.lags["a"] == pytest.approx(3.0)
    assert view_of_motor(captures[1:3]).slower is None
    assert not view_of_motor(captures[:1]).both_ways
