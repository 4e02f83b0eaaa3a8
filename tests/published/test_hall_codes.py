"""Hall codes and their alignment against tables in makers' notes."""

import numpy as np
import pytest

from station.analysis.hall_codes import FORBIDDEN, declared_intervals
from station.motor import HallLayout

LAYOUT = HallLayout(120, (0.0, 120.0, 240.0))  # each sensor meets the sign of its own line: ab, bc, ca


def _cycle(most_significant):
    """The declared codes by growing angle as integers, with sensor a or c as the most significant bit."""
    weights = {"a": (4, 2, 1), "c": (1, 2, 4)}[most_significant]
    return [sum(bit * weight for bit, weight in zip(each.code, weights, strict=True))
            for each in declared_intervals(LAYOUT)]


def _rotations(cycle):
    return [cycle[k:] + cycle[:k] for k in range(6)]


@pytest.mark.parametrize(("most_significant", "cycle"), [
    # Source: roboteq.freshdesk.com article 70000642195; sensor C is the most significant bit
    pytest.param("c", [1, 3, 2, 6, 4, 5], id="roboteq"),
    # Source: onlinedocs.microchip.com, six-step table, positive, CBA: 100 101 001 011 010 110
    pytest.param("c", [4, 5, 1, 3, 2, 6], id="microchip positive"),
    # Source: NXP AN2513, direction 0
    pytest.param("a", [4, 6, 2, 3, 1, 5], id="nxp direction 0"),
])
def test_cycle_of_a_makers_note(most_significant, cycle):
    assert cycle in _rotations(_cycle(most_significant))


@pytest.mark.parametrize("cycle", [
    pytest.param([5, 4, 6, 2, 3, 1], id="roboteq backwards"),
    pytest.param([4, 6, 2, 3, 1, 5], id="microchip negative"),
])
def test_cycle_backwards(cycle):
    """Same sources; the integers of one note's forward are another's backward, as the bit order differs."""
    assert cycle in _rotations(_cycle("c")[::-1])
    assert cycle not in _rotations(_cycle("c"))


def test_codes_that_the_note_calls_invalid():
    """Source: roboteq.freshdesk.com article 70000642195: 0 and 7."""
    assert FORBIDDEN[120] == {(0, 0, 0), (1, 1, 1)}
    assert set(_cycle("c")) == set(range(8)) - {0, 7}


def _line_voltage(plus, minus, angle_deg):
    """Voltage between two leads over its peak at a rotor angle whose zero is the rising zero of ab."""
    phase = {"A": -30.0, "B": -150.0, "C": -270.0}
    plus_v, minus_v = (np.sin(np.deg2rad(angle_deg + phase[lead])) for lead in (plus, minus))
    return (plus_v - minus_v) / 3**0.5


@pytest.mark.parametrize(("rise_deg", "table"), [
    # Source: mathworks help, mcb/ref/sixstepcommutation: a goes high with e_bc, b with e_ca, c with e_ab
    pytest.param((120.0, 240.0, 0.0),
                 {"100": "BC", "110": "BA", "010": "CA", "011": "CB", "001": "AB", "101": "AC"}, id="six step block"),
    # Source: mathworks help, sps/ref/bldccommutationlogic: 60 degrees earlier
    pytest.param((60.0, 180.0, 300.0),
                 {"100": "AC", "110": "BC", "010": "BA", "011": "CA", "001": "CB", "101": "AB"}, id="logic block"),
])
def test_each_code_drives_the_pair_with_the_highest_voltage(rise_deg, table):
    """A maker's table, read with the layout it implies, drives every pair at the top of its wave."""
    assert _line_voltage("A", "B", 90.0) == pytest.approx(1.0)
    for each in declared_intervals(HallLayout(120, rise_deg)):
        plus, minus = table["".join(map(str, each.code))]
        assert _line_voltage(plus, minus, each.start_deg + each.width_deg / 2) == pytest.approx(1.0), each
