"""station.analysis.line_voltages: block means exact to the last code, and bad samples left out."""

import numpy as np
import pytest
from waves import Turning, Winding, capture

from station.analysis import line_voltages
from station.analysis.line_voltages import read_lines
from station.capture import Capture, Channel

ONE = capture(Turning(), Winding(), np.random.default_rng(2), rate=250e3, seconds=0.4)


@pytest.mark.parametrize("frequency", [100.0, 99.0])     # the second leaves samples that fill no block
def test_means_are_those_of_the_codes(frequency):
    lines = read_lines(ONE, frequency)
    block, count = lines.block, lines.volts.shape[1]
    assert block == int(250e3 / frequency / (5.9 * 25))
    assert (block * count < ONE.size) == (frequency != 100.0)
    for row, name in enumerate(("v_ab", "v_bc", "v_ca")):
        exact = ONE.codes[name][:count * block].astype(float).reshape(count, block).mean(axis=1) * 1e-3
        assert lines.volts[row] == pytest.approx(exact, rel=1e-12)
    assert lines.times[0] == pytest.approx((block - 1) / 2 / 250e3)
    assert np.diff(lines.times) == pytest.approx(lines.interval)


@pytest.mark.parametrize("stretch", [1, 1000, 99_990])
def test_stretches_of_any_length_give_the_same_means(monkeypatch, stretch):
    whole = read_lines(ONE, 100.0).volts
    monkeypatch.setattr(line_voltages, "STRETCH", stretch)
    assert np.array_equal(read_lines(ONE, 100.0).volts, whole)


def test_long_blocks_of_large_codes_do_not_overflow():
    """70 000 codes at the rail add up to more than 32 bits hold."""
    size = 2048 * 70_000
    codes = np.broadcast_to(np.int16(32_767), size)
    huge = Capture({"v_ab": codes}, {"v_ab": Channel(1.0)}, 1e-6, 0.0, 1.0, 1.0, 20.0)
    assert np.all(read_lines(huge, 1e-6, names=("v_ab",)).volts == 32_767.0)


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
