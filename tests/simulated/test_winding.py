"""station.simulated.winding against circuit results worked out by hand for star and delta.

Values: two-node and loop equations of three windings at 120 degrees, x = share of turns lost (from memory
of textbook circuit theory; each follows from Kirchhoff's laws in a line or two).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.simulated.winding import Windings

PHASORS = np.exp(-2j * np.pi * np.arange(3) / 3)
RESISTANCE = (0.3, 0.3, 0.3)


def line_phasors(windings, floating=None):
    return windings.line_matrix(floating) @ PHASORS


def relative(windings):
    sound = np.abs(line_phasors(Windings(windings.kind, RESISTANCE)))
    return np.abs(line_phasors(windings)) / sound


def sequences(lines):
    turn = np.exp(2j * np.pi / 3)
    positive = abs(lines[0] + turn * lines[1] + turn**2 * lines[2]) / 3
    negative = abs(lines[0] + turn**2 * lines[1] + turn * lines[2]) / 3
    return positive, negative


@pytest.mark.parametrize(("windings", "wanted"), [
    pytest.param(Windings("star", RESISTANCE, gain=(0.9, 1, 1)), (0.9504, 1.0, 0.9504), id="star, 10 % short"),
    pytest.param(Windings("delta", RESISTANCE, gain=(0.9, 1, 1)), (0.9333, 0.9838, 0.9838),
                 id="delta, 10 % short"),
    pytest.param(Windings("star", RESISTANCE, open_phase=0), (0.5, 1.0, 0.5), id="star, open"),
    pytest.param(Windings("delta", RESISTANCE, open_phase=0), (1.0, 1.0, 1.0), id="delta, open"),
    pytest.param(Windings("star", RESISTANCE, gain=(0, 1, 1)), (0.5774, 1.0, 0.5774), id="star, bridged"),
    pytest.param(Windings("star", RESISTANCE, gain=(1, -1, 1)), (0.5774, 0.5774, 1.0), id="star, reversed"),
    pytest.param(Windings("delta", RESISTANCE, gain=(1, -1, 1)), (0.8819, 0.3333, 0.8819), id="delta, reversed"),
])
def test_line_voltages_of_a_faulty_winding(windings, wanted):
    assert relative(windings) == pytest.approx(wanted, abs=5e-5)


@pytest.mark.parametrize(("kind", "x"), [("star", 0.1), ("delta", 0.1), ("star", 0.3)])
def test_shorted_turns_give_the_known_unbalance(kind, x):
    positive, negative = sequences(line_phasors(Windings(kind, RESISTANCE, gain=(1 - x, 1, 1))))
    assert negative / positive == pytest.approx((x / 3) / (1 - x / 3), rel=1e-9)


def test_reversed_phase_turns_the_sequence_round():
    positive, negative = sequences(line_phasors(Windings("star", RESISTANCE, gain=(1, -1, 1))))
    assert negative / positive == pytest.approx(2.0)


def test_open_star_phase_floats_against_the_third_line():
    ab, bc, ca = line_phasors(Windings("star", RESISTANCE, open_phase=0))
    assert ab == pytest.approx(-bc / 2)
    assert ca == pytest.approx(-bc / 2)


def test_swapped_leads_reverse_order_and_sign():
    sound = line_phasors(Windings("star", RESISTANCE))
    swapped = line_phasors(Windings("star", RESISTANCE, leads=(1, 0, 2)))
    assert swapped == pytest.approx([-sound[0], -sound[2], -sound[1]])


@pytest.mark.parametrize(("kind", "gain"), [("star", (1.0, 1.0, 1.0)), ("delta", (1.0, 1.0, 1.0))])
def test_resistance_of_a_sound_winding(kind, gain):
    wanted = 0.6 if kind == "star" else 0.2
    assert Windings(kind, RESISTANCE, gain).pair_resistances() == pytest.approx((wanted,) * 3)


def test_resistance_of_faulty_windings():
    nothing = float("inf")
    assert Windings("star", RESISTANCE, open_phase=0).pair_resistances() == pytest.approx((nothing, 0.6, nothing))
    # Healthy delta 2R/3; with one open: 2R across it (x 3), R across the others (x 1.5).
    assert Windings("delta", RESISTANCE, open_phase=0).pair_resistances() == pytest.approx((0.6, 0.3, 0.3))
    assert Windings("star", RESISTANCE, joints=(0, 0.1, 0)).pair_resistances() == pytest.approx((0.7, 0.7, 0.6))
    assert Windings("star", (0.2, 0.3, 0.4), leads=(1, 0, 2)).pair_resistances() == pytest.approx((0.5, 0.6, 0.7))


@given(kind=st.sampled_from(["star", "delta"]),
       gain=st.tuples(*[st.floats(-1.5, 1.5)] * 3),
       open_phase=st.sampled_from([None, 0, 1, 2]),
       leads=st.permutations([0, 1, 2]),
       floating=st.sampled_from([None, 0, 1, 2]))
def test_three_line_voltages_always_sum_to_zero(kind, gain, open_phase, leads, floating):
    windings = Windings(kind, RESISTANCE, gain, open_phase=open_phase, leads=tuple(leads))
    assert np.abs(windings.line_matrix(floating).sum(axis=0)) == pytest.approx(np.zeros(3), abs=1e-12)
