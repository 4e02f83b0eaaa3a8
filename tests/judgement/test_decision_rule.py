"""station.judgement.decision_rule against published figures, and what must hold for any figures."""

from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.judgement.decision_rule import (
    Decision,
    acceptance,
    conformance_probability,
    false_accept_band,
    guard_band,
    lies_within,
    normal_cdf,
)

GUARDED = Decision("guarded", 1.65)
sizes = st.floats(1e-3, 1e3)
decisions = st.one_of(
    st.just(Decision("simple")), st.just(Decision("false_accept")),
    st.builds(Decision, st.just("guarded"), st.floats(0.1, 6.0)),
    st.builds(Decision, st.just("conformance"), least_probability=st.floats(0.5, 0.999999, exclude_min=True)))
bounds = st.tuples(st.none() | st.floats(-1e3, 1e3), st.none() | sizes).filter(lambda pair: pair != (None, None)).map(
    lambda pair: pair if None in pair else (pair[0], pair[0] + pair[1]))    # a lone limit, or a lower one and a width


@pytest.mark.parametrize(("value", "u", "lower", "upper", "probability"), [
    # Source: JCGM 106:2012, example in 7.3 (Zener diode), published 0.92
    pytest.param(-5.47, 0.05, None, -5.40, 0.9192, id="zener diode"),
    # Source: JCGM 106:2012, example in 7.4 (kinematic viscosity), published 0.66
    pytest.param(13.6, 1.8, 12.5, 16.3, 0.6626, id="oil viscosity"),
])
def test_conformance_probability(value, u, lower, upper, probability):
    assert conformance_probability(value, u, lower, upper) == pytest.approx(probability, abs=5e-5)


@pytest.mark.parametrize(("factor", "risk"), [(0.0, 0.5), (1.65, 0.0495), (2.0, 0.02275), (3.0, 0.00135)])
def test_worst_risk_of_an_accepted_value(factor, risk):
    """Source: ILAC-G8:09/2019, table 1: guard bands of 0, 0.83 U, U and 1.5 U, U = 2u."""
    edge = 10.0 - guard_band(None, 10.0, 0.1, factor)
    assert 1 - conformance_probability(edge, 0.1, None, 10.0) == pytest.approx(risk, abs=1e-4)


@pytest.mark.parametrize(("ratio", "share"), [
    (1.0, 0.898), (1.5, 0.548), (2.0, 0.411), (3.0, 0.274), (5.0, 0.165)])
def test_two_sided_guard(ratio, share):
    """Width over half the tolerance for 95 %, by ratio of tolerance to 4u.

    Source: own solution of JCGM 106:2012, 8.3; the one-sided width at ratio 1 would be 0.823.
    """
    assert guard_band(-1.0, 1.0, 2 / (4 * ratio), 1.6449) == pytest.approx(share, abs=6e-4)


def test_too_uncertain_for_any_acceptance():
    assert guard_band(-1.0, 1.0, 2 / (4 * 0.97), 1.6449) is None
    assert guard_band(-1.0, 1.0, 2 / (4 * 0.99), 1.6449) is not None
    assert acceptance(-1.0, 1.0, 5.0, GUARDED) is None


def test_an_exact_value_needs_no_guard():
    assert acceptance(24.0, 24.0, 0.0, GUARDED) == acceptance(24.0, 24.0, 0.0, Decision("simple"))
    assert acceptance(1.0, 1.0, 0.0, GUARDED).lower == 1.0
    assert acceptance(1.0, 1.0, 1e-9, GUARDED) is None


def test_the_simple_rule_deducts_nothing():
    zone = acceptance(-1.0, 1.0, 5.0, Decision("simple"))
    assert (zone.lower, zone.upper) == (-1.0, 1.0)


@pytest.mark.parametrize("u", [nan, inf, -1.0])
@pytest.mark.parametrize("rule", ["simple", "guarded", "conformance", "false_accept"])
def test_no_acceptance_without_an_uncertainty(u, rule):
    assert acceptance(-1.0, 1.0, u, Decision(rule)) is None


@pytest.mark.parametrize("value", [nan, inf, -inf])
def test_nothing_but_numbers_lies_within(value):
    for limits in ((None, None), (0.0, None), (None, 0.0), (-inf, inf)):
        assert not lies_within(value, *limits)


