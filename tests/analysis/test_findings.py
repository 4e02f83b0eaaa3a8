"""Causes named from signatures; texts may change, codes and the facts in them may not."""

from math import inf

import numpy as np
import pytest
from hall_signals import LAYOUTS, Rotor, capture_of, lead, motor_type

from station.analysis.findings import find_causes, find_motor_causes
from station.analysis.hall import analyse_hall
from station.analysis.lead_maps import MAPS
from station.analysis.result import CaptureAnalysis
from station.characteristic import unit_of
from station.measurement import Measurement, Refusal
from station.motor import LINES, MotorType

STAR = motor_type()
DELTA = MotorType("T-3", 4, "delta", 48.0, "clockwise", "drive end", LAYOUTS[120])
GOOD = {"phase_order": 1.0, "hall_order": 1.0, "back_emf_unbalance": 0.2, "line_sum": 0.05, "speed": 1500.0}


def numbers(**values):
    return {name.replace("__", "."): Measurement(name.replace("__", "."), value, unit_of(name.replace("__", ".")),
                                                 0.01, inf) for name, value in values.items()}


def lines(name, *values):
    return {f"{name}__{line}": value for line, value in zip(LINES, values, strict=True)}


def emf(a, b, c, **more):
    return numbers(**(GOOD | lines("back_emf_constant_fundamental", a, b, c) | more))


def resistance(a, b, c):
    return numbers(**lines("winding_resistance", a, b, c))


def capture(measurements, refused=None):
    return CaptureAnalysis(label="forward 1500", measurements=measurements,
                           findings=find_causes(measurements, STAR, None), refused=refused, plot=None)


def codes(measurements, rest, kind=STAR, failed=None):
    return [each.code for each in find_motor_causes([capture(measurements)], rest, kind, failed)]


def hall_of(rises, phase_order=1, frequency=100.0, drive_sign=None):
    rotor = Rotor(frequency)
    leads = {name: lead(rise) for name, rise in zip("abc", rises, strict=True)}
    taken = capture_of(rotor, leads, np.random.default_rng(6), seconds=0.3, drive_sign=drive_sign)
    hall = analyse_hall(taken, STAR, rotor)
    return find_causes(hall.measurements | numbers(phase_order=float(phase_order)), STAR, hall)


def test_good_motor_has_no_findings():
    assert codes(emf(10.0, 10.02, 9.99), resistance(0.5, 0.501, 0.499)) == []


def test_shorted_turns_show_in_two_lines_and_their_resistance():
    """Source: turns x = 0.1 of phase a: ab, ca at 0.9504, unbalance 3.45 %, R_ab and R_ca less x/2 (derived)."""
    measured = emf(9.504, 10.0, 9.504, back_emf_unbalance=3.45)
    (found,) = find_motor_causes([capture(measured)], resistance(0.475, 0.5, 0.475), STAR)
    assert found.code == "shorted_turns"
    assert "phase A" in found.text


def test_reversed_coil_is_told_from_shorted_turns_by_the_resistance():
    assert codes(emf(9.504, 10.0, 9.504, back_emf_unbalance=3.45), resistance(0.5, 0.5, 0.5)) == ["coil_group_reversed"]


def test_without_resistance_the_two_are_not_told_apart():
    (found,) = find_motor_causes([capture(emf(9.504, 10.0, 9.504, back_emf_unbalance=3.45))], {}, STAR)
    assert "tells them apart" in found.text


def test_reversed_phase_is_no_exchange_of_leads():
    """Source: phase b reversed in star: ab, bc at 0.5774, ca 1, V2/V1 = 2, order of the set flips (derived)."""
    for unbalance in (200.0, 50.0):   # whichever sequence is called positive
        measured = emf(5.774, 5.774, 10.0, back_emf_unbalance=unbalance, phase_order=-1.0)
        (found,) = find_motor_causes([capture(measured)], resistance(0.5, 0.5, 0.5), STAR)
        assert found.code == "reversed_phase"
        assert "phase B" in found.text


def test_shorted_phase_keeps_the_order_and_does_not_blame_the_sensors():
    """Source: phase EMF zero in star: 0.5774, 0.5774, 1 and V2/V1 = 50 % (derived)."""
    measured = emf(5.774, 5.774, 10.0, back_emf_unbalance=50.0)
    assert codes(measured, resistance(0.25, 0.25, 0.5)) == ["shorted_phase"]


def test_pole_spread_above_its_limit_is_a_weak_pole():
    measured = emf(10.0, 10.0, 10.0, pole_spread__ab=2.6)
    assert codes(measured, {}) == []
    assert codes(measured, {}, failed={"pole_spread.ab": "high"}) == ["weak_pole"]


@pytest.mark.parametrize("nothing", [inf, 9.9e37])
def test_open_lead_from_resistance(nothing):
    (found,) = find_motor_causes([], resistance(nothing, 0.5, nothing), STAR)
    assert found.code == "open_phase"
    assert "lead A" in found.text


