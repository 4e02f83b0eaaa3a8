"""station.analysis.shaft_motion: what it fits it gives back, and its speeds are the slopes of its angles."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.analysis.shaft_motion import ripple_orders, steady_motion

TIMES = np.linspace(0.0, 0.4, 400)


def turned(pole_pairs=4, rpm=1500.0, ripple=0.02, drift=0.5):
    """Electrical angle at TIMES: `ripple` rad once per revolution, `drift` rad of the square of time over all of it."""
    x = (TIMES - 0.2) / 0.4
    mechanical = rpm * 2 * np.pi / 60 * 0.4 * x + drift * x**2 / pole_pairs
    return pole_pairs * mechanical + ripple * np.sin(mechanical + 0.7) + 3.0


@settings(max_examples=25, deadline=None)
@given(rpm=st.floats(900, 6000), ripple=st.floats(-0.05, 0.05), drift=st.floats(-2, 2), reverse=st.booleans())
def test_what_it_fits_it_gives_back(rpm, ripple, drift, reverse):
    angle = turned(4, -rpm if reverse else rpm, ripple, drift)
    motion, rest = steady_motion(TIMES, 0.4, angle, 4)
    assert motion.at(TIMES)[0] == pytest.approx(angle, abs=2e-4)  # the carrier is bent by ripple a little
    assert rest == pytest.approx(angle - motion.at(TIMES)[0], abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(order=st.floats(0.4, 7.0), a=st.floats(-0.1, 0.1), b=st.floats(-0.1, 0.1), bend=st.floats(-1, 1))
def test_speed_is_the_slope_of_the_angle(order, a, b, bend):
    motion = steady_motion(TIMES, 0.4, turned(), 4)[0].with_order(order, 0.0).with_degree()
    step = np.zeros(motion.columns(TIMES).shape[0])
    step[3], step[motion.polynomial.size + 3], step[-1] = bend, a, b
    motion = motion.moved(step)
    fine = np.linspace(0.1, 0.3, 20_001)
    angle, speed = motion.at(fine)
    assert speed[1:-1] == pytest.approx(np.gradient(angle, fine)[1:-1], rel=1e-5)
    coefficients = np.concatenate([motion.polynomial, motion.in_phase, motion.quadrature])
    assert coefficients @ motion.columns(fine) == pytest.approx(angle)
    assert coefficients @ motion.slopes(fine) == pytest.approx(speed)


def test_order_columns_are_derivatives_after_the_order():
    motion = steady_motion(TIMES, 0.4, turned(), 4)[0].with_order(3.7, 0.1)
    assert motion.movable.size == 0                              # no amplitude yet, so its place has no effect
    step = np.zeros(motion.columns(TIMES).shape[0])
    step[-1], step[-1 - motion.orders.size] = 0.003, -0.002
    motion = motion.moved(step)

    def at(order):
        other = motion.with_order(order, 0.0)
        factors = np.zeros(other.columns(TIMES).shape[0])
        factors[-1], factors[-1 - other.orders.size] = 0.003, -0.002
        return other.moved(factors)

    change = (at(3.7 + 1e-4).at(TIMES)[0] - at(3.7 - 1e-4).at(TIMES)[0]) / 2e-4
    assert motion.order_columns(TIMES)[0] == pytest.approx(change, rel=1e-4, abs=1e-9)


def test_motions_share_columns_as_long_as_only_coefficients_change():
    motion = steady_motion(TIMES, 0.4, turned(), 4)[0]
    columns = motion.columns(TIMES)
    moved = motion.moved(np.linspace(0.01, 0.09, columns.shape[0]))
    assert moved.has_columns_of(motion)
    assert np.array_equal(moved.on(columns), moved.at(TIMES))
    other = steady_motion(TIMES, 0.4, turned(rpm=1503.0), 4)[0]       # another carrier
    tuned = replace(motion, orders=motion.orders + np.array([0.0, 0.0, 0.01]))
    later = replace(motion, centre=motion.centre + 1e-3)
    for unlike in (other, tuned, later, motion.with_order(3.7, 0.1), motion.with_degree()):
        assert not unlike.has_columns_of(motion)


def test_an_order_close_to_a_known_one_tunes_it_instead_of_adding_another():
    motion = steady_motion(TIMES, 0.4, turned(), 4)[0]
    close = motion.with_order(1.02, motion.cycle)
    assert close.orders.size == motion.orders.size
    assert list(close.tuned) == [True, False, False]
    assert motion.with_order(4.9, motion.cycle).orders.size == motion.orders.size + 1
    assert motion.cycle == pytest.approx(1 / 10, rel=1e-3)         # ten revolutions in the capture


@pytest.mark.parametrize(("pole_pairs", "orders"), [(1, (1, 2)), (2, (1, 2, 3)), (3, (1, 2, 3)), (20, (1, 2, 3))])
def test_ripple_is_looked_for_where_it_can_be_told_from_harmonics(pole_pairs, orders):
    """Three times per electrical period it cannot, which is order 3 of one pole pair."""
    assert ripple_orders(pole_pairs) == orders
