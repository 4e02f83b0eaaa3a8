"""Shorted turns that carry current: how one phase deviates from the two others in size and in phase."""

from collections.abc import Mapping
from math import isfinite

import numpy as np

from station.analysis.unbalance import TURN, symmetrical_components
from station.analysis.winding import phase_resistances
from station.motor import LINES, Winding


def deviation_of_phase(volts: Mapping[str, float], phase: int, winding: Winding) -> complex:
    """Return d with 1 - d the voltage of `phase` (0, 1, 2: a, b, c or ab, bc, ca) over that of the two others.

    Missing turns make d real. Shorted turns carry a current whose field turns the voltage of the rest, the more
    the faster the shaft: d = x + j k x (1 - x) w L / (R + j x w L) for a share x of turns and a coupling k.
    Of magnitudes alone the sign of the imaginary part depends on the way the shaft turns.

    Source: symmetrical components, negative over positive = -(d/3) a^k / (1 - d/3) of phase k, turned by
    60 degrees between phases and lines of a star (derived; a circuit simulator's windings bear it out).
    """
    ab, bc, ca = (volts[line] for line in LINES)
    along = (ca**2 - ab**2 - bc**2) / (2 * ab)  # the lines close a triangle; ab lies on the real axis, bc lags it
    across = -np.sqrt(max(bc**2 - along**2, 0.0))
    _zero, positive, negative = symmetrical_components(np.array([ab, along + 1j * across, -ab - along - 1j * across]))
    ratio = negative / positive * (np.exp(1j * np.pi / 3) if winding == "star" else 1.0) * TURN**-phase
    return complex(-3 * ratio / (1 - ratio))


def braking_phase(volts: Mapping[str, float], ohms: Mapping[str, float], winding: Winding) -> tuple[str, float] | None:
    """Return the phase whose resistance shows shorted turns that its voltage bears out, and their share.

    None unless all three lines have resistance and voltage, and the phase loses about as much voltage as resistance.
    """
    if any(not isfinite(ohms.get(line, np.nan)) or not volts.get(line, 0.0) > 0 for line in LINES):
        return None
    phases = phase_resistances(ohms, winding)
    least = min(phases, key=lambda name: phases[name])
    others = sum(each for name, each in phases.items() if name != least) / 2
    share = 1 - phases[least] / others
    lost = deviation_of_phase(volts, list(phases).index(least), winding).real
    return (least.upper() if winding == "star" else least, share) if share / 2 < lost < 2 * share else None
