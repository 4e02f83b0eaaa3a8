"""Risks against counted motors, and what must hold for any figures. Published ones: tests/published."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.study.risk import (
    Interval,
    Normal,
    Risks,
    conforming,
    global_risks,
    pass_probability,
    risks_of,
    whole_motor,
    whole_motors,
)

TOLERANCE = Interval(-1.0, 1.0)
processes = st.builds(Normal, st.floats(-3, 3), st.floats(1e-3, 5))
tolerances = st.one_of(st.just(TOLERANCE), st.builds(Interval, st.floats(-2, 2), st.none()),
                       st.builds(Interval, st.none(), st.floats(-2, 2)))


def drawn_in(tolerance, width):
    return Interval(None if tolerance.lower is None else tolerance.lower + width,
                    None if tolerance.upper is None else tolerance.upper - width)


def shares(risks):
    return np.array([risks.consumer, risks.producer, risks.accepted, risks.conforming])


@pytest.mark.parametrize(("process", "u", "tolerance", "width"), [
    (Normal(0.3, 0.5), 0.2, TOLERANCE, 0.0), (Normal(-0.8, 0.7), 0.4, TOLERANCE, 0.3),
    (Normal(0.5, 0.4), 0.3, Interval(None, 1.0), 0.2), (Normal(0.5, 2.0), 0.02, Interval(0.0, None), 0.02)])
def test_risks_are_what_counting_motors_gives(process, u, tolerance, width):
    rng, motors = np.random.default_rng(5), 400_000
    accepted = drawn_in(tolerance, width)
    true = rng.normal(process.mean, process.sd, motors)
    good, taken = conforming(true, tolerance), conforming(true + rng.normal(0, u, motors), accepted)
    counted = np.array([np.mean(part) for part in (~good & taken, good & ~taken, taken, good)])
    found = shares(global_risks(process, u, tolerance, accepted))
    assert np.all(np.abs(found - counted) < 4.5 * np.sqrt(found * (1 - found) / motors))


def test_sharp_things_are_not_missed():
    """A meter 10 000 times sharper than the process, against the normal distribution itself."""
    risks = global_risks(Normal(0.0, 1.0), 1e-4, TOLERANCE, TOLERANCE)
    assert risks.conforming == pytest.approx(0.682689492137086, abs=1e-12)
    assert risks.accepted == pytest.approx(risks.conforming, abs=1e-8)
    # Of motors as dense as n(1) around a limit, u / sqrt(2 pi) on each side are judged wrongly, at both limits.
    expected = 2 * 0.24197072451914337 * 1e-4 / np.sqrt(2 * np.pi)
    assert (risks.consumer, risks.producer) == pytest.approx((expected, expected), rel=1e-3)


def test_exact_values_bear_no_risk():
    risks = global_risks(Normal(0.2, 0.8), 0.0, TOLERANCE, TOLERANCE)
    assert (risks.consumer, risks.producer) == (0.0, 0.0)
    assert risks.accepted == risks.conforming
    same = global_risks(Normal(24.0, 0.0), 0.0, Interval(24.0, 24.0), Interval(24.0, 24.0))
    assert shares(same) == pytest.approx([0, 0, 1, 1])


def test_motors_that_are_all_alike_are_accepted_as_their_value_says():
    risks = global_risks(Normal(1.1, 0.0), 0.1, TOLERANCE, TOLERANCE)
    assert risks.consumer == risks.accepted == pytest.approx(0.158655, abs=1e-6)
    assert (risks.producer, risks.conforming) == (0.0, 0.0)


def test_where_nothing_is_accepted_every_good_motor_is_rejected():
    risks = global_risks(Normal(0.0, 1.0), 0.5, TOLERANCE, None)
    assert (risks.consumer, risks.accepted, risks.among_accepted) == (0.0, 0.0, 0.0)
    assert risks.producer == risks.conforming > 0.6


@given(process=processes, u=st.floats(0, 3), tolerance=tolerances, width=st.floats(0, 0.9), more=st.floats(0, 0.09))
def test_a_wider_guard_band_protects_the_consumer_and_costs_the_producer(process, u, tolerance, width, more):
    narrow = global_risks(process, u, tolerance, drawn_in(tolerance, width))
    wide = global_risks(process, u, tolerance, drawn_in(tolerance, width + more))
    assert wide.consumer <= narrow.consumer + 1e-9
    assert wide.producer >= narrow.producer - 1e-9
    assert wide.conforming == pytest.approx(narrow.conforming, abs=1e-9)


@given(process=processes, u=st.floats(0, 3), tolerance=tolerances, width=st.floats(0, 0.9))
def test_shares_fit_together(process, u, tolerance, width):
    risks = global_risks(process, u, tolerance, drawn_in(tolerance, width))
    assert np.all(shares(risks) >= -1e-12)
    assert np.all(shares(risks) <= 1 + 1e-9)
    assert risks.accepted - risks.consumer == pytest.approx(risks.conforming - risks.producer, abs=1e-9)


@given(st.floats(1e-3, 1e3), st.floats(-50, 50))
def test_units_and_zeros_do_not_matter(scale, shift):
    plain = global_risks(Normal(0.4, 0.5), 0.2, TOLERANCE, Interval(-0.7, 0.7))
    other = global_risks(Normal(0.4 * scale + shift, 0.5 * scale), 0.2 * scale,
                         Interval(shift - scale, shift + scale), Interval(shift - 0.7 * scale, shift + 0.7 * scale))
    assert shares(other) == pytest.approx(shares(plain), abs=1e-6)


def test_motors_of_known_values():
    risks = risks_of(np.array([0.0, 0.95, 1.05, 5.0]), 0.1, TOLERANCE, TOLERANCE)
    edge = 0.3085375    # beyond half a standard deviation
    assert shares(risks) == pytest.approx([edge / 4, edge / 4, 2 / 4, 2 / 4], abs=1e-6)


def test_a_motor_of_independent_characteristics():
    one = Risks(consumer=0.01, producer=0.03, accepted=0.90, conforming=0.92)
    both = whole_motor([one, one])
    assert both.accepted == pytest.approx(0.81)
    assert both.conforming == pytest.approx(0.92**2)
    assert both.consumer == pytest.approx(0.90**2 - 0.89**2)
    assert both.producer == pytest.approx(0.92**2 - 0.89**2)


def test_independent_motors_agree_whichever_way_they_are_reckoned():
    rng = np.random.default_rng(3)
    values = rng.normal(0.2, 0.5, (200_000, 3))
    conform = conforming(values, TOLERANCE)
    passes = pass_probability(values, 0.2, TOLERANCE)
    apart = whole_motor([global_risks(Normal(0.2, 0.5), 0.2, TOLERANCE, TOLERANCE)] * 3)
    assert shares(whole_motors(conform, passes)) == pytest.approx(shares(apart), abs=0.003)


def test_characteristics_that_are_bad_together_are_no_worse_than_one():
    """Three names for one true value: a motor is bad by all or by none, and each measurement is a chance to see it."""
    values = np.repeat(np.random.default_rng(4).normal(0.2, 0.6, (50_000, 1)), 3, axis=1)
    together = whole_motors(conforming(values, TOLERANCE), pass_probability(values, 0.3, TOLERANCE))
    one = global_risks(Normal(0.2, 0.6), 0.3, TOLERANCE, TOLERANCE)
    assert together.conforming == pytest.approx(one.conforming, abs=0.007)
    assert together.consumer < one.consumer
    assert whole_motor([one] * 3).conforming < 0.8 * together.conforming
