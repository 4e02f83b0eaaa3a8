"""station.simulated.hall_sensor against published code orders and the arcsine laws of a latch."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.simulated.hall_sensor import HallSensor, levels, switching

EDGE_S = (1e-6, 1e-6)


def both_ways(sensor, poles, strength=1.0):
    return (switching(sensor, poles, strength, forward=True), switching(sensor, poles, strength, forward=False))


def codes(rises, pairs=1, *, reverse=False, change=None):
    """Codes met in one revolution, most significant sensor a, repeats removed."""
    angle = np.linspace(0.0, 2 * np.pi, 7200 * pairs, endpoint=False)[::-1 if reverse else 1]
    speed = np.full(angle.size, -100.0 if reverse else 100.0)
    bits = []
    for name, rise in zip("abc", rises, strict=True):
        sensor = HallSensor(rise, 0.01, -0.01, inverted=change == name)
        bits.append(levels(sensor, both_ways(sensor, np.ones(2 * pairs)), angle, speed, EDGE_S) > 0.5)
    seen = [f"{int(a)}{int(b)}{int(c)}" for a, b, c in zip(*bits, strict=True)]
    changes = [second for first, second in pairwise([seen[-1], *seen]) if first != second]
    return changes


def rotated(wanted, seen):
    start = wanted.index(seen[0])
    return wanted[start:] + wanted[:start]


@pytest.mark.parametrize(("rises", "wanted"), [
    pytest.param((0, 120, 240), ["101", "100", "110", "010", "011", "001"], id="120 degrees"),
    pytest.param((0, 60, 120), ["100", "110", "111", "011", "001", "000"], id="60 degrees"),
])
def test_code_order_forward_and_backward(rises, wanted):
    """Six-step order 5-4-6-2-3-1 of 120 degree sensors is the usual published one; 60 degrees: from memory."""
    forward, backward = codes(rises), codes(rises, reverse=True)
    assert forward == rotated(wanted, forward)
    assert backward == rotated(wanted[::-1], backward)


@pytest.mark.parametrize(("name", "absent"), [("a", {"011", "100"}), ("b", {"010", "101"}), ("c", {"001", "110"})])
def test_absent_codes_name_the_inverted_sensor(name, absent):
    everything = {f"{n:03b}" for n in range(8)}
    assert everything - set(codes((0, 120, 240), change=name)) == absent


@pytest.mark.parametrize(("pairs", "edges"), [(4, 24), (5, 30), (40, 240)])
def test_edges_per_revolution(pairs, edges):
    assert len(codes((0, 120, 240), pairs)) == edges


@pytest.mark.parametrize("pairs", [4, 5])
def test_reversed_magnet_merges_three_poles(pairs):
    poles = np.ones(2 * pairs)
    poles[1] = -1.0
    sensors = [HallSensor(rise, 0.01, -0.01) for rise in (0.0, 120.0, 240.0)]
    assert sum(switching(s, poles, 1.0, forward=True).angle.size for s in sensors) == 6 * pairs - 6


def test_latch_lags_by_the_arcsine_in_both_directions():
    """5 mT in 50 mT: 5.739 degrees late each way, 11.478 between directions."""
    sensor = HallSensor(30.0, 0.1, -0.1)
    forward, backward = both_ways(sensor, np.ones(2))
    rise = np.degrees(forward.angle[forward.state][0])
    # Backward the sensor goes high at the other end of its half cycle: at 210 degrees, later in time again.
    back = 360.0 - np.degrees(backward.angle[backward.state][0])
    assert rise - 30.0 == pytest.approx(5.739, abs=1e-3)
    assert 210.0 - back == pytest.approx(5.739, abs=1e-3)


def test_asymmetric_latch_has_the_known_duty():
    """Operate 8 mT, release -2 mT, field 50 mT: 0.48079 of the cycle high."""
    course = switching(HallSensor(0.0, 0.16, -0.04), np.ones(2), 1.0, forward=True)
    rise, fall = course.angle[course.state][0], course.angle[~course.state][0]
    assert ((fall - rise) % (2 * np.pi)) / (2 * np.pi) == pytest.approx(0.48079, abs=1e-5)


def test_sensor_whose_field_is_too_weak_never_switches():
    course = switching(HallSensor(0.0, 0.5, -0.5), np.ones(4), 0.4, forward=True)
    assert course.angle.size == 0


@settings(max_examples=25, deadline=None)
@given(rise=st.floats(0.0, 360.0), operate=st.floats(0.001, 0.6), release=st.floats(-0.6, -0.001),
       pairs=st.integers(1, 6), forward=st.booleans())
def test_states_alternate_and_edges_count_twice_per_pole_pair(rise, operate, release, pairs, forward):
    course = switching(HallSensor(rise, operate, release), np.ones(2 * pairs), 1.0, forward=forward)
    assert course.angle.size == 2 * pairs
    assert (course.state[1:] != course.state[:-1]).all()
    assert (np.diff(course.angle) > 0).all()


def test_edge_is_exponential_in_time_and_bounce_falls_back_twice():
    sensor, clean_speed = HallSensor(0.0, 0.01, -0.01), 100.0
    course = both_ways(sensor, np.ones(2))
    edge = course[0].angle[course[0].state][0]
    late = np.array([0.0, 1e-6, 20e-6])
    out = levels(sensor, course, edge + 1e-12 + late * clean_speed, np.full(3, clean_speed), (1e-6, 1e-6))
    assert out == pytest.approx([0.03, 0.98 - 0.95 / np.e, 0.98], abs=1e-3)
    bouncing = HallSensor(0.0, 0.01, -0.01, bounces=True)
    times = np.arange(0.0, 200e-6, 1e-6)
    out = levels(bouncing, course, edge + 1e-12 + times * clean_speed, np.full(times.size, clean_speed), EDGE_S)
    assert np.count_nonzero(np.diff((out > 0.5).astype(int))) == 4
