"""Means, spread and missing edges of angles given by hand."""

import numpy as np
import pytest

from station.analysis.hall_pattern import edge_pattern, missing_cycles

POLES = 4


def angles(off_deg, revolutions=10):
    """One edge a cycle at 90 degrees, moved by `off_deg` (k,)."""
    return 2 * np.pi * np.arange(POLES * revolutions) + np.deg2rad(90.0 + off_deg)


def test_one_edge_in_the_wrong_place_moves_no_mean_but_the_spread():
    off = np.zeros(40)
    off[17] = 25.0
    found = edge_pattern(angles(off), POLES)
    assert found.mean_deg == pytest.approx(90.0, abs=1e-9)
    assert np.flatnonzero(found.stray).tolist() == [17]
    assert found.spread_deg == pytest.approx(25.0 / 6.0)
    assert found.mean_u_deg < 1e-9
    span = (0.0, 2 * np.pi * 40)
    assert missing_cycles(angles(off)[~found.stray], found.mean_deg, span).tolist() == [17]


@pytest.mark.parametrize("jitter", [0.05, 1.0, 5.0])
def test_scatter_is_never_taken_for_stray_edges(jitter):
    off = jitter * np.random.default_rng(3).standard_normal(40)
    found = edge_pattern(angles(off), POLES)
    assert not found.stray.any()
    assert found.spread_deg == pytest.approx(jitter, rel=0.3)


def test_unlike_poles_are_no_stray_edges():
    found = edge_pattern(angles(np.tile([10.0, -10.0, 0.0, 0.0], 10)), POLES)
    assert not found.stray.any()
    assert found.spread_deg == pytest.approx(0.0, abs=1e-9)


def test_edges_known_to_a_sample_are_never_stray():
    """All edges stay within their samples for revolutions, then those of some poles jump to the next one."""
    random = np.random.default_rng(1)
    for _ in range(300):
        deg = 360.0 / (random.integers(52, 160) + random.uniform(-0.02, 0.02))
        true = np.rad2deg(angles(np.tile(random.uniform(-2.0, 2.0, POLES), 8), 8))
        sampled = deg * (np.ceil(true / deg - random.uniform()) - 0.5)
        assert not edge_pattern(np.deg2rad(sampled), POLES, deg / np.sqrt(12)).stray.any()
