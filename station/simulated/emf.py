"""Voltage of the three windings per speed, tabulated over one mechanical revolution of the rotor."""

from math import pi

import numpy as np
from numpy.typing import NDArray

from station.simulated.lot import MotorBuild
from station.simulated.winding import Windings
from station.units import VOLT_PER_KRPM

POINTS_PER_CYCLE = 4096   # linear interpolation is then good to 3e-7 of the amplitude
_WINDING_LAG = 2 * pi / 3


def winding_wave(build: MotorBuild, angle: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the voltage of one winding at its own electrical `angle` (n,) rad, of unit plateau or amplitude."""
    if build.shape == "sine":
        wave = np.sin(angle)
    else:
        ramp = (180.0 - build.flat_deg) / 2
        corners = [0.0, ramp, 180.0 - ramp, 180.0 + ramp, 360.0 - ramp, 360.0]
        wave = np.interp(np.degrees(angle) % 360.0, corners, [0.0, 1.0, 1.0, -1.0, -1.0, 0.0])
    for harmonic in build.harmonics:
        wave = wave + harmonic.share * np.sin(harmonic.order * angle + np.radians(harmonic.phase_deg))
    return np.asarray(wave)


def winding_angle(build: MotorBuild, angle: NDArray[np.float64], winding: int) -> NDArray[np.float64]:
    """Return the electrical angle of a winding at rotor electrical `angle`, rad.

    Zero of the rotor angle is the rising zero of line ab. In delta that line is winding a itself; in star
    it is a minus b, which leads winding a by 30 degrees.
    """
    lead = pi / 6 if build.winding == "star" else 0.0
    return angle - lead - winding * _WINDING_LAG


def amplitude(build: MotorBuild) -> float:
    """Return V s/rad of a winding such that a sound motor has the declared peak between lines at 20 °C."""
    angle = np.linspace(0.0, 2 * pi, POINTS_PER_CYCLE + 1)
    waves = np.stack([winding_wave(build, winding_angle(build, angle, k)) for k in range(3)])
    sound = Windings(build.winding, (1.0, 1.0, 1.0))
    peak = float(np.max(np.abs(sound.line_matrix() @ waves)))
    return build.back_emf_constant * VOLT_PER_KRPM / peak


def seen_by_windings(poles: NDArray[np.float64], coupling: float) -> NDArray[np.float64]:
    """Return the strength of each pole as windings in series around the stator see it.

    Parameters
    ----------
    poles : (2p,) strength of each pole, 1 nominal, negative when reversed
    coupling : how far a half cycle follows its own pole; 0: all coils in series average the rotor

    North and south flux of a rotor are equal, so the alternating part is taken out: no winding may see
    its flux grow from turn to turn.
    """
    alternating = np.where(np.arange(poles.size) % 2 == 0, 1.0, -1.0)
    own = poles - alternating * np.mean(alternating * poles)
    return np.asarray((1 - coupling) * np.mean(poles) + coupling * own)


def winding_table(build: MotorBuild, pole_pairs: int, poles: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return (3, n + 1) V s/rad of the windings over one revolution, both ends included, for sound magnets."""
    angle = np.linspace(0.0, 2 * pi * pole_pairs, POINTS_PER_CYCLE * pole_pairs + 1)
    strength = seen_by_windings(poles, build.pole_coupling)
    rows = []
    for winding in range(3):
        own = winding_angle(build, angle, winding)
        half_cycle = np.floor(own / pi).astype(int) % strength.size
        rows.append(strength[half_cycle] * winding_wave(build, own))
    return amplitude(build) * np.stack(rows)
