"""One Hall line made edge by edge from a given shape, for the tests of this folder."""

import numpy as np

from station.analysis.hall_edges import find_edges
from station.analysis.hall_levels import find_levels
from station.analysis.hall_timing import time_edges
from station.capture import Channel

CHANNEL = Channel(scale=1e-3)
HALF_PERIOD = 1250.37      # samples; not whole, so that edges fall anywhere between samples


def square(shape, count=80, first=600.21, size=None):
    """Codes of `count` edges, `shape(t)` going 0 to 1 around t = 0, and their times."""
    times = first + HALF_PERIOD * np.arange(count)
    index = np.arange(size or int(times[-1] + 600))
    sign = np.where(np.arange(count) % 2 == 0, 1.0, -1.0)
    share = np.zeros(index.size)
    for when, step in zip(times, sign, strict=True):
        share += step * shape(index - when)
    return 0.2 + 4.6 * share, times


def ramp(length):
    return lambda t: np.clip(t / length + 0.5, 0, 1)


def exponential(tau):
    """Passes one half at t = 0."""
    return lambda t: np.where(t > -tau * np.log(2), 1 - 0.5 * np.exp(-np.maximum(t, -tau * np.log(2)) / tau), 0)


def found_in(volts):
    codes = np.round(volts * 1e3).astype(np.int16)
    return find_edges(codes, find_levels(codes, CHANNEL), HALF_PERIOD / 3, 12)


def edges_of(volts):
    (edges,) = time_edges([found_in(volts)])
    return edges
