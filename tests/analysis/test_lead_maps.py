"""The 48 ways of connecting three Hall leads, told apart as far as angles can."""

import pytest
from hall_signals import LAYOUTS

from station.analysis.lead_maps import MAPS, matching_maps, motor_lead_exchange


def test_there_are_48_maps_and_the_straight_one_comes_first():
    """Six orders by eight inversions. Source: 48 plausible maps, comments of an open machine controller."""
    assert len(set(MAPS)) == 48
    assert MAPS[0].is_straight


@pytest.mark.parametrize("spacing", [60, 120])
@pytest.mark.parametrize("number", range(48))
def test_every_map_is_found_again_from_its_angles(spacing, number):
    layout = LAYOUTS[spacing]
    true = MAPS[number]
    found = matching_maps([rise + 3.0 for rise in true.rises(layout)], layout)
    assert true in found
    assert {each.rises(layout) for each in found} == {true.rises(layout)}
    # the plainest comes first
    assert MAPS.index(found[0]) <= number


@pytest.mark.parametrize("spacing", [60, 120])
def test_a_good_motor_matches_the_straight_map_alone(spacing):
    layout = LAYOUTS[spacing]
    assert matching_maps(layout.rise_deg, layout) == (MAPS[0],)


@pytest.mark.parametrize(("leads", "expected"), [
    ("A and B", (180.0, 300.0, 60.0)), ("B and C", (300.0, 60.0, 180.0)), ("A and C", (60.0, 180.0, 300.0)),
])
def test_exchanged_motor_leads_shift_the_sensors(leads, expected):
    """Angles worked out from waves: the rising zero of what is measured as v_ab after exchanging two leads."""
    found = motor_lead_exchange(expected, LAYOUTS[120])
    assert found is not None
    assert found[0] == leads
    # the new zero puts the sensors back where they belong
    assert [(rise + found[1]) % 360.0 for rise in expected] == list(LAYOUTS[120].rise_deg)


def test_sensors_in_place_point_to_no_exchanged_motor_leads():
    assert motor_lead_exchange((10.0, 115.0, 243.0), LAYOUTS[120]) is None
