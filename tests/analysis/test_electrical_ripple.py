"""Speed ripple in step with the lines, against harmonics of the same orders."""

import numpy as np
import pytest
from hard_waves import TRAPEZE, Cogging, sensed, six_channels
from waves import Turning, Winding

from station.analysis.analyse import analyse_capture

ONCE = 0.005
EVEN = Winding({**TRAPEZE.harmonics, 2: (0.05, 40.0), 4: (0.02, 10.0)})   # 0.94 % of order 2
SHARE = 100 * 0.05 / TRAPEZE.harmonics[1][0]


def measured(winding=TRAPEZE, *, rpm=4000.0, ripple=ONCE, turning=None, **more):
    turning = turning or Turning(rpm, 1, ripple=ripple)
    found = analyse_capture(six_channels(turning, winding, **more), sensed(turning.pole_pairs))
    assert found.refused is None
    return found.measurements


@pytest.mark.parametrize("rpm", [4000.0, -4000.0])
def test_ripple_once_a_turn_of_one_pole_pair_is_no_second_harmonic(rpm):
    """Taken for a harmonic, 0.5 % of ripple reads as 0.5 % of order 2, and edges move by up to 0.29 degrees."""
    found = measured(rpm=rpm)
    assert found["speed_ripple"].value == pytest.approx(100 * ONCE / np.sqrt(2), rel=0.01)
    for line in ("ab", "bc", "ca"):
        assert found[f"harmonic_2.{line}"].value < 0.01
    assert found["hall_angle_rise.b"].value == pytest.approx(120.0, abs=0.01)
    assert found["hall_angle_fall.b"].value == pytest.approx(300.0, abs=0.01)


@pytest.mark.parametrize("ripple", [0.0, ONCE])
def test_a_second_harmonic_is_no_ripple(ripple):
    found = measured(EVEN, ripple=ripple)
    assert found["speed_ripple"].value == pytest.approx(100 * ripple / np.sqrt(2), abs=0.004)
    for line in ("ab", "bc", "ca"):
        assert found[f"harmonic_2.{line}"].value == pytest.approx(SHARE, abs=0.01)


@pytest.mark.parametrize("more", [{"offsets": (0.2, 0.0, -0.1)},
                                  {"winding": Winding(TRAPEZE.harmonics, (1, 1.003, 0.998))}],
                         ids=["offsets", "unlike lines"])
def test_neither_offsets_nor_unlike_lines_pass_for_ripple(more):
    assert measured(ripple=0.0, **more)["speed_ripple"].value < 0.005


@pytest.mark.parametrize(("pole_pairs", "times"), [(1, 1), (1, 2), (2, 2), (2, 4), (3, 3), (4, 4), (4, 8), (8, 8)])
def test_ripple_in_step_with_the_lines(pole_pairs, times):
    turning = Cogging(4000.0 / pole_pairs, pole_pairs, slot_ripple=0.003, times=times)
    winding = Winding({order: (size * pole_pairs, phase) for order, (size, phase) in TRAPEZE.harmonics.items()})
    found = measured(winding, turning=turning)
    ripple = found["speed_ripple"]
    assert abs(ripple.value - 0.3 / np.sqrt(2)) < 4 * ripple.u < 0.01
    assert max(found["harmonic_2.ab"].value, found["harmonic_3.ab"].value) < 0.01
    assert found["hall_angle_rise.c"].value == pytest.approx(240.0, abs=0.01)


@pytest.mark.parametrize("pole_pairs", [1, 4])
def test_a_third_harmonic_of_one_phase_is_no_ripple(pole_pairs):
    """Of one phase only, it stays in two lines with opposite signs: as much in either sequence."""
    turning = Turning(4000.0 / pole_pairs, pole_pairs)

    def spoil(name, volts):
        third = 0.5 * np.sin(3 * turning.angle(np.arange(volts.size) / 100e3))
        return volts + {"v_ab": third, "v_bc": 0.0, "v_ca": -third}[name]

    winding = Winding({order: (size * pole_pairs, phase) for order, (size, phase) in TRAPEZE.harmonics.items()})
    found = measured(winding, turning=turning, spoil=spoil)
    assert found["speed_ripple"].value < 0.005
    assert found["harmonic_3.ab"].value == pytest.approx(100 * 0.5 / (8 / 1.5 * 4), rel=0.01)


def test_a_second_harmonic_of_unlike_lines_is_no_ripple():
    """A winding with a tenth fewer turns, which also has a tenth less of its own order 2."""
    turning, size = Turning(1000.0, 4), 4000.0 / 1000 * 8 / 1.5

    def spoil(name, volts):
        angle = turning.angle(np.arange(volts.size) / 100e3)
        less = 0.1 * size / np.sqrt(3) * (np.sin(angle) + 0.02 * np.sin(2 * angle))
        return volts - {"v_ab": less, "v_bc": 0.0, "v_ca": -less}[name]

    winding = Winding({order: (4 * part, phase) for order, (part, phase) in EVEN.harmonics.items()})
    assert measured(winding, turning=turning, spoil=spoil)["speed_ripple"].value < 0.005
