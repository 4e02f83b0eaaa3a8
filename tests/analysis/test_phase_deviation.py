"""One phase that deviates, put into phasors by hand and taken out of their magnitudes again."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.analysis.phase_deviation import braking_phase, deviation_of_phase

LINES = ("ab", "bc", "ca")
SOUND = np.exp(-2j * np.pi / 3 * np.arange(3))


def _volts(phase, deviation, winding):
    phases = SOUND.copy()
    phases[phase] *= 1 - deviation
    lines = phases - np.roll(phases, -1) if winding == "star" else phases - phases.mean()
    return dict(zip(LINES, np.abs(lines).tolist(), strict=True))


def _ohms(phase, share, winding):
    """Ohm between leads of windings of 1 ohm, one of which has lost a share."""
    own = np.ones(3)
    own[phase] -= share
    between = own + np.roll(own, -1) if winding == "star" else own * (own.sum() - own) / own.sum()
    return dict(zip(LINES, between.tolist(), strict=True))


@given(phase=st.integers(0, 2), size=st.floats(0.01, 0.5), turn=st.floats(-1.5, 1.5),
       winding=st.sampled_from(["star", "delta"]))
def test_deviation_comes_back(phase, size, turn, winding):
    deviation = size * np.exp(1j * turn)
    found = deviation_of_phase(_volts(phase, deviation, winding), phase, winding)
    assert found == pytest.approx(deviation, abs=1e-7)


@pytest.mark.parametrize("winding", ["star", "delta"])
@pytest.mark.parametrize("imaginary", [-0.15, 0.0, 0.15])
def test_the_phase_that_both_resistance_and_voltage_show(winding, imaginary):
    """Either sign of the imaginary part: forward and reverse."""
    found = braking_phase(_volts(1, 0.12 + 1j * imaginary, winding), _ohms(1, 0.1, winding), winding)
    assert found is not None
    assert found[0] == ("B" if winding == "star" else "bc")
    assert found[1] == pytest.approx(0.1)


@pytest.mark.parametrize("winding", ["star", "delta"])
def test_none_where_voltage_and_resistance_disagree(winding):
    volts = _volts(1, 0.12, winding)
    assert braking_phase(volts, _ohms(2, 0.1, winding), winding) is None
    assert braking_phase(volts, {"ab": 1.0, "bc": 1.0}, winding) is None
    assert braking_phase(volts, _ohms(1, 0.1, winding) | {"ca": np.inf}, winding) is None
    assert braking_phase({"ab": 1.0}, _ohms(1, 0.1, winding), winding) is None
