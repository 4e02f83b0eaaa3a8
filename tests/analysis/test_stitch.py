"""Two captures stitched in electrical angle, held against the six channels of one capture and against the truth."""

from dataclasses import replace

import numpy as np
import pytest
from hall_signals import good_leads, lead
from hard_waves import TRAPEZE, Cogging, sensed, six_channels
from hypothesis import given, settings
from hypothesis import strategies as st
from waves import Turning, Winding

from station.analysis.analyse import analyse_capture
from station.analysis.stitch import analyse_captures, analyse_stitched, parts_together
from station.analysis.stitch_checks import Agreement

FIRST, SECOND = ("v_ab", "h_a", "v_bc", "v_ca"), ("v_ab", "h_a", "h_b", "h_c")
ANGLES = [f"{kind}.{sensor}" for kind in ("hall_angle_rise", "hall_angle_fall", "hall_placement") for sensor in "abc"]
KIND = sensed()
LOW = Winding({h: (a / 4, p) for h, (a, p) in TRAPEZE.harmonics.items()})     # for speeds at which the other clips


def only(capture, names, part=(1, 1)):
    return replace(capture, codes={name: capture.codes[name] for name in names},
                   channels={name: capture.channels[name] for name in names}, part=part)


def pair(one=None, other=None, *, leads=None, seed=5, winding=TRAPEZE, second_winding=None, second_leads=None,
         second=None, names=(FIRST, SECOND), **more):
    """Two captures of the same motor, one after the other; `other` is the motion during the second one."""
    one = one or Turning()
    first = six_channels(one, winding, leads=leads, seed=seed, **more)
    after = six_channels(other or replace(one, start_deg=211.0), second_winding or winding, leads=second_leads or leads,
                         seed=seed + 1000, **(more | (second or {})))
    after = replace(after, declared_speed=first.declared_speed)
    return only(first, names[0], (1, 2)), only(after, names[1], (2, 2))


def off(one, other, name):
    """Difference of two measurements in standard deviations of both."""
    a, b = one.measurements[name], other.measurements[name]
    return (a.value - b.value) / np.hypot(a.u, b.u)


def test_stitched_is_the_whole_capture_within_uncertainty():
    leads = {"a": lead(2.0), "b": lead(121.5), "c": lead(237.0)}
    whole = analyse_capture(six_channels(leads=leads, seed=3), KIND)
    stitched = analyse_stitched(*pair(leads=leads), KIND)
    assert stitched.refused is None
    assert stitched.stitched == 2
    assert stitched.measurements.keys() == whole.measurements.keys()
    for name in (*ANGLES, "commutated_torque_constant", "speed", "back_emf_constant_peak.ab"):
        assert abs(off(stitched, whole, name)) < 3, name
    assert stitched.measurements["hall_order"].value == 1


def test_trials_scatter_no_wider_than_stated():
    leads, beyond = good_leads(), []
    for trial in range(12):
        start = Turning(start_deg=31.0 * trial, ripple=0.004)
        found = analyse_stitched(*pair(start, replace(start, rpm=1503.0, start_deg=17.0 * trial), leads=leads,
                                       seed=10 * trial, seconds=0.2), KIND)
        assert found.refused is None
        for sensor in "abc":
            m = found.measurements[f"hall_placement.{sensor}"]
            beyond.append(m.value / m.u)
    assert np.sqrt(np.mean(np.square(beyond))) < 1.3
    assert np.abs(beyond).max() < 3.5


@pytest.mark.parametrize(("one", "other"), [
    (Turning(ripple=0.01), Turning(ripple=0.01, start_deg=140.0, rpm=1508.0)),
    (Turning(drift=0.02), Turning(drift=0.03, start_deg=10.0)),
    (Turning(odd_ripple=0.01), Turning(odd_ripple=0.01, start_deg=300.0)),
    (Turning(rpm=-1500.0), Turning(rpm=-1497.0, start_deg=77.0)),
    (Turning(), Turning(odd_ripple=0.01)),                      # ripple that the first capture did not show
    (Cogging(slot_ripple=1e-4), Cogging(slot_ripple=1e-4)),
])
def test_motion_does_not_move_the_sensors(one, other):
    found = analyse_stitched(*pair(one, other), KIND)
    assert found.refused is None
    for sensor in "abc":
        m = found.measurements[f"hall_placement.{sensor}"]
        assert abs(m.value) < max(3 * m.u, 0.03)
    assert found.measurements["hall_missing"].value == 0
    assert found.measurements["hall_edges_per_revolution"].value == pytest.approx(24)


def test_unlike_poles_do_not_move_the_sensors():
    poles = np.array([1.0, 0.99, 1.015, 1.0, 0.985, 1.0, 1.0, 1.01])
    found = analyse_stitched(*pair(poles=poles / poles.mean()), KIND)
    assert found.refused is None
    for sensor in "abc":
        m = found.measurements[f"hall_placement.{sensor}"]
        assert abs(m.value) < max(3 * m.u, 0.03)


