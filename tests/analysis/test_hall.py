"""Hall sensors of a whole capture against a rotor whose angle is known."""

import numpy as np
import pytest
from hall_signals import LAYOUTS, Lead, Rotor, capture_of, good_leads, lead, motor_type

from station.analysis.findings import find_causes
from station.analysis.hall import analyse_hall
from station.characteristic import unit_of


def analyse(leads, rotor=None, spacing=120, **more):
    rotor = rotor or Rotor()
    capture = capture_of(rotor, leads, np.random.default_rng(11), **more)
    return analyse_hall(capture, motor_type(spacing), rotor)


def values(hall):
    return {name: each.value for name, each in hall.measurements.items()}


def circular(first, second):
    return abs((first - second + 180) % 360 - 180)


@pytest.mark.parametrize("spacing", [60, 120])
@pytest.mark.parametrize("frequency", [100.0, -100.0, 200.0])
def test_good_sensors_read_where_they_are_in_both_directions(spacing, frequency):
    """Within 0.03 degrees although the speed ripples by 0.5 %."""
    hall = analyse(good_leads(spacing), Rotor(frequency, ripple=0.005), spacing)
    found = values(hall)
    for sensor, rise in zip("abc", LAYOUTS[spacing].rise_deg, strict=True):
        assert circular(found[f"hall_angle_rise.{sensor}"], rise) < 0.03
        assert circular(found[f"hall_angle_fall.{sensor}"], rise + 180) < 0.03
        assert abs(found[f"hall_placement.{sensor}"]) < 0.03
        assert found[f"hall_duty.{sensor}"] == pytest.approx(50.0, abs=0.01)
        assert found[f"hall_jitter.{sensor}"] < 0.02
        assert found[f"hall_transition.{sensor}"] == pytest.approx(16.0, abs=0.5)
    assert found["hall_order"] == 1
    assert found["hall_edges_per_revolution"] == 24
    assert [found[f"hall_{name}"] for name in ("forbidden", "bounce", "missing")] == [0, 0, 0]
    widths = [found[f"hall_sector_{number}"] for number in range(1, 7)]
    assert widths == pytest.approx([60.0] * 6, abs=0.03)
    assert sum(widths) == pytest.approx(360.0)
    assert find_causes(hall.measurements, motor_type(spacing), hall) == ()


def test_every_measurement_has_the_contract_s_unit_and_a_budget():
    for name, each in analyse(good_leads()).measurements.items():
        assert each.name == name
        assert each.unit == unit_of(name)
        counted = name in {"hall_order", "hall_edges_per_revolution", "hall_forbidden", "hall_bounce", "hall_missing"}
        assert (each.u == 0) == counted
        assert bool(each.budget) != counted


@pytest.mark.parametrize("frequency", [100.0, -100.0])
@pytest.mark.parametrize("displaced", [6.5, -7.0])
def test_displaced_sensor_moves_its_two_edges_only(frequency, displaced):
    """Source: sectors 60, 60+d, 60-d, 60, 60+d, 60-d starting at a's rise (derived)."""
    hall = analyse(good_leads() | {"b": lead(120 + displaced)}, Rotor(frequency))
    found = values(hall)
    expected = [60, 60 + displaced, 60 - displaced] * 2
    assert [found[f"hall_sector_{n}"] for n in range(1, 7)] == pytest.approx(expected, abs=0.03)
    assert found["hall_sector_max"] == pytest.approx(60 + abs(displaced), abs=0.03)
    assert found["hall_sector_min"] == pytest.approx(60 - abs(displaced), abs=0.03)
    assert found["hall_placement.b"] == pytest.approx(displaced, abs=0.03)
    assert found["hall_placement.a"] == pytest.approx(0, abs=0.03)
    (finding,) = find_causes(hall.measurements, motor_type(), hall)
    assert finding.code == "hall_sensor_displaced"
    assert "sensor B" in finding.text


def test_skew_and_lag_of_the_channel_are_taken_out():
    hall = analyse(good_leads() | {"c": lead(240, skew=40e-6, lag=15e-6)})
    assert values(hall)["hall_placement.c"] == pytest.approx(0, abs=0.03)


@pytest.mark.parametrize("stuck_at", [0.05, 2.5, 4.9])
def test_stuck_sensor_gives_no_edges_and_leaves_the_others(stuck_at):
    hall = analyse(good_leads() | {"b": stuck_at}, noise=0.02)
    found = values(hall)
    assert "hall_angle_rise.b" not in found
    assert "hall_sector_1" not in found
    assert found["hall_edges_per_revolution"] == 16      # source: 4 p edges with one sensor dead
    assert found["hall_missing"] >= 2 * 38
    assert found["hall_order"] == 0
    assert abs(found["hall_placement.a"]) < 0.03
    assert set(hall.hall_high) == {"a", "c"}
    (finding,) = find_causes(hall.measurements, motor_type(), hall)
    assert finding.code == "hall_sensor_stuck"
    assert "B" in finding.text


