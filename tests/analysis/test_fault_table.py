"""Each fault of the table of faults: what it moves by how much, and the finding that names it with that number."""

import sys
from dataclasses import replace
from math import asin, degrees, sqrt
from pathlib import Path

import numpy as np
import pytest
from waves import Turning, Winding, capture, motor

from station.analysis.analyse import analyse_capture
from station.analysis.findings import find_motor_causes
from station.capture import Channel
from station.motor import HallLayout
from station.simulated import defect as made

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

from drawn_motors import Kind, Station, kinds

# Nominal motors: the formulas of the table hold without any manufacturing spread.
STAR, TRAPEZOID, DELTA = (Kind(kind.build.model_copy(update={"spread": 0.0}), kind.limits) for kind in kinds())


def look_at(kind, *defects, seed=7):
    return Station(np.random.default_rng(seed)).test(kind, defects)


def the_one(found):
    """Text of the only cause found."""
    assert len(found.found) == 1, found.texts
    return found.texts[0]


def relative(found, kind):
    """Line fundamentals over those of the sound motor, ab, bc, ca."""
    sound = look_at(kind).analyses[0].measurements
    return [found.analyses[0].measurements[name].value / sound[name].value
            for name in (f"back_emf_constant_fundamental.{line}" for line in ("ab", "bc", "ca"))]


def value(found, name):
    return found.analyses[0].measurements[name].value


# --- magnets ---
def test_a_sound_motor_has_no_finding():
    for kind in (STAR, TRAPEZOID, DELTA):
        found = look_at(kind)
        assert (found.verdict, found.found, found.unlimited) == ("PASS", (), ())


def test_all_magnets_weak():
    """Source: all lines by 1 - x, shape the same (derived)."""
    found = look_at(STAR, made.WeakMagnets(kind="weak_magnets", share=0.1))
    assert relative(found, STAR) == pytest.approx([0.9] * 3, abs=2e-3)
    assert found.found == ("weak_magnets",)
    assert "known temperature" in the_one(found)
    assert "ab 8.9" in the_one(found) or "ab 9.0" in the_one(found)


def test_one_pole_weak_lowers_the_fundamental_by_its_share_of_the_flux():
    """Source: fundamental by 1 - x/2p for phases connected in series (derived)."""
    found = look_at(STAR, made.WeakPole(kind="weak_pole", share=0.5))
    assert relative(found, STAR) == pytest.approx([1 - 0.5 / 8] * 3, abs=3e-3)
    assert found.found == ("weak_pole",)
    assert "field probe" in the_one(found)
    assert f"{max(value(found, f'pole_spread.{line}') for line in ('ab', 'bc', 'ca')):.1f} %" in the_one(found)


@pytest.mark.parametrize(("kind", "pairs"), [(STAR, 4), (DELTA, 5)], ids=["4 pole pairs", "5 pole pairs"])
def test_one_magnet_reversed(kind, pairs):
    """Source: fundamental by 1 - 1/p; three poles merge, 6 p - 6 edges in a revolution (derived)."""
    found = look_at(kind, made.ReversedMagnet(kind="reversed_magnet"))
    assert relative(found, kind) == pytest.approx([1 - 1 / pairs] * 3, abs=0.02)
    assert value(found, "hall_edges_per_revolution") == 6 * pairs - 6
    assert found.found == ("reversed_magnet",)
    assert f"{6 * pairs - 6}.0 edges per revolution instead of {6 * pairs}" in the_one(found)
    assert f"magnet of the rotor leaves {100 * (1 - 1 / pairs):.0f} %" in the_one(found)


def test_wrong_pole_count():
    """Source: f = p n / 60 (derived)."""
    found = look_at(STAR, made.WrongPoleCount(kind="wrong_pole_count", pole_pairs=5))
    assert found.found == ("wrong_pole_count",)
    assert "5.00 pole pairs, its type 4" in the_one(found)


# --- winding ---
@pytest.mark.parametrize("share", [0.1, 0.25])
def test_shorted_turns_in_star(share):
    """Source: ab, ca by sqrt((3 - 3x + x²)/3), unbalance (x/3)/(1 - x/3), R_ab and R_ca less x/2 (derived)."""
    found = look_at(STAR, made.ShortedTurns(kind="shorted_turns", phase="a", share=share))
    odd = sqrt((3 - 3 * share + share**2) / 3)
    assert relative(found, STAR) == pytest.approx([odd, 1.0, odd], abs=2e-3)
    assert value(found, "back_emf_unbalance") == pytest.approx(100 * (share / 3) / (1 - share / 3), abs=0.05)
    assert found.found[0] == "shorted_turns"
    assert f"about {100 * share:.0f} % of the turns of phase A" in found.texts[0]
    assert f"{value(found, 'back_emf_unbalance'):.1f} % unbalance" in found.texts[0]


