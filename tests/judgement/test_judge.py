"""A wrong PASS is the worst thing: what judge may and may not conclude."""

import random
from dataclasses import replace
from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.judgement.cause import Cause
from station.judgement.decision_rule import Decision
from station.judgement.judge import (
    INSIDE,
    NEARLY_INSIDE,
    NEARLY_OUTSIDE,
    NO_NUMBER,
    NO_UNCERTAINTY,
    NOT_MEASURED,
    OUTSIDE,
    TOO_UNCERTAIN,
    WRONG_UNIT,
    judge,
)
from station.judgement.limit_file import parse_limits
from station.measurement import Measurement, Refusal
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
[revision]
number = "A"
[limits]
"""
LABELS = ("forward 1500", "reverse 1500")


def limit_file(*limits, rule="guarded"):
    file = parse_limits(parse_toml((TEXT + "\n".join(limits)).encode(), "CP-40.toml"))
    return replace(file, decision=Decision(rule, 1.65))


PLACEMENT = 'hall_placement = { unit = "deg", lower = -4.0, upper = 4.0 }'
THD = 'thd = { unit = "%", upper = 6.0 }'
INSULATION = 'insulation_resistance = { unit = "Mohm", lower = 100.0 }'
EDGES = 'hall_edges_per_revolution = { unit = "1", lower = 24, upper = 24 }'
MANY = limit_file(PLACEMENT, THD, INSULATION, EDGES)


def one(value, u=0.1, unit="Mohm", rule="guarded", limit=INSULATION, name="insulation_resistance", label=""):
    measured = {(name, label): Measurement(name, value, unit, u, inf)}
    return judge(measured, (), limit_file(limit, rule=rule))


def good_values():
    values = {}
    for label in LABELS:
        for sensor in "abc":
            values[f"hall_placement.{sensor}", label] = (0.5, "deg", 0.1)
        for line in ("ab", "bc", "ca"):
            values[f"thd.{line}", label] = (1.0, "%", 0.1)
        values["hall_edges_per_revolution", label] = (24.0, "1", 0.0)
    values["insulation_resistance", ""] = (900.0, "Mohm", 20.0)
    return {key: Measurement(key[0], value, unit, u, inf) for key, (value, unit, u) in values.items()}


def test_a_good_motor_passes():
    judgement = judge(good_values(), LABELS, MANY)
    assert judgement.verdict == "PASS"
    assert len(judgement.rows) == 15
    assert all(row.zone == INSIDE for row in judgement.rows)


@given(key=st.sampled_from(sorted(good_values())), what=st.sampled_from([
    {"value": nan}, {"value": inf}, {"value": -inf}, {"u": nan}, {"u": inf}, {"u": -0.1}, {"unit": "s"}, None]))
def test_no_pass_with_a_value_that_is_none(key, what):
    values = good_values()
    measured = values.pop(key)
    if what is not None:
        values[key] = replace(measured, **what)
    judgement = judge(values, LABELS, MANY)
    assert judgement.verdict == "NO RESULT"
    row, = (row for row in judgement.rows if row.result != "PASS")
    assert (row.name, row.label) == key
    assert row.zone in judgement.reason


@given(st.integers(0, 2**32 - 1), st.floats(-10, 10))
def test_the_order_of_measurements_and_limits_does_not_matter(seed, placement):
    values = good_values()
    key = ("hall_placement.b", "reverse 1500")
    values[key] = replace(values[key], value=placement)
    shuffled, limits = list(values.items()), list(MANY.limits)
    random.Random(seed).shuffle(shuffled)
    random.Random(seed).shuffle(limits)
    one_way = judge(values, LABELS, MANY)
    other = judge(dict(shuffled), LABELS, replace(MANY, limits=tuple(limits)))
    assert one_way.verdict == other.verdict
    assert set(one_way.rows) == set(other.rows)


@given(value=st.floats(-10, 10), u=st.floats(0, 3), more=st.floats(1, 5))
def test_more_uncertainty_never_makes_a_pass(value, u, more):
    sure = one(value, u, "deg", limit='hall_hysteresis = { unit = "deg", lower = -0.5, upper = 5.0 }',
               name="hall_hysteresis.a").rows[0]
    unsure = one(value, u * more, "deg", limit='hall_hysteresis = { unit = "deg", lower = -0.5, upper = 5.0 }',
                 name="hall_hysteresis.a").rows[0]
    assert not (unsure.result == "PASS" and sure.result != "PASS")


@pytest.mark.parametrize(("value", "u", "rule", "result", "zone"), [
    (120.0, 10.0, "guarded", "PASS", INSIDE),
    (116.5, 10.0, "guarded", "PASS", INSIDE),           # on the acceptance limit
    (116.4, 10.0, "guarded", "FAIL", NEARLY_OUTSIDE),
    (116.4, 10.0, "simple", "PASS", NEARLY_OUTSIDE),
    (100.0, 10.0, "simple", "PASS", NEARLY_OUTSIDE),    # on the tolerance limit
    (99.9, 10.0, "simple", "FAIL", NEARLY_INSIDE),
    (99.9, 10.0, "guarded", "FAIL", NEARLY_INSIDE),
    (80.0, 10.0, "guarded", "FAIL", OUTSIDE),
    (100.0, 0.0, "guarded", "PASS", INSIDE),
    (nan, 10.0, "simple", "NO RESULT", NO_NUMBER),
    (120.0, nan, "simple", "NO RESULT", NO_UNCERTAINTY),
])
def test_results_and_zones(value, u, rule, result, zone):
    row, = one(value, u, rule=rule).rows
    assert (row.result, row.zone) == (result, zone)


@pytest.mark.parametrize(("own", "result", "zone"), [
    ("", "FAIL", NEARLY_OUTSIDE), (', rule = "simple"', "PASS", NEARLY_OUTSIDE),
    (', rule = "conformance"', "FAIL", NEARLY_OUTSIDE),                             # 0.945 of 0.95
    (', rule = "conformance", least_probability = 0.94', "PASS", INSIDE),
    (', rule = "false_accept"', "FAIL", NEARLY_OUTSIDE), (", guard_factor = 1.5", "PASS", INSIDE),
    (", expanded_share = 0.75", "PASS", INSIDE), (", u_max = 10.0", "FAIL", NEARLY_OUTSIDE),
    (', rule = "simple", u_max = 9.9', "NO RESULT", TOO_UNCERTAIN)])
def test_a_limit_is_judged_by_its_own_rule(own, result, zone):
    row, = one(116.0, 10.0, limit=f'insulation_resistance = {{ unit = "Mohm", lower = 100.0{own} }}').rows
    assert (row.result, row.zone) == (result, zone)


def test_one_limits_rule_is_no_others():
    limits = limit_file(INSULATION, 'drag_torque = { unit = "mN m", upper = 40.0, rule = "simple" }')
    values = {("insulation_resistance", ""): Measurement("insulation_resistance", 116.0, "Mohm", 10.0, inf),
              ("drag_torque", ""): Measurement("drag_torque", 39.9, "mN m", 10.0, inf)}
    assert [row.result for row in judge(values, (), limits).rows] == ["FAIL", "PASS"]


def test_too_uncertain_is_no_result():
    row = one(0.0, 20.0, "deg", limit='"hall_placement.a" = { unit = "deg", lower = -4.0, upper = 4.0 }',
              name="hall_placement.a").rows[0]
    assert (row.result, row.zone, row.acceptance_lower) == ("NO RESULT", TOO_UNCERTAIN, None)


def test_another_unit_is_no_result():
    assert one(120.0, unit="ohm").rows[0].zone == WRONG_UNIT


def test_one_failing_value_fails_whatever_is_missing():
    judgement = judge({("insulation_resistance", ""): Measurement("insulation_resistance", 1.0, "Mohm", 0.1, inf)},
                      LABELS, MANY)
    assert judgement.verdict == "FAIL"
    assert "insulation_resistance" in judgement.reason


@pytest.mark.parametrize("labels", [(), LABELS])
def test_nothing_measured_is_no_result(labels):
    judgement = judge({}, labels, MANY)
    assert judgement.verdict == "NO RESULT"
    assert {row.zone for row in judgement.rows} == {NOT_MEASURED}


def test_no_limit_is_no_result():
    judgement = judge(good_values(), LABELS, replace(MANY, limits=()))
    assert (judgement.verdict, judgement.rows) == ("NO RESULT", ())


def test_a_capture_limit_without_any_capture_is_not_forgotten():
    values = {("insulation_resistance", ""): good_values()["insulation_resistance", ""]}
    assert judge(values, (), limit_file(THD, INSULATION)).verdict == "NO RESULT"


def test_a_limit_for_one_capture_and_one_sensor_covers_only_that():
    limits = limit_file('"hall_placement.b@reverse 1500" = { unit = "deg", lower = -4.0, upper = 4.0 }')
    row, = judge(good_values(), LABELS, limits).rows
    assert (row.key, row.name, row.label) == ("hall_placement.b@reverse 1500", "hall_placement.b", "reverse 1500")


def test_a_limit_for_a_capture_that_was_not_taken_is_no_result():
    limits = limit_file('"thd@forward 9000" = { unit = "%", upper = 6.0 }')
    assert judge(good_values(), LABELS, limits).verdict == "NO RESULT"


def test_a_narrow_limit_never_loosens_a_wide_one():
    limits = limit_file(THD, '"thd.ab" = { unit = "%", upper = 60.0 }')
    values = good_values()
    values["thd.ab", "forward 1500"] = replace(values["thd.ab", "forward 1500"], value=30.0)
    assert judge(values, LABELS, limits).verdict == "FAIL"


@pytest.mark.parametrize(("code", "verdict"), [("clipped", "NO RESULT"), ("open_phase", "FAIL")])
def test_a_refused_capture_is_the_motors_fault_only_if_its_code_says_so(code, verdict):
    refused = {"reverse 1500": Refusal(code, "the capture says nothing")}
    judgement = judge(good_values(), LABELS, MANY, refused, motor_faults=frozenset({"open_phase"}))
    assert judgement.verdict == verdict
    assert all(row.result == "NO RESULT" for row in judgement.rows if row.label == "reverse 1500")
    assert "says nothing" in judgement.reason


def test_a_refused_capture_that_no_limit_covers_still_keeps_from_passing():
    refused = {"reverse 3000": Refusal("clipped", "a channel clipped")}
    assert judge(good_values(), LABELS, limit_file(INSULATION), refused).verdict == "NO RESULT"


@pytest.mark.parametrize(("values", "limit", "name", "margin"), [
    ((2.0, 1e-9, "deg"), '"hall_hysteresis.a" = { unit = "deg", lower = -4.0, upper = 4.0 }',
     "hall_hysteresis.a", 0.5),
    ((6.0, 0.0, "deg"), '"hall_hysteresis.a" = { unit = "deg", lower = -4.0, upper = 4.0 }',
     "hall_hysteresis.a", -0.5),
    ((116.5 + 20.0, 10.0, "Mohm"), INSULATION, "insulation_resistance", 2.0),
    ((90.0, 0.0, "Mohm"), INSULATION, "insulation_resistance", -10.0),
    ((110.0, 0.0, "Mohm"), INSULATION, "insulation_resistance", None),
])
def test_margin(values, limit, name, margin):
    value, u, unit = values
    row, = one(value, u, unit, limit=limit, name=name).rows
    assert row.margin == (None if margin is None else pytest.approx(margin, abs=1e-6))


@pytest.mark.parametrize(("measured", "refused", "cause"), [
    ({}, {}, Cause("value_missing", "insulation_resistance")),
    ({("insulation_resistance", ""): Measurement("insulation_resistance", nan, "Mohm", 1.0, inf)}, {},
     Cause("value_missing", "insulation_resistance")),
    ({("insulation_resistance", ""): Measurement("insulation_resistance", 500.0, "Mohm", 1.0, inf)},
     {"forward 1500": Refusal("clipped", "v_ab is clipped")}, Cause("capture_refused", "clipped")),
    ({("insulation_resistance", ""): Measurement("insulation_resistance", 500.0, "Mohm", 1.0, inf)}, {}, None),
    ({("insulation_resistance", ""): Measurement("insulation_resistance", 5.0, "Mohm", 1.0, inf)}, {}, None),
])
def test_a_no_result_has_a_cause_and_nothing_else_has(measured, refused, cause):
    found = judge(measured, LABELS, limit_file(INSULATION), refused)
    assert found.cause == cause
    assert (found.verdict == "NO RESULT") == (cause is not None)


def test_an_uncertainty_too_large_and_no_limit_at_all_are_causes_too():
    measured = {("hall_placement.a", ""): Measurement("hall_placement.a", 0.0, "deg", 9.0, inf)}
    lone = limit_file('"hall_placement.a" = { unit = "deg", lower = -4.0, upper = 4.0 }')
    assert judge(measured, (), lone).cause == Cause("too_uncertain", "hall_placement.a")
    assert judge({}, (), replace(lone, limits=())).cause == Cause("nothing_judged")
