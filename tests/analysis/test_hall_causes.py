"""Counts, orders and wirings of Hall lines from numbers given by hand."""

from math import inf

import pytest

from station.analysis.hall_causes import count_causes, order_and_place_causes, scattered
from station.analysis.hall_view import HallView
from station.analysis.suspicion import suspicion
from station.characteristic import unit_of
from station.measurement import Measurement
from station.motor import HallLayout, MotorType

LAYOUT = HallLayout(120, (0.0, 120.0, 240.0))
MOTOR = MotorType("T-1", 4, "star", 48.0, "clockwise", "drive end", LAYOUT)


def numbers(**values):
    named = {name.replace("__", "."): value for name, value in values.items()}
    return {name: Measurement(name, value, unit_of(name), 0.0, inf) for name, value in named.items()}


def counted(*, all_switch=True, **values):
    return [(found.code, found.text) for found in count_causes(numbers(**values), MOTOR, all_switch=all_switch)]


def view(a, b, c, *, phase=1.0, hall=1.0, unbalance=0.1):
    places = {sensor: deg for sensor, deg in zip("abc", (a, b, c), strict=True) if deg is not None}
    return HallView(places, dict.fromkeys(places, 0.0), dict.fromkeys(places, 50.0), phase, hall, unbalance, 1500.0,
                    both_ways=True)


def named(shown):
    failed = suspicion({"hall_placement.a": "high", "hall_order": "low"})
    return [(found.code, found.text) for found in order_and_place_causes(shown, LAYOUT, failed)]


def test_full_counts_say_nothing():
    assert counted(hall_bounce=0.0, hall_missing=0.0, hall_edges_per_revolution=24.0) == []


def test_six_edges_less_are_a_reversed_magnet():
    ((code, text),) = counted(hall_bounce=0.0, hall_missing=72.0, hall_edges_per_revolution=18.0)
    assert code == "reversed_magnet"
    assert "18.0 edges per revolution instead of 24" in text


def test_edges_missing_now_and_then_name_the_sensor_that_scatters():
    values = {"hall_jitter__a": 0.1, "hall_jitter__b": 7.0, "hall_jitter__c": 0.1}
    ((code, text),) = counted(hall_bounce=0.0, hall_missing=3.0, hall_edges_per_revolution=23.8, **values)
    assert code == "hall_pulse_missing"
    assert "on sensor B, whose edges scatter by 7.0 degrees" in text
    assert scattered(numbers(**values)) == {"b": 7.0}


def test_a_dead_line_explains_its_own_missing_edges():
    assert counted(all_switch=False, hall_bounce=0.0, hall_missing=96.0, hall_edges_per_revolution=16.0) == []


def test_extra_crossings_are_counted():
    ((code, text),) = counted(hall_bounce=12.0, hall_missing=0.0, hall_edges_per_revolution=24.0)
    assert code == "hall_bounce"
    assert text.startswith("12 extra")


def test_exchanged_wires_do_not_hide_a_displaced_sensor():
    """Leads b and c exchanged, and the sensor now on b 8 degrees late."""
    found = named(view(0.0, 248.0, 120.0, hall=-1.0))
    assert [code for code, _ in found] == ["hall_leads_exchanged", "hall_sensor_displaced"]
    assert "B switches +8.0" in found[1][1]


def test_exchanged_motor_leads_do_not_hide_a_turned_board():
    """Leads A and B exchanged: the zero lies at 180 degrees; the board 9 degrees on."""
    found = named(view(189.0, 309.0, 69.0, phase=-1.0))
    assert [code for code, _ in found] == ["motor_leads_exchanged", "hall_board_rotated"]
    assert "A and B" in found[0][1]
    assert "+9.0" in found[1][1]


@pytest.mark.parametrize(("hall", "code"), [(-1.0, "turns_backwards"), (0.0, "motor_leads_exchanged")])
def test_reversed_lines(hall, code):
    (found,) = named(view(0.0, 240.0, 120.0, phase=-1.0, hall=hall))
    assert found[0] == code
    assert "shaft" in found[1]


def test_with_a_line_dead_two_sensors_still_tell_an_inverted_one():
    (found,) = named(view(None, 300.0, 240.0, hall=0.0))
    assert found[0] == "hall_sensor_inverted"
    assert "Hall signal B is inverted" in found[1]


def test_one_sensor_alone_fits_anywhere():
    assert all(code != "hall_leads_exchanged" for code, _ in named(view(None, 300.0, None, hall=0.0)))


def test_a_lost_phase_moves_the_zero_so_nothing_is_said_of_places():
    assert named(view(150.0, 270.0, 30.0, unbalance=50.0)) == []
