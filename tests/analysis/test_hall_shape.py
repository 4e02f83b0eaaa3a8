"""Fitted edges against shapes whose times and bounds are known."""

import numpy as np
import pytest

from station.analysis.hall_shape import EdgeShapes, edge_curve, fit_edges

START, WIDTH, EDGES = 12.0, 90, 40


def ramp(length):
    return lambda u: np.clip(u / length, 0, 1), length / 2, np.sqrt(length), 0.8 * length


def exponential(tau):
    """Source: half level after tau ln 2; bound s sqrt(2 tau) (derived)."""
    return lambda u: 1 - np.exp(-np.maximum(u, 0) / tau), tau * np.log(2), np.sqrt(2 * tau), tau * np.log(9)


def windows(shape, noise, rng):
    """Windows (90, 40) and where their edges pass one half."""
    curve, half = shape[:2]
    start = START + rng.random(EDGES)
    share = curve(np.arange(WIDTH)[:, None] - start)
    return share + noise * rng.standard_normal(share.shape), start + half


def fitted(shape, noise, rng):
    share, truth = windows(shape, noise, rng)
    return fit(share, noise), truth


def fit(share, noise=1e-3):
    return fit_edges(share, np.array([0]), np.array([noise]))


def edge(ramp, tau):
    return EdgeShapes(np.array([ramp]), np.array([tau]))


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
    assert 0.01 / np.sqrt(found.steepness) == pytest.approx([bound], rel=0.06)
    assert found.misfit < 1.3e-4    # the noise alone, less what the fit takes of it
    assert found.duration == pytest.approx([shape[3]], rel=0.02)


@pytest.mark.parametrize(("ramp_length", "tau"), [(10.0, 3.0), (4.0, 4.0)])
def test_edges_with_both_causes_are_timed_at_their_half(ramp_length, tau):
    rng, shape = np.random.default_rng(4), edge(ramp_length, tau)
    t10, half, t90 = shape.crossings((0.1, 0.5, 0.9))[:, 0]
    found, truth = fitted((lambda u: edge_curve(u, np.array(ramp_length), np.array(tau))[0], half), 0.002, rng)
    assert found.half == pytest.approx(truth, abs=0.05)
    assert found.half.mean() == pytest.approx(truth.mean(), abs=0.005)
    assert found.duration == pytest.approx([t90 - t10], abs=0.05)


def test_groups_have_shapes_of_their_own():
    rng = np.random.default_rng(6)
    parts = [windows(shape, 0.005, rng) for shape in (ramp(6.0), exponential(8.0), ramp(30.0))]
    share = np.concatenate([each for each, _ in parts], axis=1)
    found = fit_edges(share, np.array([0, EDGES, 2 * EDGES]), np.full(3, 0.005))
    assert found.duration == pytest.approx([4.8, 8.0 * np.log(9), 24.0], rel=0.02)
    assert abs(found.half - np.concatenate([truth for _, truth in parts])).max() < 0.15


@pytest.mark.parametrize(("shape", "truth"), [(edge(8.0, 1e-3), (0.8, 4.0, 7.2)),
                                              (edge(1e-3, 5.0), 5.0 * np.log([1 / 0.9, 2.0, 10.0]))])
def test_limits_of_the_model_are_a_ramp_and_an_exponential(shape, truth):
    assert shape.crossings((0.1, 0.5, 0.9))[:, 0] == pytest.approx(list(truth), abs=0.01)


@pytest.mark.parametrize("which", [0, 1, 2])
def test_slopes_are_the_derivatives(which):
    since, step = np.linspace(-3.0, 40.0, 300) + 0.0123, 1e-6
    up, down = (edge_curve(since + sign * step * (which == 0), np.array(10.0 + sign * step * (which == 1)),
                           np.array(3.0 + sign * step * (which == 2)))[0] for sign in (1, -1))
    found = edge_curve(since, np.array(10.0), np.array(3.0))[1 + which]
    assert found == pytest.approx((up - down) / (2 * step), abs=1e-7)


def test_same_phase_of_all_edges_does_not_lead_astray():
    """Edges that all fall alike between the samples tell little of the shape, but still when they are."""
    found = fit(np.tile(ramp(5.0)[0](np.arange(30) - 9.3)[:, None], 40))
    assert found.half == pytest.approx(np.full(40, 11.8), abs=0.01)


def test_another_shape_shows_as_misfit():
    step = np.where(np.arange(60) < 30, 0.0, 0.6) + np.where(np.arange(60) < 40, 0.0, 0.4)
    assert float(fit(np.tile(step[:, None], 20)).misfit[0]) > 0.02**2


def test_edges_between_two_samples_are_no_trouble():
    """They have no shape to be found; what comes out is finite and near."""
    share = np.repeat((np.arange(30) > 11)[:, None].astype(float), 20, axis=1)
    found = fit(share)
    assert abs(found.half - 11.5).max() < 1.0
    assert found.duration[0] < 2.0


@pytest.mark.parametrize("seed", range(40))
def test_steep_edges_never_leave_the_place_their_area_shows(seed):
    """A few edges of a group meet a sample on their way, most fall between two: no step may carry one off."""
    random = np.random.default_rng(seed)
    width = int(random.integers(6, 20))
    share = np.zeros((width, 33))
    share[width // 2:] = 1.0
    share[width // 2, :5] = random.uniform(0.5, 1.0, 5)
    share += 1e-4 * random.standard_normal(share.shape)
    found = fit_edges(share, np.array([0]), np.array([1e-4]))
    assert np.abs(found.half - (width // 2 - 0.5)).max() < 3.0