def test_all_lines_still_points_to_the_supply():
    hall = analyse(dict.fromkeys("abc", 0.02))
    (finding,) = find_causes(hall.measurements, motor_type(), hall)
    assert finding.code == "hall_supply_missing"
    assert values(hall)["hall_edges_per_revolution"] == 0


def test_missing_channel_is_never_a_sensor_that_passes():
    leads = good_leads()
    del leads["c"]
    hall = analyse(leads)
    assert not any(name.endswith(".c") for name in hall.measurements)
    assert values(hall)["hall_missing"] > 0


def test_missing_pulse_shifts_no_other_edge():
    rotor = Rotor()

    def lose_one(name, volts):
        if name == "b":
            volts[45_000:47_500] = np.minimum(volts[45_000:47_500], 0.2)   # one cycle of 2500 samples
        return volts

    hall = analyse(good_leads(), rotor, spoil=lose_one)
    found = values(hall)
    assert found["hall_missing"] == 2
    assert found["hall_edges_per_revolution"] < 24
    assert abs(found["hall_placement.b"]) < 0.03
    (finding,) = find_causes(hall.measurements, motor_type(), hall)
    assert finding.code == "hall_pulse_missing"


def test_bounce_is_counted_and_named():
    def chatter(name, volts):
        if name == "a":
            high = volts > 2.5
            for index in np.flatnonzero(high[1:] != high[:-1])[::4] + 8:
                volts[index] = 5.0 - volts[index]
        return volts

    hall = analyse(good_leads(ramp=2e-6), spoil=chatter)
    found = values(hall)
    assert found["hall_bounce"] == 2 * 20
    assert found["hall_edges_per_revolution"] == 24
    assert [each.code for each in find_causes(hall.measurements, motor_type(), hall)] == ["hall_bounce"]


def test_an_edge_that_bounces_out_of_its_place_is_not_missing():
    def chatter(name, volts):
        if name == "a":
            high = volts > 2.5
            for index in np.flatnonzero(high[1:] != high[:-1])[::5]:
                volts[index - 30:index + 1] = 5.0 - volts[index - 30:index + 1]    # 4 degrees early, and once more
                volts[index + 9:index + 12] = 5.0 - volts[index + 9:index + 12]
        return volts

    hall = analyse(good_leads(ramp=2e-6), spoil=chatter)
    found = values(hall)
    assert found["hall_bounce"] > 0
    assert found["hall_missing"] == 0
    assert found["hall_jitter.a"] > 1.0
    assert [each.code for each in find_causes(hall.measurements, motor_type(), hall)] == ["hall_bounce"]


@pytest.mark.parametrize("spacing", [60, 120])
def test_inverted_middle_sensor_shows_forbidden_codes(spacing):
    rise = LAYOUTS[spacing].rise_deg[1]
    hall = analyse(good_leads(spacing) | {"b": lead(rise + 180)}, Rotor(), spacing)
    found = values(hall)
    assert found["hall_forbidden"] >= 2 * 38
    assert found["hall_order"] == 0
    (finding,) = find_causes(hall.measurements, motor_type(spacing), hall)
    assert finding.code == "hall_sensor_inverted"
    assert "signal B is inverted" in finding.text


@pytest.mark.parametrize("frequency", [100.0, -100.0])
def test_exchanged_hall_leads_reverse_the_codes_and_are_named(frequency):
    hall = analyse(good_leads() | {"a": lead(240), "c": lead(0)}, Rotor(frequency))
    assert values(hall)["hall_order"] == -1
    (finding,) = find_causes(hall.measurements, motor_type(), hall)
    assert finding.code == "hall_leads_exchanged"
    assert "leads A and C are exchanged" in finding.text


def test_order_is_held_against_the_drive_not_the_lines():
    """The lines claim reverse, the drive turns forward: the codes run backwards for that drive."""
    hall = analyse(good_leads(), Rotor(-100.0), drive_sign=1)
    assert values(hall)["hall_order"] == -1


def test_turned_board_shifts_all_sensors_alike():
    hall = analyse({name: lead(rise + 9) for name, rise in zip("abc", (0, 120, 240), strict=True)})
    (finding,) = find_causes(hall.measurements, motor_type(), hall)
    assert finding.code == "hall_board_rotated"
    assert "+9.0" in finding.text


def test_uneven_switching_points_show_in_the_duty_only():
    hall = analyse(good_leads() | {"a": Lead(9.0, 171.0)})
    found = values(hall)
    assert found["hall_duty.a"] == pytest.approx(45.0, abs=0.02)
    assert found["hall_placement.a"] == pytest.approx(0, abs=0.03)
    assert [each.code for each in find_causes(hall.measurements, motor_type(), hall)] == ["hall_duty_off"]


def test_motor_without_sensors_is_not_measured():
    rotor = Rotor()
    capture = capture_of(rotor, good_leads(), np.random.default_rng(1), seconds=0.1)
    bare = motor_type()
    hall = analyse_hall(capture, type(bare)("T-2", 4, "star", 48.0, "clockwise", "drive end"), rotor)
    assert hall.measurements == {}
