"""Speed ripple once and twice per electrical period, told from harmonics by the sequence of the lines."""

from dataclasses import replace

import numpy as np

from station.analysis.shaft_motion import ELECTRICAL_ORDERS, ShaftMotion
from station.analysis.wave_fit import WaveFit

SHIFT = np.exp(2j * np.pi / 3 * np.arange(3))  # brings lines that lag by a third each onto the first
CLEAR = 3.0       # times what lines as unlike as their fundamentals give of an order in the own sequence
THIRD = 0.2       # of its fundamental: what order 3 of one phase may be, which the lines show if they are unlike
STANDS_OUT = 8.0  # standard deviations of an order beyond which it is looked for unasked


def with_ripple_of(fit: WaveFit, motion: ShaftMotion, pole_pairs: int) -> ShaftMotion:
    """Return `motion` with the ripple of whole electrical orders that `fit` holds as harmonics.

    A speed that ripples by r at electrical order m makes of each line's fundamental an order m + 1 of
    r (m + 1) / (2 m), shifted from line to line as the fundamental is. One wave on three lines has its order 2
    shifted twice as far, which is the other sequence, and no order 3, because the lines add up to zero.
    Offsets and unlike fundamentals show below the fundamental, not above it. Unlike lines leak order 2 into the
    own sequence in the measure that their fundamentals leak out of it, and of order 3 that much of what
    their phases may have; ripple must exceed that clearly, or it stays with the waves. An order that the motion does
    not have yet joins it when noise cannot be what shows it.

    Source: (1 + r cos x) sin(angle + r / m sin x) to first order; derived.
    """
    waves = fit.sine + 1j * fit.cosine
    own, other = SHIFT @ waves, SHIFT.conj() @ waves
    if abs(other[0]) > abs(own[0]):
        own, other = other, own
    speed = abs(motion.polynomial[1]) / motion.span
    noise = float(np.sqrt((fit.sigma**2).sum() * 2 / fit.residual.shape[1])) / speed
    unlike = abs(other[0] / own[0])
    leaks = {1: unlike * abs(other[1]), 2: max(unlike * THIRD * abs(own[0]), abs(other[2]))}
    for m in ELECTRICAL_ORDERS:
        if abs(own[m]) < CLEAR * leaks[m]:
            continue
        if m * pole_pairs not in motion.orders:
            if abs(own[m]) < STANDS_OUT * noise:
                continue
            motion = _with_order(motion, m * pole_pairs)
        # Ripple runs with the angle from the centre on.
        swing = 2 / (m + 1) * own[m] / own[0] * np.exp(1j * m * motion.polynomial[0])
        there = motion.orders == m * pole_pairs
        motion = replace(motion, in_phase=motion.in_phase + there * swing.imag,
                         quadrature=motion.quadrature + there * swing.real)
    return motion


def _with_order(motion: ShaftMotion, order: int) -> ShaftMotion:
    """Return the motion with room for ripple of a known order; its place is not for tuning."""
    return replace(motion, orders=np.append(motion.orders, float(order)), tuned=np.append(motion.tuned, False),
                   in_phase=np.append(motion.in_phase, 0.0), quadrature=np.append(motion.quadrature, 0.0))