def test_shorted_turns_in_delta():
    """Source: at x = 0.1 ab 0.9333, bc and ca 0.9838, unbalance 3.45 % (derived)."""
    found = look_at(DELTA, made.ShortedTurns(kind="shorted_turns", phase="a", share=0.1))
    assert relative(found, DELTA) == pytest.approx([0.9333, 0.9838, 0.9838], abs=2e-3)
    assert found.found[0] == "shorted_turns"
    assert "about 10 % of the turns of phase ab" in found.texts[0]
    assert found.found[1:] == ("drag_high",)
    assert "the shorted winding brakes as well" in found.texts[1]


def test_a_reversed_coil_is_told_from_a_short_by_its_resistance():
    """Source: a coil group g of N reversed reads as a short of x = 2 g/N with the resistance unchanged (derived)."""
    found = look_at(STAR, made.CoilReversed(kind="coil_reversed", phase="b", share=0.05))
    odd = sqrt((3 - 0.3 + 0.01) / 3)
    assert relative(found, STAR) == pytest.approx([odd, odd, 1.0], abs=2e-3)
    assert found.found == ("coil_group_reversed",)
    assert "about 5 % of the turns of phase B" in the_one(found)
    assert "drag torque at two speeds tells" in the_one(found)


def test_phase_open_in_star_from_voltages_and_resistance():
    """Source: the lines of the floating lead read 0.5 of the third, which is normal (derived, equal inputs)."""
    found = look_at(STAR, made.OpenPhase(kind="open_phase", phase="a"))
    assert found.found == ("open_phase",)
    for said in ("v_ab 0.50, v_bc 1.00, v_ca 0.50", "across ab, ca", "lead A or its phase"):
        assert said in the_one(found)


def test_phase_open_in_delta_shows_in_the_resistance_alone():
    """Source: no line voltage changes; across the open phase 2 R, the others R (derived)."""
    found = look_at(DELTA, made.OpenPhase(kind="open_phase", phase="b"))
    assert relative(found, DELTA) == pytest.approx([1.0] * 3, abs=1e-3)
    assert found.found == ("open_phase",)
    assert "across bc is 2.00 times" in the_one(found)
    assert "Back-EMF cannot show this" in the_one(found)


def test_phase_shorted_from_end_to_end_in_star():
    """Source: 0.5774, 1, 0.5774 and 50 % unbalance, which tells it from an open phase (derived)."""
    found = look_at(STAR, made.ShortedPhase(kind="shorted_phase", phase="a"))
    assert relative(found, STAR) == pytest.approx([0.5774, 1.0, 0.5774], abs=1e-3)
    assert value(found, "back_emf_unbalance") == pytest.approx(50.0, abs=0.2)
    assert found.found[0] == "shorted_phase"
    assert "phase A" in found.texts[0]


def test_phase_shorted_from_end_to_end_in_delta_is_no_open_lead():
    """Source: no voltage across the shorted phase, the two others equal and opposite (derived)."""
    found = look_at(DELTA, made.ShortedPhase(kind="shorted_phase", phase="a"))
    assert found.found[0] == "shorted_phase"
    assert "leads A and B touch" in found.texts[0]


@pytest.mark.parametrize(("kind", "expected", "name"), [
    (STAR, [0.5774, 0.5774, 1.0], "B"), (DELTA, [0.8819, 0.3333, 0.8819], "bc")], ids=["star", "delta"])
def test_a_phase_reversed(kind, expected, name):
    """Source: star 0.5774, 0.5774, 1; delta 0.8819, 0.3333, 0.8819; the order of the stronger set flips (derived)."""
    found = look_at(kind, made.ReversedPhase(kind="reversed_phase", phase="b"))
    assert relative(found, kind) == pytest.approx(expected, abs=1e-3)
    assert value(found, "phase_order") == -1
    assert found.found[0] == "reversed_phase"
    assert f"phase {name} is reversed" in found.texts[0]
    assert found.found[1:] in {(), ("drag_high",)}


