"""Average run lengths by the chain: against another method, against counting, and at the ends."""

from math import inf, sqrt

import numpy as np
import pytest
from scipy.stats import norm

from station.study.run_length import ewma_run_length, shewhart_run_length


def by_integral_equation(shift, smoothing, limit, nodes=200):
    """L(u) = 1 + 1/λ ∫ L(x) f((x - (1 - λ) u)/λ) dx over the limits, by Gauss and Legendre (Crowder 1987)."""
    edge = limit * sqrt(smoothing / (2 - smoothing))
    x, w = np.polynomial.legendre.leggauss(nodes)
    x, w = x * edge, w * edge
    kernel = w * norm.pdf((x - (1 - smoothing) * x[:, None]) / smoothing - shift) / smoothing
    lengths = np.linalg.solve(np.eye(nodes) - kernel, np.ones(nodes))
    return 1 + float(w * norm.pdf(x / smoothing - shift) / smoothing @ lengths)


@pytest.mark.parametrize("shift", [0.0, 0.3, 1.0, 2.5])
@pytest.mark.parametrize(("smoothing", "limit"), [(0.2, 2.962), (0.1, 2.5), (0.5, 3.0)])
def test_two_methods_agree(smoothing, limit, shift):
    assert ewma_run_length(shift, smoothing, limit) == pytest.approx(by_integral_equation(shift, smoothing, limit),
                                                                     rel=2e-3)


def test_without_memory_it_is_a_chart_of_single_points():
    for shift in (0.0, 1.0, 3.0):
        assert ewma_run_length(shift, 1.0, 3.0) == pytest.approx(shewhart_run_length(shift, 3.0), rel=1e-3)


@pytest.mark.parametrize("shift", [0.5, 1.5])
def test_average_or_point_is_as_counted(shift):
    rng, smoothing, limit, beyond = np.random.default_rng(11), 0.2, 2.962, 3.0
    edge, lengths = limit * sqrt(smoothing / (2 - smoothing)), []
    average, age = np.zeros(20_000), np.zeros(20_000)
    for _ in range(2000):
        points = rng.normal(shift, 1.0, average.size)
        average += smoothing * (points - average)
        age += 1
        out = (np.abs(average) > edge) | (np.abs(points) > beyond)
        lengths.extend(age[out])
        average, age = average[~out], age[~out]
        if average.size == 0:
            break
    spread = np.std(lengths) / sqrt(len(lengths))
    assert ewma_run_length(shift, smoothing, limit, beyond) == pytest.approx(np.mean(lengths), abs=4 * spread)


def test_more_ways_to_signal_signal_sooner():
    for shift in (0.0, 1.0):
        both = ewma_run_length(shift, beyond=3.0)
        assert both < min(ewma_run_length(shift), shewhart_run_length(shift))
        assert ewma_run_length(shift, beyond=inf) == pytest.approx(ewma_run_length(shift, beyond=30.0))