def test_a_weak_pole_is_a_fault_of_the_motor_and_no_refusal():
    poles = np.array([1.0, 0.8, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0])
    found = analyse_stitched(*pair(poles=poles), KIND)
    whole = analyse_capture(six_channels(poles=poles), KIND)
    assert found.refused is None
    assert found.measurements["pole_spread.ab"].value == pytest.approx(whole.measurements["pole_spread.ab"].value, 0.05)
    for sensor in "abc":
        m = found.measurements[f"hall_placement.{sensor}"]
        assert abs(m.value) < 3 * m.u


@pytest.mark.parametrize(("one", "other"), [
    (Turning(rpm=6000.0, pole_pairs=1), Turning(rpm=5990.0, pole_pairs=1, odd_ripple=0.008)),
    (Turning(rpm=6000.0, pole_pairs=1), Turning(rpm=6010.0, pole_pairs=1, ripple=0.01, odd_ripple=0.006)),
])
def test_motion_that_one_line_cannot_tell_is_refused_or_held_within_uncertainty(one, other):
    found = analyse_stitched(*pair(one, other, winding=LOW), sensed(1))
    if found.refused is not None:
        assert found.refused.code == "stitch_motion"
        return
    for sensor in "abc":
        m = found.measurements[f"hall_placement.{sensor}"]
        assert abs(m.value) < 3 * m.u


@pytest.mark.parametrize("other", [
    Turning(rpm=5990.0, pole_pairs=1, start_deg=211.0), Turning(rpm=5990.0, pole_pairs=1, ripple=0.02),
    Turning(rpm=6006.0, pole_pairs=1, odd_ripple=0.004, start_deg=300.0),
])
def test_one_pole_pair_is_stitched_though_ripple_is_as_fast_as_the_wave(other):
    found = analyse_stitched(*pair(Turning(rpm=6000.0, pole_pairs=1), other, winding=LOW), sensed(1))
    assert found.refused is None
    for sensor in "abc":
        m = found.measurements[f"hall_placement.{sensor}"]
        assert abs(m.value) < max(3 * m.u, 0.03)


def test_ripple_too_fast_for_one_line_is_refused_as_that():
    ripple = Turning(rpm=5990.0, pole_pairs=1, odd_ripple=0.03)
    found = analyse_stitched(*pair(Turning(rpm=6000.0, pole_pairs=1), ripple, winding=LOW), sensed(1))
    assert found.refused.code == "stitch_motion"
    assert found.measurements == {}


def test_noise_may_hide_what_moved():
    assert Agreement(0.3, 0.1).stitch_u == pytest.approx(np.deg2rad(0.5) / np.sqrt(3))


@settings(max_examples=8, deadline=None)
@given(start=st.floats(0, 360), rate=st.sampled_from([60e3, 100e3, 150e3]), rpm=st.floats(1488, 1512))
def test_any_start_rate_and_small_change_of_speed(start, rate, rpm):
    found = analyse_stitched(*pair(other=Turning(rpm=rpm, start_deg=start), seconds=0.2, second={"rate": rate}), KIND)
    assert found.refused is None
    m = found.measurements["hall_placement.b"]
    assert abs(m.value) < max(4 * m.u, 0.05)


def test_the_stitching_is_a_row_of_what_rests_on_it_and_of_nothing_else():
    found = analyse_stitched(*pair(), KIND).measurements
    for name in ANGLES:
        assert "stitching" in {row.source for row in found[name].budget}
    for name in ("back_emf_constant_peak.ab", "hall_sector_1", "hall_duty.a", "speed"):
        assert "stitching" not in {row.source for row in found[name].budget}
    plain = analyse_capture(six_channels(), KIND).measurements
    assert found["hall_placement.b"].u > plain["hall_placement.b"].u
    assert not any(row.source == "stitching" for m in plain.values() for row in m.budget)


def test_what_moved_a_little_is_added_to_the_uncertainty():
    moved = {"a": lead(0.4), "b": lead(120.4), "c": lead(240.4)}
    still, turned = (analyse_stitched(*pair(leads=good_leads(), second_leads=each), KIND)
                     for each in (good_leads(), moved))
    assert turned.refused is None
    row = next(row for row in turned.measurements["hall_placement.b"].budget if row.source == "stitching")
    assert row.u == pytest.approx(0.4 / np.sqrt(3), rel=0.2)
    assert turned.measurements["hall_placement.b"].u > 2 * still.measurements["hall_placement.b"].u


