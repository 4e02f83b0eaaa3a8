"""What poles of unlike strength look like in the angle: a movement of the shaft that is none."""

from math import pi, sin

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def pole_leak(gains: Floats, order: float) -> float:
    """Return the amplitude, electrical rad, of the movement `order` times per revolution that poles imitate.

    Parameters
    ----------
    gains : (3, 2p) of each half cycle over the mean wave; lines b and c lag by a third of a cycle

    A half cycle of gain g leaves (g - 1) sin x, which passes for an angle of that over the slope
    cos x. Over one half cycle these are at right angles, but not against a movement that itself
    changes within it: integral of sin x cos x exp(-j k x) = 2j sin(k pi / 2) / (4 - k²) from its
    middle, k = `order` / p, over pi / 2 of each half cycle of three lines (derived).
    """
    lines, poles = gains.shape
    k = 2 * order / poles
    middle = pi * (np.arange(poles) + 0.5) + 2 * pi / 3 * np.arange(lines)[:, None]
    turned = ((gains - 1) * np.exp(-1j * k * middle)).sum()
    within = 2 * sin(k * pi / 2) / (4 - k * k) if k != 2 else pi / 4
    return float(2 * abs(turned) * abs(within) / (lines * poles * pi / 2))
