"""Limit files hold what they say, and one load names every fault."""

import math
from pathlib import Path

import pytest

from station.characteristic import unit_of
from station.errors import FileContractError
from station.judgement.limit_file import Limit, parse_limits
from station.judgement.limit_key import read_key
from station.toml_file import parse_toml, read_toml

LIMITS = Path(__file__).parents[2] / "limits"

TEXT = """\
format = 1
[type]
name = "CP-40"
pole_pairs = 4
winding = "star"
rated_voltage_V = 48.0
forward = "clockwise"
viewed_from = "drive end"
[sensors]
spacing_deg = 120
rise_deg = { a = 0.0, b = 120.0, c = 240.0 }
[revision]
number = "C"
released_by = "Line engineering"
released_on = 2026-11-02
[limits]
winding_resistance = { unit = "mohm", lower = 540, upper = 600.0 }
"hall_placement.b" = { unit = "deg", lower = -4.0, upper = 4.0 }
"thd@reverse 1500" = { unit = "%", upper = 6.0 }
"""


def test_a_file_is_read_into_its_parts():
    limits = parse_limits(parse_toml(TEXT.encode(), "folder/CP-40.toml"))
    resistance, placement, thd = limits.limits
    assert limits.name == "CP-40.toml"
    assert limits.text == TEXT
    assert limits.motor_type.sensors.rise_deg == (0.0, 120.0, 240.0)
    assert (resistance.unit, resistance.label) == ("ohm", None)
    assert (resistance.lower, resistance.upper) == pytest.approx((0.54, 0.6))
    assert (placement.name, placement.label) == ("hall_placement.b", None)
    assert (thd.key, thd.name, thd.label, thd.lower, thd.upper) == (
        "thd@reverse 1500", "thd", "reverse 1500", None, 6.0)
    assert limits.revision.released_on == "2026-11-02"


def test_what_is_left_out_has_the_declared_defaults():
    limits = parse_limits(parse_toml(TEXT.encode(), "CP-40.toml"))
    assert (limits.decision.rule, limits.decision.guard_factor, limits.runs_allowed) == ("guarded", 1.65, 1)
    assert limits.motor_type.reference.temperature_c == 20.0
    assert limits.motor_type.max_speed is None


def test_the_highest_speed_is_kept_in_si():
    text = TEXT.replace('viewed_from = "drive end"', 'viewed_from = "drive end"\nmax_speed_rpm = 3000.0')
    speed = parse_limits(parse_toml(text.encode(), "CP-40.toml")).motor_type.max_speed
    assert speed == pytest.approx(100 * math.pi)    # rad/s: 50 turns a second


@pytest.mark.parametrize("rpm", ["0.0", "-3000.0", "nan", "inf", '"3000"'])
def test_a_highest_speed_is_a_positive_number(rpm):
    text = TEXT.replace('viewed_from = "drive end"', f'viewed_from = "drive end"\nmax_speed_rpm = {rpm}')
    with pytest.raises(FileContractError) as caught:
        parse_limits(parse_toml(text.encode(), "CP-40.toml"))
    assert [fault.key for fault in caught.value.faults] == ["type.max_speed_rpm"]


def test_faults_of_form_and_of_meaning_come_together():
    faulty = (TEXT.replace('winding = "star"', 'winding = "wye"').replace("format = 1", "format = 2")
              .replace("pole_pairs = 4", "pole_pairs = 4.5").replace("thd@", "tdh@").replace('"mohm"', '"mV"')
              .replace("lower = -4.0", "lower = 5.0").replace("rated_voltage_V = 48.0\n", "voltage = 48.0\n"))
    with pytest.raises(FileContractError) as caught:
        parse_limits(parse_toml(faulty.encode(), "CP-40.toml"))
    assert {fault.key for fault in caught.value.faults} == {
        "format", "type.winding", "type.pole_pairs", "type.rated_voltage_V", "type.voltage",
        "limits.tdh@reverse 1500", "limits.winding_resistance.unit", "limits.hall_placement.b"}


@pytest.mark.parametrize("number", ["nan", "inf", '"6.0"', "true"])
def test_a_bound_is_a_finite_number(number):
    with pytest.raises(FileContractError):
        parse_limits(parse_toml(TEXT.replace("upper = 6.0", f"upper = {number}").encode(), "CP-40.toml"))


@pytest.mark.parametrize(("name", "winding", "pole_pairs", "spacing"), [
    ("CP-40", "star", 4, 120), ("VB-24", "star", 2, 120), ("CP-60D", "delta", 5, 60)])
def test_the_shipped_files_hold(name, winding, pole_pairs, spacing):
    limits = parse_limits(read_toml(LIMITS / f"{name}.toml"))
    kind = limits.motor_type
    assert (kind.name, kind.winding, kind.pole_pairs, kind.sensors.spacing_deg) == (
        name, winding, pole_pairs, spacing)
    edges, = (limit for limit in limits.limits if limit.name == "hall_edges_per_revolution")
    assert edges.lower == edges.upper == 6 * pole_pairs
    assert kind.max_speed > 0
    assert (limits.revision.number, limits.runs_allowed) == ("A", 2)
    assert limits.revision.released_by


@pytest.mark.parametrize(("key", "covered"), [
    ("hall_placement", {("hall_placement.a", "forward 750"), ("hall_placement.b", "forward 750"),
                        ("hall_placement.b", "reverse 750")}),
    ("hall_placement.b", {("hall_placement.b", "forward 750"), ("hall_placement.b", "reverse 750")}),
    ("hall_placement.b@reverse 750", {("hall_placement.b", "reverse 750")}),
    ("thd", set()), ("back_emf_constant_rms", {("back_emf_constant_rms.ab", "forward 750")}),
    ("winding_resistance", {("winding_resistance.ab", "")})])
def test_what_a_limit_covers(key, covered):
    name, label = read_key(key)
    limit = Limit(key, name, label, unit_of(name), None, 1.0)
    values = [("hall_placement.a", "forward 750"), ("hall_placement.b", "forward 750"),
              ("hall_placement.b", "reverse 750"), ("back_emf_constant_rms.ab", "forward 750"),
              ("back_emf_constant_rms.mean", "forward 750"), ("winding_resistance.ab", "")]
    assert {value for value in values if limit.covers(*value)} == covered
