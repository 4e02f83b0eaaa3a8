"""Speed ripple once and twice per electrical period, told from harmonics by the sequence of the lines."""

from dataclasses import replace

import numpy as np

from station.analysis.shaft_motion import ELECTRICAL_ORDERS, ShaftMotion
from station.analysis.wave_fit import WaveFit

SHIFT = np.exp(2j * np.pi / 3 * np.arange(3))  # brings lines that lag by a third each onto the first
CLEAR = 3.0  # order 3 in the lines' own sequence over that in the other; unlike lines give as much of both


def with_ripple_of(fit: WaveFit, motion: ShaftMotion, pole_pairs: int) -> ShaftMotion:
    """Return `motion` with the ripple of whole electrical orders that `fit` holds as harmonics.

    A speed that ripples by r at electrical order m makes of each line's fundamental an order m + 1 of
    r (m + 1) / (2 m), shifted from line to line as the fundamental is. One wave on three lines has its order 2
    shifted twice as far, which is the other sequence, and no order 3, because the lines add up to zero.
    Offsets and unlike fundamentals show below the fundamental, not above it. Only an order 2 that differs
    from line to line would pass for ripple.

    Source: (1 + r cos x) sin(angle + r / m sin x) to first order; derived.
    """
    waves = fit.sine + 1j * fit.cosine
    own, other = SHIFT @ waves, SHIFT.conj() @ waves
    if abs(other[0]) > abs(own[0]):
        own, other = other, own
    swings = np.zeros(motion.orders.size, dtype=np.complex128)
    for m in ELECTRICAL_ORDERS:
        if m == 1 or abs(own[m]) > CLEAR * abs(other[m]):
            # Ripple runs with the angle from the centre on.
            swing = 2 / (m + 1) * own[m] / own[0] * np.exp(1j * m * motion.polynomial[0])
            swings[motion.orders == m * pole_pairs] = swing
    return replace(motion, in_phase=motion.in_phase + swings.imag, quadrature=motion.quadrature + swings.real)
