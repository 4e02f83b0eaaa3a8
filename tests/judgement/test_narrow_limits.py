"""Tolerances against uncertainties, by the index of JCGM 106."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.judgement.decision_rule import Decision, acceptance
from station.judgement.limit_file import parse_limits
from station.judgement.narrow_limits import capability_index, find_narrow, least_capability
from station.toml_file import parse_toml

TEXT = """\
format = 1
[type]
name = "CP-40"
pole_pairs = 4
winding = "star"
rated_voltage_V = 48.0
[sensors]
spacing_deg = 120
rise_deg = { a = 0.0, b = 120.0, c = 240.0 }
[decision]
guard_factor = 1.6449
[revision]
number = "C"
[limits]
hall_placement = { unit = "deg", lower = -4.0, upper = 4.0 }
"hall_duty.b@forward 1500" = { unit = "%", lower = 48.0, upper = 52.0, rule = "simple" }
thd = { unit = "%", upper = 6.0 }
pole_spread = { unit = "%", upper = 5.0, u_max = 0.2 }
winding_resistance = { unit = "mohm", lower = 540.0, upper = 600.0, u_max = 12.0 }
hall_edges_per_revolution = { unit = "1", lower = 24, upper = 24 }
"""
LIMITS = parse_limits(parse_toml(TEXT.encode(), "CP-40.toml"))


def of(name, u, label=""):
    return [(narrow.key, narrow.refused) for narrow in find_narrow(LIMITS, {(name, label): u})
            if narrow.name]


def test_index():
    """Source: JCGM 106:2012, 7.6: a tolerance of 8 and U = 2u = 2 make Cm = 2."""
    assert capability_index(-4.0, 4.0, 1.0) == 2.0
    assert capability_index(-4.0, 4.0, 0.0) == float("inf")


@pytest.mark.parametrize(("decision", "least"), [
    # 1.96 and 2.576 standard uncertainties to both sides make 95 and 99 %; half of them over 2u
    (Decision("conformance"), 0.98), (Decision("guarded", 1.6449), 0.98),
    (Decision("conformance", least_probability=0.99), 1.288), (Decision("simple"), 0.0)])
def test_least_index(decision, least):
    assert least_capability(decision) == pytest.approx(least, abs=1e-3)


@given(decision=st.one_of(
    st.builds(Decision, st.just("guarded"), st.floats(0.2, 5.0)), st.just(Decision("false_accept")),
    st.builds(Decision, st.just("conformance"), least_probability=st.floats(0.51, 0.999))))
def test_the_least_index_is_where_acceptance_begins(decision):
    least = least_capability(decision)
    assert acceptance(-1.0, 1.0, 1 / (2 * least * 1.0001), decision) is not None
    assert acceptance(-1.0, 1.0, 1 / (2 * least * 0.9999), decision) is None


@pytest.mark.parametrize(("u", "found"), [(0.0, []), (1.3, []), (1.34, [("hall_placement", False)]),
                                          (2.0, [("hall_placement", False)]), (2.05, [("hall_placement", True)])])
def test_narrow_is_warned_of_and_too_narrow_refused(u, found):
    assert of("hall_placement.c", u, "reverse 750") == found


def test_the_simple_rule_asks_for_more_room_and_refuses_nothing():
    assert of("hall_duty.b", 0.24, "forward 1500") == []
    assert of("hall_duty.b", 9.0, "forward 1500") == [("hall_duty.b@forward 1500", False)]
    assert of("hall_duty.b", 9.0, "reverse 1500") == []
    assert of("hall_duty.a", 9.0, "forward 1500") == []


def test_a_lone_limit_and_an_exact_value_always_have_room():
    assert of("thd.ab", 50.0, "forward 1500") == []
    assert of("hall_edges_per_revolution", 0.0, "forward 1500") == []


def test_what_the_file_declares_is_looked_at_by_itself():
    narrow, = find_narrow(LIMITS)
    assert (narrow.key, narrow.name, narrow.refused) == ("winding_resistance", "", False)
    assert "u_max 0.012 ohm" in narrow.text


def test_stored_values_less_certain_than_the_file_allows_refuse_it():
    assert of("winding_resistance.ab", 0.0121) == [("winding_resistance", True)]
    assert of("pole_spread.bc", 0.2, "forward 750") == []
    assert of("pole_spread.bc", 0.201, "forward 750") == [("pole_spread", True)]
