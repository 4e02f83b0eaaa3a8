"""Uncertainty budgets against the worked examples of the guides, with two packages as outside oracles."""

from math import floor, inf, sqrt

import GTC
import numpy as np
import pytest
import uncertainties
from scipy.stats import t
from uncertainties import umath

from station.analysis.budget import combine, limit_of_error, weighted_sum
from station.certificate.number_format import coverage_factor
from station.measurement import BudgetRow

END_GAUGE = [  # of JCGM 100:2008, H.1, nm: source, u, degrees of freedom
    ("standard", 25.0, 18), ("repeated observations", 5.8, 24), ("comparator, random", 3.9, 5),
    ("comparator, systematic", 6.7, 8), ("difference in expansion", 50_000_623 * 0.1 * 1e-6 / sqrt(3), 50),
    ("difference in temperature", 50_000_623 * 11.5e-6 * 0.05 / sqrt(3), 2)]
IMPEDANCE = np.array([  # of H.2: V, mA, rad in five observations
    [5.007, 4.994, 5.005, 4.990, 4.999], [19.663, 19.639, 19.640, 19.685, 19.678],
    [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]])
THERMOMETER = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
CORRECTION = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])  # of H.3, °C


def correlated(names, covariance, dof=inf):
    """Rows by input, each of independent sources that the inputs share with signs (a Cholesky factor)."""
    factor = np.linalg.cholesky(np.atleast_2d(covariance))
    return {name: [(share, [BudgetRow(f"source {k}", "A", "normal", 1.0, dof, shared=f"source {k}")])
                   for k, share in enumerate(line) if share]
            for name, line in zip(names, factor, strict=True)}


def summed(inputs, **sensitivities):
    """u and degrees of freedom of a linear function of correlated inputs."""
    return combine(weighted_sum([(c * share, rows) for name, c in sensitivities.items()
                                 for share, rows in inputs[name]]))


def test_end_gauge():
    """Source: JCGM 100:2008, H.1: u 32 nm, 16 degrees of freedom, U 93 nm at 99 %; terms as printed in its table."""
    u, dof = combine([BudgetRow(name, "B", "normal", u, each) for name, u, each in END_GAUGE])
    assert u == pytest.approx(31.66, abs=0.01)
    assert floor(dof) == 16
    assert t.ppf(0.995, floor(dof)) == pytest.approx(2.92, abs=0.005)  # as printed; 2.90 if not cut
    assert t.ppf(0.995, floor(dof)) * u == pytest.approx(93, abs=0.6)
    assert coverage_factor(dof) == pytest.approx(t.ppf((1 + 0.9545) / 2, 16), abs=1e-4)
    whole = sum(GTC.ureal(0.0, each_u, each, label=name) for name, each_u, each in END_GAUGE)
    assert (u, dof) == pytest.approx((GTC.uncertainty(whole), GTC.dof(whole)), rel=1e-9)


def _impedance_sensitivities():
    volts, milliamperes, angle = IMPEDANCE.mean(axis=1)
    size = volts / (milliamperes * 1e-3)
    resistance, reactance = size * np.cos(angle), size * np.sin(angle)
    return (resistance, reactance, size), [
        {"volts": value / volts, "milliamperes": -value / milliamperes, "angle": by_angle}
        for value, by_angle in ((resistance, -reactance), (reactance, resistance), (size, 0.0))]


def test_resistance_reactance_and_impedance():
    """Source: JCGM 100:2008, H.2, approach 1: 127.732 (71), 219.847 (295), 254.260 (236) ohm.

    The guide prints u(X) 0.295 from rounded terms; unrounded it is 0.2956.
    """
    names = ("volts", "milliamperes", "angle")
    covariance = np.cov(IMPEDANCE) / 5
    inputs = correlated(names, covariance, 4)
    values, sensitivities = _impedance_sensitivities()
    u = [summed(inputs, **each)[0] for each in sensitivities]
    assert values == pytest.approx((127.732, 219.847, 254.260), abs=6e-4)
    assert u == pytest.approx((0.071, 0.295, 0.236), abs=1e-3)
    v, i, phi = uncertainties.correlated_values(IMPEDANCE.mean(axis=1), covariance)
    oracle = [1e3 * v / i * umath.cos(phi), 1e3 * v / i * umath.sin(phi), 1e3 * v / i]
    assert u == pytest.approx([each.std_dev for each in oracle], rel=1e-6)


