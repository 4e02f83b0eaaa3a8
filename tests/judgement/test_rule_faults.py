"""Slips of the pen about decision rules are all told, with the key that they stand in."""

import pytest

from station.errors import FileContractError
from station.judgement.limit_file import parse_limits
from station.toml_file import parse_toml

TEXT = """\
format = 1
[type]
name = "CP-40"
pole_pairs = 4
winding = "star"
rated_voltage_V = 48.0
[decision]
{decision}
[revision]
number = "C"
[limits]
winding_resistance = {{ unit = "mohm", lower = 540.0, upper = 600.0{own} }}
thd = {{ unit = "%", upper = 6.0 }}
"""


def read(decision="", own=""):
    return parse_limits(parse_toml(TEXT.format(decision=decision, own=own).encode(), "CP-40.toml"))


def faults(**tables):
    with pytest.raises(FileContractError) as caught:
        read(**tables)
    return {fault.key: fault for fault in caught.value.faults}


@pytest.mark.parametrize(("decision", "key"), [
    ('rule = "simple"\nexpanded_share = 0.5', "decision.expanded_share"),
    ('rule = "false_accept"\nexpanded_share = 0.5', "decision.expanded_share"),
    ('rule = "simple"\nleast_probability = 0.9', "decision.least_probability"),
    ('least_probability = 0.9', "decision.least_probability"),
    ('rule = "conformance"\nguard_factor = 2.0', "decision.guard_factor"),
    ('guard_factor = 2.0\nexpanded_share = 1.0', "decision.expanded_share"),
])
def test_a_key_belongs_to_its_rule(decision, key):
    assert list(faults(decision=decision)) == [key]


def test_the_rule_of_the_file_holds_for_the_keys_of_a_limit():
    assert list(faults(own=", least_probability = 0.9")) == ["limits.winding_resistance.least_probability"]
    assert read(decision='rule = "conformance"', own=", least_probability = 0.9").limits[0].decision is not None
    assert list(faults(decision='rule = "conformance"', own=', rule = "simple", least_probability = 0.9')) == [
        "limits.winding_resistance.least_probability"]


@pytest.mark.parametrize(("decision", "limit"), [
    # half of 60 mohm over 1.96 u for 95 %, over 2.576 u for 99 %: what two limits ask for in their middle;
    # and where the multiplier M has grown to TUR, 0.5695
    ('rule = "conformance"', 15.3), ('rule = "conformance"\nleast_probability = 0.99', 11.64),
    ("guard_factor = 1.6449", 15.3), ("expanded_share = 0.82243", 15.3), ('rule = "false_accept"', 26.34)])
def test_a_limit_too_narrow_for_its_uncertainty_is_refused(decision, limit):
    assert read(decision, f", u_max = {0.995 * limit}").limits[0].decision.u_max == pytest.approx(0.995e-3 * limit)
    fault = faults(decision=decision, own=f", u_max = {1.005 * limit}")["limits.winding_resistance.u_max"]
    assert "Cm = " in fault.got
    assert fault.remedy


def test_under_the_simple_rule_any_uncertainty_leaves_room():
    assert read('rule = "simple"', ", u_max = 900.0").limits[0].decision.u_max == pytest.approx(0.9)


@pytest.mark.parametrize("own", [
    ', rule = "strict"', ", u_max = 0.0", ", u_max = nan", ", u_max = inf", ", least_probability = 0.5",
    ", least_probability = 1.0", ", expanded_share = -1.0", ", guard_factor = 0.0"])
def test_what_a_rule_takes_is_of_right_form(own):
    assert next(iter(faults(own=own))).startswith("limits.winding_resistance.")


def test_faults_of_rules_come_with_all_others():
    assert set(faults(decision='rule = "simple"\nleast_probability = 0.9', own=", upperr = 3.0")) == {
        "decision.least_probability", "limits.winding_resistance.upperr"}