def test_a_bad_joint():
    found = look_at(STAR, made.HighResistanceJoint(kind="high_resistance_joint", lead="b", ohm=0.08))
    assert found.found == ("joint_resistance",)
    assert "lead B" in the_one(found)
    assert "80" in the_one(found).split(" mohm")[0] or "79.9" in the_one(found) or "80.1" in the_one(found)


def test_wrong_turns_move_back_emf_and_resistance_together():
    """Source: voltage as the turns, resistance as their square in a full slot (derived)."""
    few = look_at(STAR, made.WrongTurns(kind="wrong_turns", factor=0.9))
    many = look_at(STAR, made.WrongTurns(kind="wrong_turns", factor=1.03))   # the back-EMF alone still passes
    assert few.found == many.found == ("wrong_winding",)
    assert "too few turns" in the_one(few)
    assert "too many turns" in the_one(many)


# --- leads ---
def test_two_motor_leads_swapped():
    """Source: order reversed, magnitudes permuted, codes the same (derived)."""
    found = look_at(STAR, made.LeadsSwapped(kind="leads_swapped", pair="bc"))
    assert (value(found, "phase_order"), value(found, "hall_order")) == (-1, 1)
    assert found.found == ("motor_leads_exchanged",)
    assert "motor leads B and C" in the_one(found)


@pytest.mark.parametrize(("order", "late"), [("bca", 240), ("cab", 120)])
def test_motor_leads_moved_round_cannot_be_told_from_the_board(order, late):
    """Source: all Hall offsets by 120 or 240 degrees, alignment alone (derived)."""
    found = look_at(STAR, made.LeadsMovedRound(kind="leads_moved_round", order=order))
    assert found.found == ("hall_leads_exchanged",)
    assert f"Motor leads moved round, or a sensor board turned by {late} degrees" in the_one(found)


def test_both_sets_of_leads_swapped_reads_as_the_other_direction():
    found = look_at(STAR, made.LeadsSwapped(kind="leads_swapped", pair="ab"),
                   made.HallWires(kind="hall_wires", order="bac"))
    assert found.found == ("turns_backwards",)
    assert "direction of the shaft, seen independently" in the_one(found)


@pytest.mark.parametrize(("order", "words"), [
    ("acb", "Hall leads B and C are exchanged"), ("bac", "Hall leads A and B are exchanged"),
    ("cba", "Hall leads A and C are exchanged"), ("bca", "A carries B, B carries C, C carries A"),
    ("cab", "A carries C, B carries A, C carries B"),
])
@pytest.mark.parametrize("kind", [STAR, DELTA], ids=["120", "60"])
def test_hall_wires_permuted(kind, order, words):
    """Source: code order reversed by an exchange of two, kept by a move round (derived)."""
    found = look_at(kind, made.HallWires(kind="hall_wires", order=order))
    assert found.found == ("hall_leads_exchanged",)
    assert words in the_one(found)
    assert value(found, "phase_order") == 1


@pytest.mark.parametrize(("sensors", "words"), [
    (["a", "b", "c"], "all three Hall signals are inverted"), (["b"], "Hall signal B is inverted"),
    (["a", "c"], "Hall signal A and C are inverted"),
])
def test_hall_signals_inverted(sensors, words):
    """Source: all inverted: offset 180 degrees, order kept; one or two: codes 000 and 111 appear (derived)."""
    found = look_at(STAR, made.HallInverted(kind="hall_inverted", sensors=sensors))
    assert found.found == ("hall_sensor_inverted",)
    assert words in the_one(found)
    assert (value(found, "hall_forbidden") > 0) == (len(sensors) < 3)
    assert ("board turned by 180 degrees reads the same" in the_one(found)) == (len(sensors) > 1)
    assert ("the same if Hall signal B is inverted" in the_one(found)) == (len(sensors) == 2)


# --- places and switching points ---
@pytest.mark.parametrize("deg", [5.0, -9.0])
def test_one_sensor_displaced(deg):
    """Source: sectors 60, 60 + d, 60 - d, and so again; duty 50 % (derived)."""
    found = look_at(STAR, made.HallDisplaced(kind="hall_displaced", sensor="b", deg=deg))
    widths = [value(found, f"hall_sector_{number}") for number in range(1, 7)]
    assert sorted(widths) == pytest.approx(sorted([60, 60 + deg, 60 - deg] * 2), abs=0.3)
    assert value(found, "hall_duty.b") == pytest.approx(50.0, abs=0.1)
    assert found.found == ("hall_sensor_displaced",)
    assert "Hall sensor B" in the_one(found)
    assert number_before(the_one(found), " degrees") == pytest.approx(deg, abs=0.3)


