"""Every breach of meaning in a limit file is told at once, with what mends it."""

import pytest

from station.judgement.limit_faults import find_faults
from station.toml_file import parse_toml

GOOD = 'thd = { unit = "%", upper = 6.0 }'
SENSORS = "[sensors]\nspacing_deg = 120\nrise_deg = { a = 0.0, b = 120.0, c = 240.0 }\n"


def faults_of(limits, before=SENSORS):
    return find_faults(parse_toml(f"{before}[limits]\n{limits}\n".encode(), "some.toml"))


def test_no_fault_in_a_good_file():
    assert faults_of(GOOD) == []


@pytest.mark.parametrize(("limits", "words"), [
    pytest.param('hall_placment = { unit = "deg", upper = 4.0 }', "hall_placement", id="near name"),
    pytest.param('"hall_placement.ab" = { unit = "deg", upper = 4.0 }', "hall_placement", id="line for a sensor"),
    pytest.param('"back_emf_constant_peak.a" = { unit = "V/krpm", upper = 4.0 }', "back_emf_constant_peak",
                 id="sensor for a line"),
    pytest.param('thd = { unit = "V", upper = 6.0 }', "'%'", id="wrong dimension"),
    pytest.param('thd = { unit = "percent", upper = 6.0 }', "'%'", id="unknown unit"),
    pytest.param('thd = { unit = "%", lower = 7.0, upper = 6.0 }', "lower 7.0 above upper 6.0", id="exchanged"),
    pytest.param('thd = { unit = "%" }', "no limit at all", id="no bound"),
    pytest.param('hall_placement.b = { unit = "deg", upper = 4.0 }', '"hall_placement.b" =', id="dot unquoted"),
    pytest.param("", "at least one limit", id="no limit"),
    pytest.param('"thd@1500 forward" = { unit = "%", upper = 6.0 }', "forward 1500", id="label"),
    pytest.param('"winding_resistance@forward 1500" = { unit = "ohm", upper = 6.0 }',
                 "not measured in one capture", id="capture at rest"),
])
def test_each_fault_is_told(limits, words):
    fault, = faults_of(limits)
    assert words in str(fault)
    assert fault.file == "some.toml"


@pytest.mark.parametrize("name", ["hall_placement", "hall_duty.b", "commutated_torque_ripple",
                                  "sensor_supply_current"])
def test_no_sensor_limit_without_sensors(name):
    from station.characteristic import unit_of

    fault, = faults_of(f'"{name}" = {{ unit = "{unit_of(name)}", upper = 4.0 }}', before="")
    assert "[sensors]" in fault.wanted


@pytest.mark.parametrize(("spacing", "angles", "good"), [
    (120, (0.0, 120.0, 240.0), True), (120, (30.0, 270.0, 150.0), True), (60, (0.0, 60.0, 120.0), True),
    (60, (330.0, 30.0, 90.0), True), (60, (0.0, 120.0, 240.0), False), (120, (0.0, 60.0, 120.0), False),
    (120, (0.0, 120.0, 24.0), False),
])
def test_sensor_angles_fit_their_spacing(spacing, angles, good):
    a, b, c = angles
    before = f"[sensors]\nspacing_deg = {spacing}\nrise_deg = {{ a = {a}, b = {b}, c = {c} }}\n"
    assert (faults_of(GOOD, before) == []) is good


def test_half_a_release_is_a_fault():
    fault, = faults_of(GOOD, SENSORS + '[revision]\nnumber = "A"\nreleased_by = "Line engineering"\n')
    assert fault.key == "revision.released_on"