def test_dropping_the_correlation_is_not_the_safe_side():
    """Source: JCGM 100:2008, table H.4 without its covariances: u(R) 0.195 too large, u(X) 0.201 too small."""
    inputs = correlated(("volts", "milliamperes", "angle"), np.diag(np.diag(np.cov(IMPEDANCE) / 5)))
    _, (resistance, reactance, _) = _impedance_sensitivities()
    assert summed(inputs, **resistance)[0] == pytest.approx(0.195, abs=1e-3)
    assert summed(inputs, **reactance)[0] == pytest.approx(0.201, abs=1e-3)


def test_correction_of_a_thermometer():
    """Source: JCGM 100:2008, H.3: y1 -0.1712 (29), y2 0.00218 (67), r -0.930; at 30 °C -0.1494 (41), 9 degrees."""
    (slope, start), unscaled = np.polyfit(THERMOMETER - 20, CORRECTION, 1, cov="unscaled")
    residual = CORRECTION - start - slope * (THERMOMETER - 20)
    covariance = unscaled * (residual**2).sum() / 9
    inputs = correlated(("slope", "start"), covariance, 9)
    assert (start, slope) == pytest.approx((-0.1712, 0.00218), abs=5e-5)
    assert summed(inputs, start=1.0)[0] == pytest.approx(0.0029, abs=5e-5)
    assert summed(inputs, slope=1.0)[0] == pytest.approx(0.00067, abs=5e-6)
    assert covariance[0, 1] / sqrt(covariance[0, 0] * covariance[1, 1]) == pytest.approx(-0.930, abs=5e-4)
    u, _ = summed(inputs, start=1.0, slope=10.0)
    assert start + 10 * slope == pytest.approx(-0.1494, abs=5e-5)
    assert u == pytest.approx(0.0041, abs=5e-5)
    oracle = GTC.type_a.line_fit(THERMOMETER - 20, CORRECTION)
    at_30 = oracle.a_b[0] + 10 * oracle.a_b[1]
    assert u == pytest.approx(GTC.uncertainty(at_30), rel=1e-6)
    assert GTC.dof(at_30) == pytest.approx(9)


def test_standard_resistor():
    """Source: EA-4/02 M, S3: 10 000.178 ohm, U 17 mohm; inputs from memory, terms in mohm."""
    ratio, standard = 1.0000105, 10_000.053
    observed = 0.07e-6  # relative
    rows = [BudgetRow("standard", "B", "normal", 5.0 / 2, inf), limit_of_error("drift", 10.0),
            limit_of_error("temperature of the standard", 2.75), limit_of_error("temperature of the other", 5.5),
            BudgetRow("stray currents", "B", "normal", 1e3 * standard * 1e-6 / sqrt(6), inf),
            BudgetRow("repeated observations", "A", "normal", 1e3 * standard * observed, 4)]
    u, dof = combine(rows)
    assert (standard + 0.020) * ratio == pytest.approx(10_000.178, abs=5e-4)
    assert u == pytest.approx(8.33, abs=0.01)
    assert coverage_factor(dof) * u == pytest.approx(17, abs=0.5)


def test_display_of_a_hand_held_meter():
    """Source: EA-4/02 M, S9, from memory: 100 V calibrator, u 0.030 V, half a digit of the display dominates."""
    u, dof = combine([limit_of_error("display", 0.05), BudgetRow("calibrator", "B", "normal", 0.001, inf),
                      limit_of_error("other influences", 0.011)])
    assert u == pytest.approx(0.030, abs=5e-4)
    assert dof == inf


def test_limit_of_error_is_rectangular():
    """Source: JCGM 100:2008, 4.3.7: a half width of 1 gives 0.57735."""
    assert limit_of_error("x", 1.0).u == pytest.approx(0.57735, abs=1e-5)
