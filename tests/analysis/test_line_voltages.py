"""station.analysis.line_voltages: block means exact to the last code, and bad samples left out."""

import numpy as np
import pytest
from waves import Turning, Winding, capture

from station.analysis.line_voltages import read_lines

ONE = capture(Turning(), Winding(), np.random.default_rng(2), rate=250e3, seconds=0.4)


def test_means_are_those_of_the_codes():
    lines = read_lines(ONE, 100.0)
    block, count = lines.block, lines.volts.shape[1]
    assert block == int(2500 / (5.9 * 25))
    for row, name in enumerate(("v_ab", "v_bc", "v_ca")):
        exact = ONE.codes[name][:count * block].astype(float).reshape(count, block).mean(axis=1) * 1e-3
        assert lines.volts[row] == pytest.approx(exact, rel=1e-12)
    assert lines.times[0] == pytest.approx((block - 1) / 2 / 250e3)
    assert np.diff(lines.times) == pytest.approx(lines.interval)


def test_fewer_orders_need_fewer_blocks():
    assert read_lines(ONE, 100.0, 13).block == int(2500 / (5.9 * 13))


def test_a_nonsense_frequency_still_leaves_blocks_to_look_at():
    assert read_lines(ONE, 1e-3).volts.shape[1] >= 2048


def test_blocks_with_bad_samples_are_dropped_whole():
    whole, block = read_lines(ONE, 100.0), read_lines(ONE, 100.0).block
    lines = read_lines(ONE, 100.0, bad=np.array([0, 10 * block + 3, 10 * block + 4, whole.times.size * block]))
    kept = np.delete(np.arange(whole.times.size), [0, 10])      # the last one is in no whole block
    assert lines.times == pytest.approx(whole.times[kept])
    assert lines.volts == pytest.approx(whole.volts[:, kept])