def test_open_phase_of_a_delta_shows_in_the_resistance_alone():
    """Source: 2R across the open phase, R across the others (derived)."""
    (found,) = find_motor_causes([capture(emf(10.0, 10.0, 10.0))], resistance(1.0, 2.0, 1.0), DELTA)
    assert found.code == "open_phase"
    assert "across bc" in found.text


def test_bad_joint_raises_two_lines_with_a_balanced_back_emf():
    (found,) = find_motor_causes([capture(emf(10.0, 10.0, 10.0))], resistance(0.55, 0.55, 0.5), STAR)
    assert found.code == "joint_resistance"
    assert "lead B" in found.text


@pytest.mark.parametrize(("sides", "code"), [
    ({"back_emf_constant_peak": "low"}, "weak_magnets"), ({"back_emf_constant_peak": "high"}, "strong_magnets"),
    ({"back_emf_constant_peak": "low", "winding_resistance": "low"}, "wrong_winding"),
    ({"winding_resistance": "high"}, "resistance_high"),
])
def test_all_lines_off_their_limits(sides, code):
    failed = {f"{name}.{line}@forward 1500": side for name, side in sides.items() for line in LINES}
    assert codes(emf(9.0, 9.0, 9.0), resistance(0.6, 0.6, 0.6), failed=failed) == [code]


@pytest.mark.parametrize(("name", "value", "side", "code"), [
    ("insulation_resistance", 2.0, "low", "insulation_low"), ("drag_torque", 90.0, "high", "drag_high"),
    ("sensor_supply_current", 55.0, "high", "sensor_current_high"),
])
def test_failures_at_rest(name, value, side, code):
    assert codes(emf(10.0, 10.0, 10.0), numbers(**{name: value}), failed={name: side}) == [code]


@pytest.mark.parametrize(("refusal", "expected"), [
    (Refusal("open_phase", "Lead c has no contact."), ["open_phase"]),
    (Refusal("no_emf", "No back-EMF."), ["no_back_emf"]),
    (Refusal("speed_disagrees", "with the drive's speed the motor has 5.00 pole pairs, its type 4."),
     ["wrong_pole_count"]),
    (Refusal("speed_disagrees", "with the drive's speed the motor has 3.61 pole pairs, its type 4."),
     ["coupling_slips"]),
    (Refusal("clipped", "v_ab is clipped."), []),
])
def test_refusals_that_speak_of_the_motor(refusal, expected):
    found = find_motor_causes([capture({}, refusal)], {}, STAR)
    assert [each.code for each in found] == expected


@pytest.mark.parametrize("number", range(1, 48))
def test_every_wrong_map_of_hall_leads_is_named(number):
    """All 48 maps; a rotation that equals another map is said to be one."""
    true = MAPS[number]
    (found,) = hall_of(true.rises(LAYOUTS[120]))
    assert found.code in {"hall_leads_exchanged", "hall_sensor_inverted"}
    assert "fit if" in found.text


@pytest.mark.parametrize(("leads", "rises"), [
    ("A and B", (180, 300, 60)), ("B and C", (300, 60, 180)), ("A and C", (60, 180, 300)),
])
def test_exchanged_motor_leads_are_named(leads, rises):
    (found,) = hall_of(rises, phase_order=-1)
    assert found.code == "motor_leads_exchanged"
    assert leads in found.text


def test_both_orders_reversed_cannot_be_told_from_turning_backwards():
    (found,) = hall_of((0, 240, 120), phase_order=-1)
    assert found.code == "turns_backwards"
    assert "direction of the shaft" in found.text


def directions(forward, reverse):
    found = []
    for speed, shift in ((1500.0, forward), (-1500.0, reverse)):
        values = {f"hall_placement__{sensor}": shift for sensor in "abc"}
        values |= {f"hall_angle_rise__{s}": (r + shift) % 360 for s, r in zip("abc", (0, 120, 240), strict=True)}
        values |= {f"hall_angle_fall__{s}": (r + shift + 180) % 360 for s, r in zip("abc", (0, 120, 240), strict=True)}
        measured = numbers(speed=speed, **values)
        hall = analyse_hall(capture_of(Rotor(), {n: lead(r + shift) for n, r in zip("abc", (0, 120, 240), strict=True)},
                                       np.random.default_rng(1), seconds=0.3), STAR, Rotor())
        found.append(CaptureAnalysis(label="", measurements=measured, findings=find_causes(measured, STAR, hall)))
    return [each.code for each in find_motor_causes(found, {}, STAR)]


def test_lag_in_both_directions_is_hysteresis_and_not_a_turned_board():
    assert directions(6.0, -6.0) == ["excess_hysteresis"]


def test_same_shift_in_both_directions_is_a_turned_board_named_once():
    assert directions(8.0, 8.0) == ["hall_board_rotated"]
