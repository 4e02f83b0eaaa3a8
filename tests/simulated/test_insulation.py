"""station.simulated.insulation: the charge builds up and decays as a resistor and a capacitor do."""

import numpy as np
import pytest

from station.simulated.insulation import CAPACITANCE, DISCHARGE, SOURCE_RESISTANCE, InsulationPath


def test_charges_and_then_decays_through_the_discharge_path():
    path = InsulationPath(1e12)
    path.switch(500.0, True, 0.0)
    assert path.voltage(SOURCE_RESISTANCE * CAPACITANCE) == pytest.approx(500.0 * (1 - 1 / np.e), rel=1e-3)
    assert path.voltage(1.0) == pytest.approx(500.0, rel=1e-3)
    path.switch(0.0, False, 1.0)
    assert path.voltage(1.0) == pytest.approx(500.0, rel=1e-3)
    assert path.voltage(1.0 + DISCHARGE * CAPACITANCE) == pytest.approx(500.0 / np.e, rel=1e-3)
    assert path.voltage(3.0) < 1.0


def test_damaged_insulation_pulls_the_voltage_down():
    path = InsulationPath(SOURCE_RESISTANCE)
    path.switch(500.0, True, 0.0)
    assert path.voltage(5.0) == pytest.approx(250.0)
