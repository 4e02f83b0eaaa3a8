"""station.simulated.emf against closed forms of the ideal shapes and relations of a rotor's flux."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.simulated.emf import POINTS_PER_CYCLE, seen_by_windings, winding_table
from station.simulated.lot import demo_lot_path, load_lot
from station.simulated.winding import Windings

TYPES = load_lot(demo_lot_path()).types
KRPM = 1000 * 2 * np.pi / 60


def line_table(name, **changes):
    build = TYPES[name].model_copy(update=changes)
    poles = np.ones(2 * build.pole_pairs)
    return Windings(build.winding, (1.0, 1.0, 1.0)).line_matrix() @ winding_table(build, build.pole_pairs, poles)


def spectrum(line, pole_pairs):
    """Amplitudes by electrical order of a (n + 1,) table over a revolution, by the discrete transform."""
    lines = np.fft.rfft(line[:-1]) / (line.size - 1) * 2
    return lines[::pole_pairs]


@pytest.mark.parametrize(("name", "volts"), [("CP-40", 10.0), ("VB-24", 5.0), ("CP-60D", 8.0)])
def test_peak_between_lines_is_the_declared_constant(name, volts):
    assert np.max(np.abs(line_table(name)), axis=1) * KRPM == pytest.approx([volts] * 3, rel=1e-5)


@pytest.mark.parametrize("name", ["CP-40", "VB-24", "CP-60D"])
def test_rotor_angle_zero_is_the_rising_zero_of_line_ab_and_b_lags(name):
    for line, lag in zip(line_table(name), (0.0, 120.0, 240.0), strict=True):
        fundamental = spectrum(line, TYPES[name].pole_pairs)[1]
        # sin(x - lag) has the transform -j exp(-j lag).
        assert np.angle(fundamental * 1j * np.exp(1j * np.radians(lag))) == pytest.approx(0.0, abs=1e-5)


def test_trapezoid_between_lines_has_the_closed_form_values():
    """Flat 120 degree windings in star. Source: integrals of the piecewise-linear wave, worked by hand."""
    line = line_table("VB-24")[0]
    peak = np.max(line)
    orders = np.abs(spectrum(line, 2))
    assert np.sqrt(np.mean(line[:-1]**2)) / peak == pytest.approx(np.sqrt(5) / 3, rel=1e-4)
    assert np.mean(np.abs(line[:-1])) / peak == pytest.approx(2 / 3, rel=1e-4)
    assert orders[1] / peak == pytest.approx(6 * np.sqrt(3) / np.pi**2, rel=1e-4)
    assert orders[[3, 9]] / peak == pytest.approx([0.0, 0.0], abs=1e-6)
    assert orders[[5, 7]] / peak == pytest.approx([0.084237 / 2, 0.042978 / 2], rel=1e-3)


def test_delta_shows_three_percent_fifth_and_no_triplens():
    orders = np.abs(spectrum(line_table("CP-60D")[0], 5))
    assert orders[5] / orders[1] == pytest.approx(0.03, rel=1e-6)
    tripled = TYPES["CP-60D"].model_copy(update={"harmonics": [
        TYPES["CP-60D"].harmonics[0].model_copy(update={"order": 3, "share": 0.2})]})
    poles = np.ones(10)
    lines = Windings("delta", (1.0, 1.0, 1.0)).line_matrix() @ winding_table(tripled, 5, poles)
    orders = np.abs(spectrum(lines[0], 5))
    assert orders[3] / orders[1] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("pairs", [2, 4, 5, 20])
def test_one_reversed_or_weak_magnet_takes_its_share_of_the_mean(pairs):
    poles = np.ones(2 * pairs)
    poles[1] = -1.0
    assert np.mean(seen_by_windings(poles, 0.3)) == pytest.approx(1 - 1 / pairs)
    poles[1] = 0.9
    assert np.mean(seen_by_windings(poles, 0.3)) == pytest.approx(1 - 0.1 / (2 * pairs))
    assert np.ptp(seen_by_windings(poles, 0.0)) == pytest.approx(0.0)


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 6).flatmap(lambda p: st.lists(st.floats(-1.5, 1.5), min_size=2 * p, max_size=2 * p)),
       st.floats(0.0, 1.0))
def test_no_winding_gains_flux_from_turn_to_turn(poles, coupling):
    build = TYPES["CP-40"].model_copy(update={"pole_coupling": coupling})
    table = winding_table(build, len(poles) // 2, np.array(poles))
    assert table[:, :-1].mean(axis=1) == pytest.approx([0.0] * 3, abs=1e-4)
    assert table.shape == (3, POINTS_PER_CYCLE * len(poles) // 2 + 1)
