"""What poles of unlike strength look like in the angle: a movement of the shaft that is none."""

from math import pi

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def pole_leaks(gains: Floats, orders: Floats) -> Floats:
    """Return the amplitudes (k,), electrical rad, of the movements `orders` times per revolution that poles imitate.

    Parameters
    ----------
    gains : (3, 2p) of each half cycle over the mean wave; lines b and c lag by a third of a cycle
    orders : (k,) per revolution

    A half cycle of gain g leaves (g - 1) sin x, which passes for an angle of that over the slope
    cos x. Over one half cycle these are at right angles, but not against a movement that itself
    changes within it: integral of sin x cos x exp(-j k x) = 2j sin(k pi / 2) / (4 - k²) from its
    middle, k = order / p, over pi / 2 of each half cycle of three lines (derived).
    """
    lines, poles = gains.shape
    k = 2 * orders / poles
    middle = pi * (np.arange(poles) + 0.5) + 2 * pi / 3 * np.arange(lines)[:, None]
    turned = ((gains - 1) * np.exp(-1j * np.multiply.outer(k, middle))).reshape(k.size, -1).sum(axis=1)
    away = 4 - k * k
    within = np.divide(2 * np.sin(k * pi / 2), away, out=np.full(k.size, pi / 4), where=away != 0)
    leaks: Floats = 2 * np.abs(turned) * np.abs(within) / (lines * poles * pi / 2)
    return leaks