@pytest.mark.parametrize("deg", [5.0, -12.0])
def test_the_sensor_board_turned_is_told_from_lag_by_the_other_direction(deg):
    """Source: all offsets alike, widths and duty the same; lag changes its sign with the direction (derived)."""
    found = look_at(STAR, made.HallBoardRotated(kind="hall_board_rotated", deg=deg))
    assert found.found == ("hall_board_rotated",)
    assert number_before(the_one(found), " degrees") == pytest.approx(deg, abs=0.3)
    assert "neither hysteresis nor delay" in the_one(found)


def test_a_latch_with_uneven_points():
    """Source: B_op 8, B_rp -2 in B 50 mT: duty 0.48079, lags asin(0.16) and asin(0.04) (derived)."""
    found = look_at(STAR, made.WeakLatch(kind="weak_latch", sensor="c", operate=0.16, release=-0.04))
    assert value(found, "hall_duty.c") == pytest.approx(48.079, abs=0.1)
    assert found.found == ("hall_duty_off",)
    text = the_one(found)
    assert number_before(text, " and a fall") == pytest.approx(degrees(asin(0.16)), abs=0.4)
    assert number_before(text, " degrees late") == pytest.approx(degrees(asin(0.04)), abs=0.4)
    assert "compare two speeds" in text


def test_a_weak_sensor_ring_makes_every_sensor_late():
    """Source: h = asin(B_op / B); 0.017 in a field of 0.15 gives 6.5 degrees (derived)."""
    found = look_at(STAR, made.WeakSensorRing(kind="weak_sensor_ring", share=0.85))
    assert found.found == ("excess_hysteresis",)
    assert number_before(the_one(found).split("(A")[1], ",") == pytest.approx(degrees(asin(0.017 / 0.15)), abs=0.5)
    assert "compare two speeds" in the_one(found)


@pytest.mark.parametrize("level", ["high", "low"])
def test_a_dead_sensor(level):
    """Source: four edges in a cycle, 4 p in a revolution (derived)."""
    found = look_at(STAR, made.HallStuck(kind="hall_stuck", sensor="a", level=level))
    assert value(found, "hall_edges_per_revolution") == pytest.approx(16.0, abs=0.1)
    assert found.found == ("hall_sensor_stuck",)
    assert f"stays at {4.9 if level == 'high' else 0.15:.2f} V" in the_one(found)


def test_lost_sensor_supply_shows_in_lines_and_current():
    found = look_at(STAR, made.HallSupplyLost(kind="hall_supply_lost"))
    assert found.found == ("hall_supply_missing",)
    assert "0.0" in the_one(found).split(" mA")[0]
    assert "A 4.90 V" in the_one(found)


def test_a_sensor_ring_out_of_centre():
    """Source: amplitude p eps / r; 0.21 mm at 8 mm with p = 4 is 6 degrees (derived)."""
    found = look_at(STAR, made.EccentricSensorRing(kind="eccentric_sensor_ring", deg=degrees(4 * 0.21 / 8)))
    assert value(found, "hall_eccentricity.a") == pytest.approx(6.0, abs=0.3)
    assert found.found == ("eccentric_sensor_ring",)
    assert "6.0" in the_one(found)


def test_a_rotor_out_of_centre_shows_in_the_back_emf_too():
    found = look_at(STAR, made.RotorEccentric(kind="rotor_eccentric", share=0.3, deg=5.0))
    assert found.found == ("rotor_eccentric",)
    assert "dial gauge" in the_one(found)


# --- contacts, coupling, drive ---
def test_a_loose_contact_of_a_lead():
    found = look_at(STAR, made.LooseContact(kind="loose_contact", lead="c"))
    assert found.found == ("loose_contact",)
    assert "watching the resistance" in the_one(found)


def test_a_loose_contact_of_a_sensor():
    found = look_at(STAR, made.HallLoose(kind="hall_loose", sensor="b"))
    assert found.found == ("hall_pulse_missing",)
    assert "on sensor B" in the_one(found)


