"""station.analysis.wave_fit against numpy's own least squares on the columns as they are defined."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.analysis.wave_fit import fit_waves


def columns(angle, speed, highest):
    """Constant, then speed x sine and speed x cosine of each order, (n, 1 + 2 highest)."""
    orders = np.multiply.outer(angle, np.arange(1, highest + 1))
    return np.hstack([np.ones((angle.size, 1)), speed[:, None] * np.sin(orders), speed[:, None] * np.cos(orders)])


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), highest=st.integers(1, 25), periods=st.floats(6.3, 30.0),
       wobble=st.floats(0, 0.1))
def test_the_sums_over_single_orders_give_the_full_least_squares(seed, highest, periods, wobble):
    rng = np.random.default_rng(seed)
    x = np.linspace(0, 1, 1200)
    angle = 2 * np.pi * periods * x + wobble * np.sin(11 * x)
    speed = 300 * (1 + wobble * np.cos(7 * x))
    volts = rng.standard_normal((3, x.size))
    basis = columns(angle, speed, highest)
    expected = np.linalg.lstsq(basis, volts.T, rcond=None)[0]
    fit = fit_waves(angle, speed, volts, highest)
    found = np.vstack([fit.offset, fit.sine.T, fit.cosine.T])
    assert found == pytest.approx(expected, rel=1e-7, abs=1e-9 * np.abs(expected).max())
    assert fit.residual == pytest.approx(volts - (basis @ expected).T, abs=1e-9)
    assert fit.dof == x.size - basis.shape[1]
    assert fit.sigma == pytest.approx(np.sqrt((fit.residual**2).sum(axis=1) / fit.dof))


def test_the_slope_is_the_derivative_of_the_fitted_wave():
    angle = np.linspace(0, 60, 2000)
    speed = np.full(angle.size, 250.0)
    volts = np.stack([speed * (0.03 * np.sin(angle - shift) + 0.002 * np.cos(5 * angle)) for shift in (0, 2, 4)])
    fit = fit_waves(angle, speed, volts, 7)
    assert np.abs(fit.residual).max() < 1e-9
    assert fit.slope[:, 1:-1] == pytest.approx(np.gradient(volts, angle, axis=1)[:, 1:-1], abs=0.05)
