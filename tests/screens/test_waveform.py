"""Windows of captures lose no extreme, and hold the samples themselves once there is room."""

import json
import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.capture import Accuracy, Capture, Channel
from station.screens.waveform import MOST_COLUMNS, window_of

NAMES = ("v_ab", "v_bc", "v_ca", "h_a", "h_b", "h_c")


def capture_of(size, seed=1, scale=1e-3):
    rng = np.random.default_rng(seed)
    codes = {name: rng.integers(-3000, 3000, size).astype(np.int16) for name in NAMES}
    for shift, name in enumerate(NAMES[3:]):
        codes[name] = np.where((np.arange(size) + 17 * shift) % 120 < 60, 5000, 0).astype(np.int16)
    channels = {name: Channel(scale, 0.25) for name in NAMES}
    return Capture(codes, channels, 4e-6, 0.0, 100.0, 100.0, 20.0, Accuracy(), "x")


@given(st.integers(1, 3000), st.integers(-10, 3100), st.integers(-10, 3100), st.integers(-2, 500),
       st.sampled_from([1e-3, -2e-3]))
@settings(deadline=None)
def test_extremes_of_any_window_are_those_of_its_samples(size, first, last, columns, scale):
    capture = capture_of(size, scale=scale)
    window = window_of(capture, first, last, columns)
    begin = min(max(first, 0), size - 1)
    end = min(max(last, begin + 1), size)
    for name in NAMES:
        volts = (capture.codes[name][begin:end] * scale + 0.25).astype(np.float32)
        assert window.low[name].min() == volts.min()
        assert window.high[name].max() == volts.max()
        assert np.all(window.low[name] <= window.high[name])
        if window.per == 1:
            assert np.array_equal(window.low[name], volts)
    assert len(window.codes) == -(-(end - begin) // window.per) <= max(2 * columns, 2)


def test_a_spike_of_one_sample_is_seen_from_any_distance():
    capture = capture_of(200_000)
    capture.codes["v_bc"][123_457] = 32_000
    for columns in (10, 800, 1600):
        assert window_of(capture, 0, 200_000, columns).high["v_bc"].max() == np.float32(32.25)


def test_codes_follow_the_sensors_and_are_unknown_where_they_change():
    capture = capture_of(1200)
    window = window_of(capture, 0, 1200, 2000)
    assert window.per == 1
    expected = sum((capture.codes[name] > 2500).astype(int) << bit for bit, name in enumerate(NAMES[3:]))
    assert np.array_equal(window.codes, expected)
    coarse = window_of(capture, 0, 1200, 120)   # 10 samples: the edges of b and c lie within columns
    assert set(coarse.codes) > {-1}
    for column, code in enumerate(coarse.codes):
        inside = set(expected[10 * column:10 * column + 10])
        assert (code == -1) == (len(inside) > 1)
        assert code == -1 or inside == {code}


def test_a_line_without_sensors_has_no_codes():
    capture = capture_of(100)
    del capture.codes["h_b"]
    assert set(window_of(capture, 0, 100, 50).codes) == {-1}


@pytest.mark.parametrize("columns", [50, 10**9])
def test_the_bytes_read_back_as_what_they_were(columns):
    capture = capture_of(9001)
    window = window_of(capture, 7, 9001, columns)
    content = window.as_bytes()
    (length,) = struct.unpack_from("<I", content)
    head = json.loads(content[4:4 + length])
    assert length % 4 == 0
    assert head["columns"] == len(window.codes) <= 2 * MOST_COLUMNS
    at = 4 + length
    for name in head["channels"]:
        for side in (window.low, window.high)[:2 if head["per"] > 1 else 1]:
            assert np.array_equal(np.frombuffer(content, "<f4", head["columns"], at), side[name])
            at += 4 * head["columns"]
    assert np.array_equal(np.frombuffer(content, np.int8, offset=at), window.codes)