def test_bounce_or_interference_on_a_sensor():
    found = look_at(STAR, made.HallBounce(kind="hall_bounce", sensor="a"))
    assert found.found == ("hall_bounce",)
    assert "interference" in the_one(found)


def test_a_slipping_coupling_is_no_other_rotor():
    """Source: s = 1 - 60 f / (p n); 0.05 leaves 3.80 of 4 pole pairs (derived)."""
    found = look_at(STAR, made.CouplingSlips(kind="coupling_slips", share=0.05))
    assert found.found == ("coupling_slips",)
    assert "3.80 pole pairs" in the_one(found)


def test_insulation_and_drag():
    leak, drag = made.LowInsulation(kind="low_insulation", megohm=12.0), made.HighDrag(kind="high_drag", factor=6.0)
    found = look_at(STAR, leak, drag)
    assert found.found == ("insulation_low", "drag_high")
    assert "at forward 3000" in found.texts[1]


def number_before(text, words):
    """The number that stands right before the first `words`."""
    return float(text.split(words)[0].split()[-1].lstrip("("))


# --- the same from waves of another making ---
LAYOUT = HallLayout(120, (0.0, 120.0, 240.0))
KIND = replace(motor(), sensors=LAYOUT)


def phasors(a, b, c):
    """Line phasors of a star from complex phase voltages, over the sound 10 V/krpm between lines."""
    return [(x - y) / sqrt(3) * np.exp(-1j * np.pi / 6) for x, y in ((a, b), (b, c), (c, a))]


def star(gain_a=1.0, gain_b=1.0):
    """Phase voltages with b lagging a by 120 degrees."""
    turn = np.exp(-2j * np.pi / 3)
    return phasors(gain_a, gain_b * turn, turn**2)


def waves_of(lines, seed=5, ripple=0.0):
    """Capture of sine lines with these phasors, sensors at the declared places of a sound rotor."""
    gains = tuple(abs(each) for each in lines)
    shifts = tuple(-np.degrees(np.angle(each)) - 120.0 * k for k, each in enumerate(lines))
    turning = Turning(ripple=ripple)
    winding = Winding({1: (10.0, 0.0)}, gains, shifts)
    taken = capture(turning, winding, np.random.default_rng(seed), rate=40e3, seconds=0.2)
    angle = np.degrees(turning.angle(np.arange(taken.codes["v_ab"].size) / 40e3))
    codes, channels = dict(taken.codes), dict(taken.channels)
    for name, rise in zip(("h_a", "h_b", "h_c"), LAYOUT.rise_deg, strict=True):
        codes[name] = np.where((angle - rise) % 360.0 < 180.0, 4800, 200).astype(np.int16)
        channels[name] = Channel(1e-3)
    return replace(taken, codes=codes, channels=channels)


def causes_of(lines, **more):
    analysis = analyse_capture(waves_of(lines, **more), KIND)
    assert analysis.refused is None, analysis.refused
    return find_motor_causes([analysis], {}, KIND)


def test_sound_waves_with_speed_ripple_give_no_cause():
    """Source: ripple moves amplitude and frequency alike; volts over speed and angles stay (derived)."""
    assert causes_of(star()) == ()
    assert causes_of(star(), ripple=0.02) == ()


def test_a_short_moves_the_declared_zero_but_no_sensor():
    """The zero of v_ab moves by several degrees with phase a, and no sensor is to blame for it."""
    (found,) = causes_of(star(gain_a=0.7))
    assert found.code == "shorted_turns"
    assert "30 % of the turns of phase A" in found.text
    assert "winding resistance tells them apart" in found.text


def test_a_reversed_phase_from_waves():
    (found,) = causes_of(star(gain_b=-1.0))
    assert found.code == "reversed_phase"
    assert "phase B" in found.text


def test_exchanged_leads_from_waves():
    a, b, c = 1.0, np.exp(-2j * np.pi / 3), np.exp(-4j * np.pi / 3)
    (found,) = causes_of(phasors(b, a, c))
    assert found.code == "motor_leads_exchanged"
    assert "A and B" in found.text


def test_a_channel_with_a_wrong_gain_is_no_fault_of_the_motor():
    """Source: the sum of the lines leaves g times one of them (derived)."""
    lines = star()
    analysis = analyse_capture(waves_of([1.03 * lines[0], *lines[1:]]), KIND)
    (found,) = find_motor_causes([analysis], {}, KIND)
    assert found.code == "channel_wrong"
    assert "not of the motor" in found.text
