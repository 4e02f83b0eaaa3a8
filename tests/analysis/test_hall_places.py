"""Turned boards, displaced sensors and switching points from places and lags given by hand."""

from dataclasses import replace
from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.analysis.hall_places import eccentric_causes, place_causes
from station.analysis.hall_view import HallView
from station.analysis.suspicion import suspicion

DECLARED = {"a": 0.0, "b": 120.0, "c": 240.0}
FAILED = suspicion({"hall_placement.a@forward 1500": "high"})
UNJUDGED = suspicion(None)


def view(off, lags=(0.0, 0.0, 0.0), duties=(50.0, 50.0, 50.0), *, both_ways=True):
    places = {sensor: (DECLARED[sensor] + each) % 360.0 for sensor, each in zip("abc", off, strict=False)}
    return HallView(places, dict(zip(places, lags, strict=False)) if both_ways else {},
                    dict(zip(places, duties, strict=False)), 1.0, 1.0, 0.1, 100.0, both_ways)


def causes(shown, known=FAILED):
    return [(found.code, found.text) for found in place_causes(shown, DECLARED, known)]


def codes(shown, known=FAILED):
    return [code for code, _ in causes(shown, known)]


@given(st.tuples(*[st.floats(-1.9, 1.9)] * 3))
def test_sound_places_are_never_the_reason(off):
    assert codes(view(off)) == codes(view(off), UNJUDGED) == codes(view(off), suspicion({})) == []


@given(deg=st.floats(4.2, 29.0), sign=st.sampled_from([-1.0, 1.0]), own=st.tuples(*[st.floats(-1.0, 1.0)] * 3))
def test_a_turned_board_with_each_sensor_a_degree_off_besides(deg, sign, own):
    assert codes(view([sign * deg + each for each in own])) == ["hall_board_rotated"]


@given(deg=st.floats(4.2, 90.0), sign=st.sampled_from([-1.0, 1.0]), own=st.tuples(*[st.floats(-1.0, 1.0)] * 3),
       sensor=st.integers(0, 2))
def test_one_displaced_sensor_with_each_a_degree_off_besides(deg, sign, own, sensor):
    off = list(own)
    off[sensor] += sign * deg
    ((code, text),) = causes(view(off))
    assert code == "hall_sensor_displaced"
    assert f"sensor {'ABC'[sensor]}" in text


def test_a_turned_board_and_a_displaced_sensor():
    found = causes(view((10.0, 10.3, 2.0)))
    assert [code for code, _ in found] == ["hall_board_rotated", "hall_sensor_displaced"]
    assert "+10.2 degrees" in found[0][1] or "+10.1 degrees" in found[0][1]
    assert "Hall sensor C switches -8.2 degrees" in found[1][1] or "Hall sensor C switches -8.1 degrees" in found[1][1]


def test_three_places_that_agree_on_nothing():
    ((code, text),) = causes(view((-12.0, 0.0, 13.0)))
    assert code == "hall_sensor_displaced"
    assert "A -12.0, B +0.0, C +13.0" in text


def test_what_passes_its_limits_is_left_alone():
    assert codes(view((12.0, 12.0, 12.0)), suspicion({"thd.ab": "high"})) == []


def test_one_direction_says_what_it_cannot_tell():
    ((code, text),) = causes(view((8.0, 8.0, 8.0), both_ways=False), UNJUDGED)
    assert code == "hall_board_rotated"
    assert "a capture in reverse does" in text


@pytest.mark.parametrize(("lags", "known", "expected"), [
    ((4.5, 4.6, 4.4), FAILED, ["excess_hysteresis"]), ((4.5, 1.0, 1.0), FAILED, ["excess_hysteresis"]),
    ((3.0, 3.0, 3.0), UNJUDGED, []), ((5.0, 5.0, 5.0), UNJUDGED, ["excess_hysteresis"]),
    ((1.0, 6.0, 1.0), suspicion({"hall_hysteresis.b": "high"}), ["excess_hysteresis"]),
])
def test_lag_in_both_directions(lags, known, expected):
    assert codes(view((0.0, 0.0, 0.0), lags), known) == expected


@pytest.mark.parametrize(("hysteresis", "delay", "code"), [(4.0, 10e-6, "excess_hysteresis"),
                                                           (1.0, 90e-6, "hall_delay")])
def test_two_speeds_tell_hysteresis_from_delay(hysteresis, delay, code):
    """Source: lag = h + 360 f tau (derived)."""
    fast, slow = (replace(view((0.0, 0.0, 0.0), (hysteresis + 360.0 * f * delay,) * 3), frequency=f)
                  for f in (133.0, 66.0))
    ((found, text),) = causes(replace(fast, slower=slow))
    assert found == code
    assert f"{hysteresis:.1f} degrees stay" in text
    assert f"a delay of {1e6 * delay:.0f} us" in text


@given(rise=st.floats(8.0, 35.0), fall=st.floats(0.0, 1.5))
def test_uneven_points_are_given_as_lags_of_their_own(rise, fall):
    """Source: duty = 1/2 + (fall - rise)/360 for lags of the two points in degrees (derived)."""
    shown = view((0.0, 0.0, 0.0), ((rise + fall) / 2, 0.0, 0.0), (50.0 + (fall - rise) / 3.6, 50.0, 50.0))
    ((code, text),) = causes(shown)
    assert code == "hall_duty_off"
    assert f"a rise {rise:.1f} and a fall" in text or f"a rise {rise - 0.05:.1f} and a fall" in text


def test_small_differences_grow_in_a_weak_field_and_are_no_second_cause():
    found = causes(view((0.0, 0.0, 0.0), (16.0, 13.0, 15.0), (48.0, 50.0, 49.5)))
    assert [code for code, _ in found] == ["excess_hysteresis"]
    assert "A 16.0, B 13.0, C 15.0" in found[0][1]


def test_with_a_sensor_lost_the_two_others_still_tell_a_board():
    ((code, text),) = causes(view((-9.8, -10.1)))
    assert code == "hall_board_rotated"
    assert "The third would prove it" in text
    assert codes(view((0.5, 9.0)), suspicion({"hall_placement.b": "high"})) == ["hall_sensor_displaced"]


@pytest.mark.parametrize(("wobbles", "spread", "known", "expected"), [
    ((6.0, 6.1, 5.9), 0.2, UNJUDGED, ["eccentric_sensor_ring"]),
    ((6.0, 6.1, 5.9), None, UNJUDGED, ["eccentric_sensor_ring"]),
    ((6.0, 6.1, 5.9), 4.0, UNJUDGED, ["rotor_eccentric"]), ((6.0, 0.4, 5.9), 0.2, UNJUDGED, []),
    ((6.0, 6.1, 5.9), 0.2, suspicion({"thd.ab": "high"}), []),
    ((6.0, 6.1, 5.9), 0.2, suspicion({"hall_eccentricity.a": "high"}), ["eccentric_sensor_ring"]),
])
def test_a_ring_or_rotor_out_of_centre(wobbles, spread, known, expected):
    found = eccentric_causes(dict(zip("abc", wobbles, strict=True)), spread, known)
    assert [each.code for each in found] == expected


def test_places_without_number_name_nothing():
    assert codes(view((nan, nan, nan))) == []
