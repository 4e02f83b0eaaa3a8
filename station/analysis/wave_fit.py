"""Least squares of three waves on one angle: volts = offset + speed x sum of harmonics of the angle."""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Orders = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class WaveFit:
    """Harmonics of three lines on one angle, and what is left of the voltages.

    `offset` (3,) V; `sine` and `cosine` (3, H) V s/rad, factors of speed x sin(h angle) and
    speed x cos(h angle); `residual` and `slope` (3, n) V and V/rad, the slope being the derivative
    of the fitted waves after the angle; `sigma` (3,) V, the standard deviation of the residuals.
    """

    offset: Floats
    sine: Floats
    cosine: Floats
    residual: Floats
    slope: Floats
    sigma: Floats

    @property
    def dof(self) -> int:
        """Degrees of freedom of each line's residuals."""
        return int(self.residual.shape[1] - 1 - 2 * self.sine.shape[1])


def fit_waves(angle: Floats, speed: Floats, volts: Floats, highest_order: int) -> WaveFit:
    """Fit three lines on one angle, all orders at once.

    Parameters
    ----------
    angle, speed : (n,) rad and rad/s
    volts : (3, n)
    highest_order : H; n must exceed 2 H + 1

    Notes
    -----
    Sums of squared speed times products of sines and cosines are sums over single orders
    up to 2 H (the product-to-sum rules), so that the normal matrix needs one pass over the basis
    instead of one per pair of columns. Over many periods it is nearly diagonal: the normal equations
    lose nothing there.
    """
    basis = harmonics(angle, highest_order)
    square = speed * speed
    factors = np.vstack([speed * volts, speed, square, square * basis[highest_order - 1], square * basis[-1]])
    sums = basis @ factors.T                                                    # (2H, 7)
    normal = _normal_matrix(sums[:, 3:], float(angle.size), float(square.sum()), highest_order)
    right = np.vstack([volts.sum(axis=1), sums[:, :3]])
    coefficients = np.linalg.solve(normal, right).T                             # (3, 1 + 2H)
    cosine, sine = coefficients[:, 1:highest_order + 1], coefficients[:, highest_order + 1:]
    order = np.arange(1, highest_order + 1)
    waves = np.vstack([coefficients[:, 1:], np.hstack([order * sine, -order * cosine])]) @ basis
    waves *= speed
    residual = volts - coefficients[:, :1] - waves[:3]
    sigma = np.sqrt(np.einsum("ij,ij->i", residual, residual) / max(angle.size - 1 - 2 * highest_order, 1))
    return WaveFit(coefficients[:, 0], sine, cosine, residual, waves[3:], sigma)


def harmonics(angle: Floats, highest_order: int) -> Floats:
    """Return (2H, n): cos(h angle) for h = 1 to H, then sin(h angle), each from the two before.

    Source: cos((h+1) x) = 2 cos(x) cos(h x) - cos((h-1) x), the same for the sine.
    """
    basis = np.empty((2, highest_order, angle.size))
    np.cos(angle, out=basis[0, 0])
    np.sin(angle, out=basis[1, 0])
    twice = 2 * basis[0, 0]
    for waves, of_no_angle in zip(basis, (1.0, 0.0), strict=True):     # cosines, then sines: what is at work stays near
        before: Floats | float = of_no_angle
        for last, wave in pairwise(waves):
            np.subtract(np.multiply(twice, last, out=wave), before, out=wave)
            before = last
    flat: Floats = basis.reshape(2 * highest_order, -1)
    return flat


def _normal_matrix(sums: Floats, count: float, square: float, highest_order: int) -> Floats:
    """Return (1 + 2H, 1 + 2H) from the sums (2H, 4) over speed, its square, and its square at order H."""
    h = highest_order
    linear, low, high_c, high_s = sums.T
    # c[m], s[m]: sums of speed squared x cos(m angle), sin(m angle), m = 0 to 2H
    c = np.concatenate([[square], low[:h], high_c[:h] - high_s[h:]])
    s = np.concatenate([[0.0], low[h:], high_s[:h] + high_c[h:]])
    plus, apart, sense = _order_pairs(h)
    normal = np.empty((1 + 2 * h, 1 + 2 * h))
    normal[0, 0] = count
    normal[0, 1:] = normal[1:, 0] = linear
    of_difference, of_sum = 0.5 * c[apart], 0.5 * c[plus]
    normal[1:h + 1, 1:h + 1], normal[h + 1:, h + 1:] = of_difference + of_sum, of_difference - of_sum
    mixed = 0.5 * (s[plus] + sense * s[apart])          # row: order of the sine, column: of the cosine
    normal[h + 1:, 1:h + 1], normal[1:h + 1, h + 1:] = mixed, mixed.T
    return normal


@lru_cache(maxsize=8)
def _order_pairs(highest_order: int) -> tuple[Orders, Orders, Orders]:
    """Return the sum (H, H) of each two orders, what lies between them, and the sign of the first less the second."""
    order = np.arange(1, highest_order + 1)
    apart = order[:, None] - order
    return order[:, None] + order, np.abs(apart), np.sign(apart)
