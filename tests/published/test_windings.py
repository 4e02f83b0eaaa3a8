"""Unequal and unusual windings, solved by a circuit simulator, through the whole analysis.

Source of expected voltages: ngspice 39.3 with open terminals, taken down from one computation and not repeated here
(the weak star winding: derived). The windings themselves are put together here by Kirchhoff's laws.
"""

import numpy as np
import pytest
from machines import TURN, angles, capture_of, motor_type

from station.analysis.analyse import analyse_capture
from station.units import RPM, VOLT_PER_KRPM

SPEED = 1500.0


def _windings(gains, orders):
    """EMFs (3, n) V of three windings: gains by winding, amplitudes by order."""
    angle = angles(4, SPEED)
    turned = angle - TURN * np.arange(3)[:, None]
    return np.asarray(gains)[:, None] * sum(size * np.sin(order * turned) for order, size in orders.items())


def _star(windings):
    return windings - np.roll(windings, -1, axis=0)


def _delta(windings):
    """Lines of windings closed on each other: equal impedances share what does not add up to zero."""
    return windings - windings.mean(axis=0)


def _analyse(lines, pole_pairs=4):
    return analyse_capture(capture_of(lines, SPEED), motor_type(pole_pairs))


def _volts(found, line):
    constant = found.measurements[f"back_emf_constant_fundamental.{line}"].value
    return constant * VOLT_PER_KRPM * SPEED * RPM


def test_orders_of_a_star_reach_the_lines_without_triplens():
    """Windings of 10, 2, 1 and 0.5 V at orders 1, 3, 5, 7 give lines of 17.3205, 0, 1.7320 and 0.8660 V."""
    found = _analyse(_star(_windings((1, 1, 1), {1: 10, 3: 2, 5: 1, 7: 0.5})))
    fundamental = _volts(found, "ab")
    assert fundamental == pytest.approx(17.3205, rel=2e-4)
    for order, volts in ((3, 0.0), (5, 1.7320), (7, 0.8660)):
        seen = found.measurements[f"harmonic_{order}.ab"].value / 100 * fundamental
        assert seen == pytest.approx(volts, abs=3e-3)


def test_orders_of_a_delta_reach_the_lines_without_triplens():
    """The same windings in delta give 10, 0 and 1 V at orders 1, 3 and 5."""
    found = _analyse(_delta(_windings((1, 1, 1), {1: 10, 3: 2, 5: 1, 7: 0.5})))
    fundamental = _volts(found, "bc")
    assert fundamental == pytest.approx(10.0, rel=2e-4)
    for order, volts in ((3, 0.0), (5, 1.0)):
        seen = found.measurements[f"harmonic_{order}.bc"].value / 100 * fundamental
        assert seen == pytest.approx(volts, abs=3e-3)


def test_a_weak_star_winding_lowers_two_lines():
    """One winding 6 % low: the two pairs that contain it are 2.98 % low, the third keeps its voltage."""
    found = _analyse(_star(_windings((0.94, 1, 1), {1: 10})))
    low = 17.3205 * (1 - 0.0298)
    assert [_volts(found, line) for line in ("ab", "bc", "ca")] == pytest.approx([low, 17.3205, low], rel=3e-4)


def test_a_weak_delta_winding_lowers_all_lines():
    """One winding of 10 V 10 % low: 9.33333 V across it, 9.83757 V across the others."""
    found = _analyse(_delta(_windings((0.9, 1, 1), {1: 10})))
    expected = [9.33333, 9.83757, 9.83757]
    assert [_volts(found, line) for line in ("ab", "bc", "ca")] == pytest.approx(expected, rel=2e-4)


@pytest.mark.parametrize("closed", [_star, _delta])
def test_a_tenth_of_the_turns_shorted_unbalances_star_and_delta_alike(closed):
    """Source: derived; (x/3) / (1 - x/3) for a share x of one winding: 3.45 % at a tenth."""
    found = _analyse(closed(_windings((0.9, 1, 1), {1: 10})))
    assert found.measurements["back_emf_unbalance"].value == pytest.approx(100 / 29, abs=0.01)


def test_another_pole_count_is_refused():
    """Source: derived; five pole pairs taken for four would show 1875 r/min at 1500."""
    angle = angles(5, SPEED)
    found = _analyse(_star(np.sin(angle - TURN * np.arange(3)[:, None])), pole_pairs=4)
    assert found.refused is not None
    assert found.refused.code == "speed_disagrees"
    assert "5.00 pole pairs" in found.refused.text
    assert not found.measurements