@given(half=sizes, u=sizes, more=st.floats(1.0, 10.0), factor=st.floats(0.1, 4.0))
def test_the_guard_grows_with_uncertainty(half, u, more, factor):
    narrow, wide = guard_band(-half, half, u, factor), guard_band(-half, half, u * more, factor)
    if narrow is None:
        assert wide is None
    else:
        assert narrow >= 0
        assert wide is None or wide >= narrow * (1 - 1e-9)


@given(half=sizes, u=sizes, factor=st.floats(0.1, 4.0))
def test_an_accepted_value_conforms_as_often_as_the_rule_says(half, u, factor):
    zone = acceptance(-half, half, u, Decision("guarded", factor))
    if zone is not None:
        for edge in (zone.lower, zone.upper):
            assert conformance_probability(edge, u, -half, half) >= normal_cdf(factor) - 1e-9


@pytest.mark.parametrize(("ratio", "multiplier"), [(1.0, 0.457), (1.5, 0.360), (2.0, 0.282), (3.0, 0.155), (4.0, 0.053),
                                                   (4.7, 0.0), (20.0, 0.0)])
def test_managed_guard_band(ratio, multiplier):
    """Width over U by TUR; source: as `false_accept_band`. Above a TUR of 4.6 no guard is needed."""
    u = 1 / (2 * ratio)
    assert false_accept_band(-1.0, 1.0, u) == pytest.approx(multiplier * 2 * u, abs=1e-3 * u)


@pytest.mark.parametrize(("lower", "upper"), [(None, 10.0), (-10.0, None)])
def test_false_accepts_at_a_single_limit(lower, upper):
    """A motor on its only limit, where acceptance is likeliest among bad ones, is accepted in 2 of 100 cases."""
    width = false_accept_band(lower, upper, 0.5)
    assert normal_cdf(-width / 0.5) == pytest.approx(0.02)


def test_no_guard_band_reaches_over_the_middle():
    assert false_accept_band(-1.0, 1.0, 1 / (2 * 0.55)) is None
    assert false_accept_band(-1.0, 1.0, 1 / (2 * 0.57)) < 1.0
    assert false_accept_band(3.0, 3.0, 0.1) is None


@pytest.mark.parametrize("decision", [Decision("simple", u_max=0.2), Decision("guarded", u_max=0.2),
                                      Decision("conformance", u_max=0.2), Decision("false_accept", u_max=0.2)])
def test_nothing_is_accepted_beyond_the_largest_uncertainty(decision):
    assert acceptance(-9.0, 9.0, 0.2, decision) is not None
    assert acceptance(-9.0, 9.0, 0.2000001, decision) is None


@given(limits=bounds, u=st.floats(0, 1e3), decision=decisions)
def test_no_rule_accepts_anything_outside_the_tolerance(limits, u, decision):
    lower, upper = limits
    zone = acceptance(lower, upper, u, decision)
    if zone is None:
        return
    assert (zone.lower is None) == (lower is None)
    assert (zone.upper is None) == (upper is None)
    assert lower is None or zone.lower >= lower
    assert upper is None or zone.upper <= upper


@given(limits=bounds, u=sizes, more=st.floats(1.0, 10.0), decision=decisions)
def test_more_uncertainty_widens_no_zone(limits, u, more, decision):
    sure, unsure = acceptance(*limits, u, decision), acceptance(*limits, u * more, decision)
    slack = 1e-9 * max(u, *(abs(limit) for limit in limits if limit is not None))
    if sure is None:
        assert unsure is None
    elif unsure is not None:
        assert sure.lower is None or unsure.lower >= sure.lower - slack
        assert sure.upper is None or unsure.upper <= sure.upper + slack


@given(limits=bounds, u=sizes, place=st.floats(0, 1), probability=st.floats(0.51, 0.9999))
def test_the_conformance_rule_accepts_what_conforms_often_enough_and_nothing_else(limits, u, place, probability):
    low, high = limits[0], limits[1]
    start = high - 9 * u if low is None else low - u
    end = low + 9 * u if high is None else high + u
    value = start + place * (end - start)
    zone = acceptance(low, high, u, Decision("conformance", least_probability=probability))
    accepted = zone is not None and lies_within(value, zone.lower, zone.upper)
    conforms = conformance_probability(value, u, low, high)
    if abs(conforms - probability) > 1e-9:
        assert accepted == (conforms > probability)
