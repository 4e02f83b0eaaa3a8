"""The movement that unlike poles imitate, against a fit of angles to waves made of them."""

import numpy as np
import pytest

from station.analysis.pole_leak import pole_leaks


def fitted(gains, order):
    """Amplitude of cos and sine `order` times per revolution in the angle of best fit, by brute force."""
    lines, poles = gains.shape
    angle = np.linspace(0, np.pi * poles, 20_000, endpoint=False)
    slopes, residuals = [], []
    for line in range(lines):
        own = angle - 2 * np.pi / 3 * line
        gain = gains[line, np.floor(own / np.pi).astype(int) % poles]
        slopes.append(np.cos(own))
        residuals.append((gain - 1) * np.sin(own))
    slope, residual = np.concatenate(slopes), np.concatenate(residuals)
    mechanical = np.tile(angle * 2 / poles, lines)
    columns = np.column_stack([slope * np.cos(order * mechanical), slope * np.sin(order * mechanical)])
    return float(np.hypot(*np.linalg.lstsq(columns, residual, rcond=None)[0]))


@pytest.mark.parametrize(("pole_pairs", "order"), [(2, 1), (3, 1), (4, 1), (4, 2), (4, 3), (5, 3), (8, 2), (4, 8)])
def test_leak_is_what_a_fit_of_the_angle_shows(pole_pairs, order):
    """A pole weak for all lines, and poles unlike for each of them; the last order is twice per electrical period."""
    rng = np.random.default_rng(11)
    for gains in (np.where(np.arange(2 * pole_pairs) == 3, 0.98, 1.0) * np.ones((3, 1)),
                  1 + 0.01 * rng.standard_normal((3, 2 * pole_pairs))):
        found, _other = pole_leaks(gains, np.array([order, order + 0.5]))
        assert found == pytest.approx(fitted(gains, order), rel=0.02, abs=1e-6)


def test_like_poles_leak_nothing():
    assert pole_leaks(np.ones((3, 8)), np.array([1.0, 2.5])) == pytest.approx([0.0, 0.0], abs=1e-12)
