"""What differs from one time of putting a motor into the fixture to the next, the motor being the same."""

from dataclasses import dataclass
from math import pi

import numpy as np

from station.motor import LINES, SENSORS

# Sizes of a clean fixture in daily use; common practice, no source.
CONTACT = 4e-5          # ohm per lead, rms, between the force and the sense contact of a four-wire clamp
PROBE = 0.06            # K, rms, by which the probe at the winding reads its surroundings instead
RUNOUT = 1.5e-4         # of the speed, rms, once per revolution, of a coupling that is not quite in line


@dataclass(frozen=True, slots=True)
class Fitting:
    """One fitting: contacts, seat of the probe, place of the rotor to the coupling, and how well that is in line."""

    contacts: tuple[float, float, float]    # ohm, leads a, b, c
    probe: float                            # K
    turn: float                             # rad
    runout: float                           # share of the speed
    runout_phase: float                     # rad

    def pair_resistance(self, pair: int) -> float:
        """Return what the contacts add to line pair 0 ab, 1 bc, 2 ca, ohm."""
        first, second = (SENSORS.index(lead) for lead in LINES[pair])
        return self.contacts[first] + self.contacts[second]


def draw_fitting(random: np.random.Generator) -> Fitting:
    """Return the next fitting."""
    a, b, c = (float(value) for value in CONTACT * np.abs(random.standard_normal(3)))
    return Fitting((a, b, c), PROBE * float(random.standard_normal()), float(random.uniform(0, 2 * pi)),
                   RUNOUT * abs(float(random.standard_normal())), float(random.uniform(0, 2 * pi)))
