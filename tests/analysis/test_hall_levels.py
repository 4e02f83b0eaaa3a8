"""Levels of a Hall line, and lines that have none."""

import numpy as np
import pytest

from station.analysis.hall_levels import HallLevels, NoLevels, find_levels, settled_levels
from station.capture import Channel

CHANNEL = Channel(scale=1e-3, offset=0.05)


def codes(volts):
    return np.round((np.asarray(volts) - 0.05) / 1e-3).astype(np.int16)


def square(rng, low=0.2, high=4.8, noise=5e-3, size=20_000):
    state = (np.arange(size) // 500) % 2
    return np.where(state, high, low) + noise * rng.standard_normal(size)


def test_levels_are_in_volts():
    levels = find_levels(codes(square(np.random.default_rng(1))), CHANNEL)
    assert isinstance(levels, HallLevels)
    assert (levels.low, levels.high) == pytest.approx((0.2, 4.8), abs=1e-3)
    assert levels.noise_code * 1e-3 == pytest.approx(5e-3, rel=0.15)


def test_negative_scale_keeps_high_above_low():
    turned = -codes(square(np.random.default_rng(1)))
    levels = find_levels(turned, Channel(scale=-1e-3, offset=0.05))
    assert isinstance(levels, HallLevels)
    assert (levels.low, levels.high) == pytest.approx((0.2, 4.8), abs=1e-3)


@pytest.mark.parametrize("stuck_at", [0.1, 2.5, 4.9])
def test_stuck_line_has_no_levels(stuck_at):
    rng = np.random.default_rng(2)
    found = find_levels(codes(stuck_at + 0.02 * rng.standard_normal(20_000)), CHANNEL)
    assert isinstance(found, NoLevels)
    assert found.mean == pytest.approx(stuck_at, abs=0.01)


def test_stray_pulses_on_a_stuck_line_are_no_levels():
    volts = np.full(20_000, 4.8)
    volts[::400] = 0.2
    assert isinstance(find_levels(codes(volts), CHANNEL), NoLevels)


def test_a_wave_that_rests_nowhere_has_no_levels():
    volts = 2.5 + 2.3 * np.linspace(-1, 1, 2000)[np.arange(20_000) % 2000]
    assert isinstance(find_levels(codes(volts), CHANNEL), NoLevels)


def test_full_scale_codes_do_not_overflow():
    flat = np.array([-32768, 32767] * 1000, dtype=np.int16)
    levels = find_levels(flat, Channel(scale=1e-4))
    assert isinstance(levels, HallLevels)
    assert levels.swing_code == pytest.approx(65535)


def decaying(rng, size):
    """Edges with a time constant of 12 samples every 150: the median level is pulled, the settled one is not."""
    since = np.arange(size) % 150
    tail = np.exp(-since / 12.0)
    state = (np.arange(size) // 150) % 2
    return 0.2 + 4.6 * np.where(state, 1 - tail, tail) + 5e-3 * rng.standard_normal(size)


@pytest.mark.parametrize("size", [20_100, 300_000])
@pytest.mark.parametrize("scale", [1e-3, -1e-3])
def test_settled_levels_are_free_of_the_tails_of_edges(size, scale):
    seen = np.round((decaying(np.random.default_rng(3), size) - 0.05) / scale).astype(np.int16)
    rough = find_levels(seen, Channel(scale, offset=0.05))
    begin = np.arange(100, size, 150)
    levels = settled_levels(seen, rough, begin, begin + 45)
    assert (levels.low, levels.high) == pytest.approx((0.2, 4.8), abs=5e-4)
    assert levels.noise_code == pytest.approx(5.0, rel=0.1)
    assert abs(rough.high - 4.8) > abs(levels.high - 4.8)


def test_too_little_settled_leaves_the_levels_as_they_are():
    rough = find_levels(codes(square(np.random.default_rng(1))), CHANNEL)
    nothing = np.array([100]), np.array([120])
    assert settled_levels(codes(square(np.random.default_rng(1))), rough, *nothing) == rough
    assert settled_levels(codes(square(np.random.default_rng(1))), rough, np.array([9]), np.array([9])) == rough
