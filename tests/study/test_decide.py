"""Deciding many values at once comes to what the scalar rule says of each, to the last decision."""

from dataclasses import replace
from math import inf, nan, nextafter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.judgement.decision_rule import Decision, acceptance
from station.study.decide import FAIL, NO_RESULT, PASS, Bound, decide

RULES = [Decision("simple"), Decision("guarded"), Decision("guarded", 3.0), Decision("false_accept"),
         Decision("conformance", least_probability=0.99), replace(Decision("guarded"), u_max=0.3)]
LIMITS = [(-4.0, 4.0), (None, 6.0), (9.6, None), (0.0, 0.0), (1e-3, 3e-3), (-122.0, -118.0)]


def scalar(values, us, bound):
    return np.array([bound.one(float(v), float(u)) for v, u in zip(values, us, strict=True)], np.int8)


def at_the_edges(bound, us, rng):
    """Return values at, just inside and just outside of the acceptance limits of each uncertainty."""
    values = np.empty_like(us)
    for row, u in enumerate(us):
        zone = acceptance(bound.lower, bound.upper, float(u), bound.decision)
        edges = [e for e in ((zone.lower, zone.upper) if zone else (bound.lower, bound.upper)) if e is not None]
        edge = edges[rng.integers(len(edges))]
        values[row] = (edge, nextafter(edge, inf), nextafter(edge, -inf), edge * (1 + 1e-12))[rng.integers(4)]
    return values


@pytest.mark.parametrize("decision", RULES, ids=str)
@pytest.mark.parametrize("limits", LIMITS, ids=str)
def test_values_about_the_limits(decision, limits):
    bound = Bound(*limits, decision)
    scale = abs(limits[1] if limits[0] is None else limits[0]) or 1.0
    rng = np.random.default_rng(1)
    us = np.concatenate([rng.uniform(0, scale, 800), scale * 10 ** rng.uniform(-6, 1, 800),
                         rng.choice([0.0, 0.01 * scale, 0.3 * scale], 800)])
    for values in (rng.normal(limits[0] or limits[1] or 0.0, scale, us.size), at_the_edges(bound, us, rng)):
        assert np.array_equal(decide(values, us, bound), scalar(values, us, bound))


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_any_values_any_limits(data):
    number = st.floats(-1e6, 1e6)
    lower, upper = sorted(data.draw(st.tuples(number, number)))
    side = data.draw(st.sampled_from([(lower, upper), (lower, None), (None, upper), (lower, lower), (None, None)]))
    bound = Bound(*side, data.draw(st.sampled_from(RULES)))
    values = data.draw(st.lists(st.floats() | st.sampled_from([lower, upper]), min_size=1, max_size=90))
    us = data.draw(st.lists(st.floats() | st.floats(0, 10) | st.just(0.0), min_size=len(values), max_size=len(values)))
    values, us = np.array(values), np.array(us)
    assert np.array_equal(decide(values, us, bound), scalar(values, us, bound))


def test_an_exact_count_at_its_limit_passes_without_asking_one_by_one(monkeypatch):
    asked = []
    monkeypatch.setattr(Bound, "one", lambda *_: asked.append(1))
    results = decide(np.zeros(10_000), np.zeros(10_000), Bound(None, 0.0, Decision()))
    assert (results == PASS).all()
    assert not asked


@pytest.mark.parametrize(("value", "u", "result"), [
    (nan, 0.1, NO_RESULT), (inf, 0.1, NO_RESULT), (-inf, 0.1, NO_RESULT), (0.0, nan, NO_RESULT), (0.0, inf, NO_RESULT),
    (0.0, -0.1, NO_RESULT), (0.0, 0.1, PASS), (4.0, 0.1, FAIL), (4.0, 0.0, PASS), (0.0, 5.0, NO_RESULT)])
@pytest.mark.parametrize("size", [1, 200])
def test_what_is_no_number_never_passes(value, u, result, size):
    assert (decide(np.full(size, value), np.full(size, u), Bound(-4.0, 4.0, Decision())) == result).all()
