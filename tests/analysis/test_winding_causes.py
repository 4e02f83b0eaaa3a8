"""One phase or all: what voltage, resistance and limits say of the winding, case by case."""

from math import inf

import pytest

from station.analysis.suspicion import suspicion
from station.analysis.winding_causes import WindingEvidence, common_causes, open_causes, uneven_causes

LINES = ("ab", "bc", "ca")
SOUND = {"ab": 10.0, "bc": 10.0, "ca": 10.0}
HALF_OHM = {"ab": 0.5, "bc": 0.5, "ca": 0.5}
BOUNDS = ({f"back_emf_constant_fundamental.{line}": (9.6, 10.4) for line in LINES}
          | {f"winding_resistance.{line}": (0.475, 0.525) for line in LINES})


def evidence(volts=None, ohms=None, unbalance=0.1, order=1.0, winding="star", failed=None):
    return WindingEvidence(volts or SOUND, HALF_OHM if ohms is None else ohms, unbalance, order, winding,
                           suspicion(failed, BOUNDS))


def codes(causes):
    return [found.code for found in causes]


def scaled(volts=1.0, ohms=1.0, failed=None):
    return evidence(dict.fromkeys(LINES, volts * 10.0), dict.fromkeys(LINES, ohms * 0.5), failed=failed)


def sides(**names):
    return {f"{name}.{line}": side for name, side in names.items() for line in LINES}


def test_a_sound_winding():
    for failed in (None, {}):
        known = evidence(failed=failed)
        assert codes([*open_causes(known), *uneven_causes(known), *common_causes(known)]) == []


@pytest.mark.parametrize(("ohms", "where"), [
    ({"ab": 0.5}, "lead C"), ({"ab": inf, "bc": 0.5, "ca": 9.9e37}, "lead A"),
    ({"ab": inf, "bc": inf, "ca": inf}, "more than one lead"),
])
def test_open_lines_are_absent_or_endless(ohms, where):
    (found,) = open_causes(evidence(ohms=ohms))
    assert found.code == "open_phase"
    assert where in found.text


def test_nothing_measured_is_not_open():
    assert list(open_causes(evidence(ohms={}))) == []


@pytest.mark.parametrize(("left", "order", "expected"), [
    (1.0, -1.0, ["reversed_phase"]), (0.003, 1.0, ["shorted_phase"]),
    (1.0, 1.0, ["reversed_phase", "motor_leads_exchanged"]), (0.003, -1.0, ["shorted_phase", "motor_leads_exchanged"]),
])
def test_a_lost_phase_by_resistance_and_the_leads_by_order(left, order, expected):
    """Both give 0.5774, 1, 0.5774; a short takes the resistance along, a reversal turns the order over (derived)."""
    ohms = {"ab": 0.25 + 0.25 * left, "bc": 0.5, "ca": 0.25 + 0.25 * left}
    lost = evidence({"ab": 5.774, "bc": 10.0, "ca": 5.774}, ohms, 50.0, order)
    assert codes(uneven_causes(lost)) == expected


@pytest.mark.parametrize(("ohm", "code"), [(0.485, "shorted_turns"), (0.4995, "coil_group_reversed")])
def test_just_failing_shorts_and_coils_go_by_the_nearer_resistance(ohm, code):
    """Source: x = 0.06 of phase a: ab, ca at 0.9701, resistance less x/2 or unchanged (derived)."""
    known = evidence({"ab": 9.701, "bc": 10.0, "ca": 9.701}, {"ab": ohm, "bc": 0.5, "ca": ohm}, 2.04,
                     failed={"back_emf_unbalance": "high"})
    (found,) = uneven_causes(known)
    assert found.code == code
    assert "2.0 % unbalance" in found.text


def test_drag_alone_needs_voltage_and_resistance_to_agree():
    volts = {"ab": 9.75, "bc": 10.0, "ca": 9.75}
    shorted = {"ab": 0.4875, "bc": 0.5, "ca": 0.4875}
    assert codes(uneven_causes(evidence(volts, shorted, 1.7, failed={"drag_torque": "high"}))) == ["shorted_turns"]
    assert codes(uneven_causes(evidence(volts, HALF_OHM, 1.7, failed={"drag_torque": "high"}))) == []


def test_two_lines_high_are_a_joint_and_two_low_are_not():
    for two, expected in ((0.52, "joint_resistance"), (0.48, "resistance_uneven")):
        ohms = {"ab": two, "bc": two, "ca": 0.5}
        assert codes(uneven_causes(evidence(ohms=ohms, failed={"winding_resistance_spread": "high"}))) == [expected]


@pytest.mark.parametrize(("volts", "ohms", "failed", "expected"), [
    (0.90, 1.00, sides(back_emf_constant_peak="low"), ["weak_magnets"]),
    (1.10, 1.00, sides(flux_linkage="high"), ["strong_magnets"]),
    (0.90, 0.81, sides(back_emf_constant_peak="low", winding_resistance="low"), ["wrong_winding"]),
    (1.03, 1.061, sides(winding_resistance="high"), ["wrong_winding"]),
    (1.00, 1.10, sides(winding_resistance="high"), ["resistance_high"]),
    (0.90, 1.10, sides(back_emf_constant_peak="low", winding_resistance="high"), ["weak_magnets", "resistance_high"]),
    (0.959, 1.00, {"back_emf_constant_fundamental.ab": "low"}, ["weak_magnets"]),
])
def test_what_all_lines_have_in_common(volts, ohms, failed, expected):
    """Source: turns move resistance as their square in a full slot; magnets do not move it, wire moves it alone."""
    assert codes(common_causes(scaled(volts, ohms, failed))) == expected


@pytest.mark.parametrize(("sound", "expected"), [(10.0, []), (9.0, ["weak_magnets"])])
def test_a_short_that_takes_all_lines_of_a_delta_low_does_not_blame_the_magnets(sound, expected):
    """Source: x = 0.3 in delta: ab 0.8, bc and ca 0.9539 of a sound line (derived)."""
    volts = {"ab": 0.8 * sound, "bc": 0.9539 * sound, "ca": 0.9539 * sound}
    known = evidence(volts, {"ab": 0.389, "bc": 0.472, "ca": 0.472}, 11.1, winding="delta",
                     failed=sides(back_emf_constant_fundamental="low"))
    assert codes(uneven_causes(known)) == ["shorted_turns"]
    assert codes(common_causes(known)) == expected
