"""Torque per ampere in the six code intervals, and what it becomes when their edges move."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import inf

import numpy as np
from numpy.typing import NDArray

from station.analysis.back_emf import BackEmf
from station.analysis.hall_codes import Code, CodeInterval

POINTS = 61    # per code interval, ends included
SHARES = np.linspace(0.0, 1.0, POINTS)
EACH = np.arange(6)
BEFORE = np.roll(EACH, 1)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Torque:
    """Torque per ampere over one electrical cycle."""

    mean: float     # N m/A
    ripple: float   # peak to peak over mean


@dataclass(frozen=True, slots=True)
class SixSteps:
    """Torque per ampere at POINTS evenly spaced angles in each interval, its start and end among them.

    `wave` (6, POINTS) N m/A; `slope` (6, POINTS) N m/A per degree; `width` (6,) degrees.
    """

    wave: Floats
    slope: Floats
    width: Floats

    def torque(self) -> Torque:
        """Return mean and ripple of the cycle."""
        low, high = self._extremes()
        return _torque(float(self._areas().sum()), float(low.min()), float(high.max()))

    def turned(self, by: float) -> Torque:
        """Return the torque with all edges moved by `by` degrees, small against an interval."""
        return replace(self, wave=self.wave + by * self.slope).torque()

    def moved(self, by: Sequence[float]) -> list[list[Torque]]:
        """Return six torques for each of `by` (m,) degrees: in the k-th, only the edge that starts interval k is later.

        So interval k begins later, and the one before it goes on until then. A negative move makes it earlier:
        interval k begins with what its slope says, while the one before keeps its extremes.
        """
        step = np.minimum(np.array(by)[:, None], self.width)                                  # (m, 6)
        begins = self.wave[:, 0] + step * self.slope[:, 0]
        goes_on = self.wave[BEFORE, -1] + step * self.slope[BEFORE, -1]
        gained = 0.5 * step * (self.wave[BEFORE, -1] + goes_on - self.wave[:, 0] - begins)
        low, high = self._extremes()
        left = SHARES * self.width[:, None] >= step[:, :, None]
        lows, highs = np.tile(low, (*step.shape, 1)), np.tile(high, (*step.shape, 1))   # every interval by edge moved
        there = self.width > 0.0
        lows[:, EACH, EACH] = np.where(there, np.minimum(np.where(left, self.wave, inf).min(axis=2), begins), inf)
        highs[:, EACH, EACH] = np.where(there, np.maximum(np.where(left, self.wave, -inf).max(axis=2), begins), -inf)
        lows[:, EACH, BEFORE] = np.minimum(low[BEFORE], goes_on)
        highs[:, EACH, BEFORE] = np.maximum(high[BEFORE], goes_on)
        areas = self._areas().sum() + gained
        cases = np.stack([areas, lows.min(axis=2), highs.max(axis=2)], axis=2).tolist()
        return [[_torque(*case) for case in each] for each in cases]

    def _areas(self) -> Floats:
        """Integral over each interval (6,), N m/A times degrees, by trapezoids."""
        ends = 0.5 * (self.wave[:, 0] + self.wave[:, -1])
        areas: Floats = self.width * (self.wave.sum(axis=1) - ends) / (POINTS - 1)
        return areas

    def _extremes(self) -> tuple[Floats, Floats]:
        """Lowest and highest torque of each interval (6,); an interval of no width has none."""
        there = self.width > 0.0
        return np.where(there, self.wave.min(axis=1), inf), np.where(there, self.wave.max(axis=1), -inf)


def six_steps(emf: BackEmf, codes: Sequence[CodeInterval], table: dict[Code, tuple[int, int]]) -> SixSteps:
    """Return the torque per ampere while the codes (six intervals) drive the lines that `table` gives them.

    It is the driven line's voltage per mechanical speed, signed; a code without a line gives none.
    """
    driven = [table.get(each.code, (0, 0)) for each in codes]
    line, sense = [each[0] for each in driven], np.array([each[1] for each in driven])
    start, width = (np.array([(each.start_deg, each.width_deg) for each in codes])).T
    order = np.arange(1, emf.amplitude.shape[1] + 1)
    harmonics = sense[:, None] * emf.amplitude[line] * np.exp(1j * emf.phase[line])           # (6, orders)
    turns = np.exp(1j * np.deg2rad(start[:, None] + width[:, None] * SHARES))
    powers = np.empty((order.size, *turns.shape), dtype=np.complex128)                        # (orders, 6, POINTS)
    powers[0] = turns
    for before, power in pairwise(powers):
        np.multiply(before, turns, out=power)
    columns = np.array([harmonics, harmonics * 1j * np.deg2rad(order)])                       # (2, 6, orders)
    wave, slope = np.moveaxis((powers.transpose(1, 2, 0) @ columns.transpose(1, 2, 0)).imag, 2, 0)
    return SixSteps(wave, slope, width)


def _torque(area: float, low: float, high: float) -> Torque:
    mean = area / 360.0
    return Torque(mean, (high - low) / abs(mean) if mean else inf)