@pytest.mark.parametrize(("code", "changed"), [
    ("stitch_speed", {"other": Turning(rpm=1530.0)}),
    ("direction_contradicts", {"other": Turning(rpm=-1500.0)}),
    ("stitch_speed", {"other": Turning(rpm=900.0)}),
    ("stitch_amplitude", {"second_winding": Winding({h: (0.97 * a, p) for h, (a, p) in TRAPEZE.harmonics.items()})}),
    ("stitch_shape", {"second_winding": Winding(TRAPEZE.harmonics | {5: (0.4, 0.0)})}),
    ("stitch_angle", {"second_leads": {"a": lead(2.0), "b": lead(122.0), "c": lead(242.0)}, "leads": good_leads()}),
    ("stitch_check", {"leads": good_leads(), "second_leads": good_leads() | {"a": 0.2}}),
    ("speed_not_stable", {"other": Turning(rpm=1673.9, drift=-0.5), "second": {"drive_rpm": 1500.0}}),
    ("too_short", {"second": {"seconds": 0.08}}),
    ("sampled_too_slowly", {"second": {"rate": 4e3}}),
])
def test_refuses_what_changed_between_the_captures(code, changed):
    found = analyse_stitched(*pair(**changed), KIND)
    assert found.refused.code == code
    assert found.measurements == {}
    assert found.stitched == 2


def test_refuses_a_dead_reference():
    first, second = pair()
    silent = np.random.default_rng(1).integers(-3, 3, second.size).astype(np.int16)
    found = analyse_stitched(first, replace(second, codes={**second.codes, "v_ab": silent}), KIND)
    assert found.refused.code == "stitch_reference"


def test_refuses_a_capture_without_the_reference():
    first, second = pair(names=(FIRST, SECOND[1:]))
    assert analyse_stitched(first, second, KIND).refused.code == "stitch_reference"


def test_a_switch_that_did_not_change_over_is_seen():
    first, second = pair()
    whole = six_channels(replace(Turning(), start_deg=211.0), seed=1005)
    stuck = replace(second, codes={**second.codes, "h_b": whole.codes["v_bc"], "h_c": whole.codes["v_ca"]})
    assert analyse_stitched(first, stuck, KIND).refused.code == "stitch_switch"
    cut = np.clip(whole.codes["v_bc"].astype(int) * 20, -32768, 32767).astype(np.int16)
    stuck = replace(second, codes={**second.codes, "h_b": cut})
    assert analyse_stitched(first, stuck, KIND).refused.code == "stitch_switch"


def test_a_line_with_a_sensor_on_it_is_refused_as_every_such_capture():
    first, _ = pair()
    sensor = six_channels().codes["h_b"]
    assert analyse_stitched(replace(first, codes={**first.codes, "v_bc": sensor}), pair()[1], KIND).refused is not None


def test_two_digitizers_at_unlike_rates_need_only_the_reference_in_common():
    lines, sensors = FIRST[:1] + FIRST[2:], SECOND
    leads = {"a": lead(1.0), "b": lead(121.0), "c": lead(241.0)}
    found = analyse_stitched(*pair(leads=leads, names=(lines, sensors), second={"rate": 40e3}), KIND)
    assert found.refused is None
    for sensor in "abc":
        m = found.measurements[f"hall_placement.{sensor}"]
        assert abs(m.value - 1.0) < max(3 * m.u, 0.05)
        assert "stitching" in {row.source for row in m.budget}


def test_a_displaced_sensor_is_found_though_stitched():
    leads = good_leads() | {"c": lead(252.0)}
    found = analyse_stitched(*pair(leads=leads), KIND)
    assert found.measurements["hall_placement.c"].value == pytest.approx(12.0, abs=0.1)
    assert [finding.code for finding in found.findings] == ["hall_sensor_displaced"]


def test_a_stuck_check_sensor_is_a_fault_of_the_motor_and_no_refusal():
    found = analyse_stitched(*pair(leads=good_leads() | {"a": 0.2}), KIND)
    assert found.refused is None
    assert found.measurements["hall_missing"].value > 0
    assert "hall_sensor_stuck" in {finding.code for finding in found.findings}


def test_parts_come_in_any_order_and_all_of_them():
    first, second = pair()
    assert analyse_captures([second, first], KIND).measurements == analyse_stitched(first, second, KIND).measurements
    assert analyse_captures([first], KIND).refused.code == "stitch_count"
    assert analyse_captures([first, second, second], KIND).refused.code == "stitch_count"
    whole = six_channels()
    assert analyse_captures([whole], KIND).measurements == analyse_capture(whole, KIND).measurements


def test_parts_find_each_other_by_label_and_number():
    first, second = pair(seconds=0.02)
    slow = [replace(each, label="forward 500") for each in (first, second)]
    whole = replace(first, part=(1, 1))
    assert parts_together([slow[1], first, whole, second, slow[0], first]) == [(0, 4), (1, 3), (2,), (5,)]
    assert parts_together([first, first, second, second]) == [(0, 2), (1, 3)]
    assert parts_together([]) == []


def test_captures_of_unlike_labels_do_not_belong_together():
    first, second = pair()
    assert analyse_stitched(first, replace(second, label="forward 2000"), KIND).refused.code == "stitch_speed"
