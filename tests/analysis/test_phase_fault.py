"""The phase that differs, found again from line voltages made by adding phases by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.analysis.phase_fault import fault_of_voltages, odd_line, share_of_resistance, sound_resistance

LINES = ("ab", "bc", "ca")
SOUND = np.exp(-2j * np.pi / 3 * np.arange(3))
# phase number: the line that stands out and the name of the phase
NAMES = {"star": {0: ("bc", "A"), 1: ("ca", "B"), 2: ("ab", "C")},
         "delta": {0: ("ab", "ab"), 1: ("bc", "bc"), 2: ("ca", "ca")}}


def volts(phase, left, winding, size=10.0):
    own = SOUND.copy()
    own[phase] *= left
    lines = (own - np.roll(own, -1)) / np.sqrt(3) if winding == "star" else own - own.mean()
    return dict(zip(LINES, (size * np.abs(lines)).tolist(), strict=True))


def ohms(phase, left, winding):
    own = np.ones(3)
    own[phase] = left
    lines = own + np.roll(own, -1) if winding == "star" else own * (own.sum() - own) / own.sum()
    return dict(zip(LINES, lines.tolist(), strict=True))


@given(phase=st.integers(0, 2), left=st.floats(0.05, 0.99), winding=st.sampled_from(["star", "delta"]))
def test_what_is_left_of_a_phase_comes_back(phase, left, winding):
    found = fault_of_voltages(volts(phase, left, winding), winding)
    assert (found.line, found.name(winding)) == NAMES[winding][phase]
    assert found.left == pytest.approx(left, abs=1e-9)
    assert found.sound == pytest.approx(10.0)


@given(phase=st.integers(0, 2), left=st.floats(1.01, 1.5))
def test_a_phase_with_more_than_the_others(phase, left):
    assert fault_of_voltages(volts(phase, left, "star"), "star").left == pytest.approx(left, abs=1e-9)


@given(phase=st.integers(0, 2), left=st.floats(0.3, 0.99), winding=st.sampled_from(["star", "delta"]))
def test_resistance_of_the_phase_and_of_a_sound_line(phase, left, winding):
    found = fault_of_voltages(volts(phase, left, winding), winding)
    measured = ohms(phase, left, winding)
    assert share_of_resistance(measured, found, winding) == pytest.approx(left, abs=1e-9)
    assert sound_resistance(measured, found, winding) == pytest.approx(2.0 if winding == "star" else 2 / 3)


def test_no_share_without_all_three_lines():
    found = fault_of_voltages(volts(0, 0.9, "star"), "star")
    assert share_of_resistance({"ab": 1.0, "bc": 1.0}, found, "star") is None
    assert sound_resistance({"ab": 1.0, "bc": 1.0, "ca": float("inf")}, found, "star") is None


def test_the_odd_line_is_the_one_away_from_the_two_that_agree():
    assert odd_line({"ab": 1.0, "bc": 1.01, "ca": 1.2}) == "ca"
    assert odd_line({"ab": 0.8, "bc": 1.0, "ca": 1.01}) == "ab"
