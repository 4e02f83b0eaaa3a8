"""Fitted edges against shapes whose times and bounds are known."""

import numpy as np
import pytest

from station.analysis.hall_shape import EdgeShape, first_shape, fit_edges

START, WIDTH, EDGES = 12.0, 90, 40


def ramp(length):
    return lambda u: np.clip(u / length, 0, 1), length / 2, np.sqrt(length)


def exponential(tau):
    """Source: half level after tau ln 2; bound s sqrt(2 tau) (derived)."""
    return lambda u: 1 - np.exp(-np.maximum(u, 0) / tau), tau * np.log(2), np.sqrt(2 * tau)


def windows(shape, noise, rng):
    """Windows (40, 90) and where their edges pass one half."""
    curve, half, _ = shape
    start = START + rng.random(EDGES)
    share = curve(np.arange(WIDTH) - start[:, None])
    return share + noise * rng.standard_normal(share.shape), start + half


def fitted(shape, noise, rng):
    curve, *_ = shape
    share, truth = windows(shape, noise, rng)
    fine = np.linspace(-1, WIDTH, 20_000)
    t10, t50, t90 = np.interp([0.1, 0.5, 0.9], curve(fine), fine)
    rough = truth + rng.normal(0, 0.2, EDGES)
    return fit_edges(share, rough, first_shape(t10, t50, t90), noise), truth


@pytest.mark.parametrize("shape", [ramp(4.0), ramp(20.0), ramp(60.0), exponential(4.0), exponential(10.0)])
def test_each_edge_is_timed_as_well_as_its_noise_allows(shape):
    """Source: s sqrt(M) for a ramp of M samples, s sqrt(2 tau) for an exponential (derived)."""
    rng = np.random.default_rng(21)
    errors, means = [], []
    for _ in range(40):
        found, truth = fitted(shape, 0.01, rng)
        errors.append(found.half - truth)
        means.append(np.mean(errors[-1]))
    bound = 0.01 * shape[2]
    assert np.std(errors) < 1.1 * bound               # 1600 edges: 1.8 % standard error
    assert np.std(means) < 1.35 * bound / np.sqrt(EDGES)   # 40 trials: 11 % standard error
    assert abs(np.mean(means)) < 0.6 * bound / np.sqrt(EDGES)
    assert found.time_noise == pytest.approx(bound, rel=0.06)
    assert found.misfit < 0.003


def test_ramp_and_time_constant_are_told_apart():
    rng = np.random.default_rng(4)
    shape = EdgeShape(10.0, 3.0)
    found, _ = fitted((shape.values, shape.crossing(0.5), 0), 0.002, rng)
    assert found.shape.ramp == pytest.approx(10.0, abs=0.1)
    assert found.shape.tau == pytest.approx(3.0, abs=0.05)


@pytest.mark.parametrize(("shape", "truth"), [(EdgeShape(8.0, 1e-3), (0.8, 4.0, 7.2)),
                                              (EdgeShape(1e-3, 5.0), 5.0 * np.log([1 / 0.9, 2.0, 10.0]))])
def test_limits_of_the_model_are_a_ramp_and_an_exponential(shape, truth):
    assert [shape.crossing(level) for level in (0.1, 0.5, 0.9)] == pytest.approx(list(truth), abs=0.01)


@pytest.mark.parametrize("which", [0, 1, 2])
def test_slopes_are_the_derivatives(which):
    since, step = np.linspace(-3.0, 40.0, 300) + 0.0123, 1e-6
    moved = [(since + sign * step * (which == 0), EdgeShape(10.0 + sign * step * (which == 1),
                                                            3.0 + sign * step * (which == 2))) for sign in (1, -1)]
    numeric = (moved[0][1].values(moved[0][0]) - moved[1][1].values(moved[1][0])) / (2 * step)
    _, slopes = EdgeShape(10.0, 3.0).with_slopes(since)
    assert slopes[which] == pytest.approx(numeric, abs=1e-7)


def test_same_phase_of_all_edges_does_not_lead_astray():
    """Edges that all fall alike between the samples tell little of the shape, but still when they are."""
    share = np.tile(ramp(5.0)[0](np.arange(30) - 9.3), (40, 1))
    found = fit_edges(share, np.full(40, 11.9), first_shape(9.8, 11.8, 13.8), 1e-3)
    assert found.half == pytest.approx(np.full(40, 11.8), abs=0.01)


def test_another_shape_shows_as_misfit():
    step = np.where(np.arange(60) < 30, 0.0, 0.6) + np.where(np.arange(60) < 40, 0.0, 0.4)
    share = np.tile(step, (20, 1))
    assert fit_edges(share, np.full(20, 29.5), first_shape(29.0, 29.5, 39.5), 1e-3).misfit > 0.02
