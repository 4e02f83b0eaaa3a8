"""A motor in the fixture: voltages, sensor levels, resistance, drag and temperature at any moment."""

from dataclasses import dataclass
from hashlib import sha256
from math import pi

import numpy as np
from numpy.typing import NDArray

from station.simulated.as_built import AsBuilt, as_built
from station.simulated.emf import amplitude, winding_table
from station.simulated.hall_sensor import HIGH, Switching, levels, switching
from station.simulated.lot import Lot, MotorBuild

WARMTH = 0.6              # K, from one motor to the next, above ambient
SENSOR_CURRENT = 3.4e-3   # A per sensor
PULL_UP = 4700.0          # ohm
_REFERENCE_C = 20.0       # °C at which the lot file's values hold
_LOOSE_HZ = (23.0, 31.0)  # of the vibration that opens a loose contact
_LOOSE_LEVEL = 1.7        # open while the sum of the two cosines is above this: once in 1/8 s or more


@dataclass(frozen=True, slots=True)
class PlacedMotor:
    """A unit of the lot in the fixture, with tables ready for sampling."""

    serial: str
    build: MotorBuild
    unit: AsBuilt
    winding_c: float                     # °C
    first_angle: float                   # rad, of its rotor when the shaft stands at zero
    lines: NDArray[np.float64]           # (3, n + 1) V s/rad over one revolution
    lines_loose: NDArray[np.float64] | None
    switchings: tuple[tuple[Switching, Switching], ...]
    braking: float                       # N m s/rad, torque per speed of circulating currents

    @property
    def sensor_delay(self) -> float:
        """Electrical delay of the sensors, s."""
        return self.build.sensor_delay_s

    @property
    def insulation(self) -> float:
        """Resistance from winding to frame, ohm."""
        return self.unit.insulation

    @property
    def inertia(self) -> float:
        """Inertia of the rotor, kg m2."""
        return self.build.inertia

    @property
    def cogging_order(self) -> int:
        """Cogging periods per revolution."""
        return self.build.cogging_order

    @property
    def cogging_torque(self) -> float:
        """Amplitude of cogging, N m."""
        return self.build.cogging_torque

    def temperature(self, t: float) -> float:
        """Return the temperature of winding and magnets at simulated `t`, °C."""
        del t  # steady: a test is short against the thermal time constant of the iron
        return self.winding_c

    def line_voltages(self, times: NDArray[np.float64], angle: NDArray[np.float64],
                      speed: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return (3, n) V of ab, bc, ca for (n,) s, shaft rad and rad/s."""
        place = self._place(angle) * ((self.lines.shape[1] - 1) / (2 * pi))
        speed = speed * (1 - self.unit.slip)
        volts = _look_up(self.lines, place) * speed
        if self.lines_loose is not None:
            open_now = _shaken_open(times) & (speed != 0)
            volts[:, open_now] = _look_up(self.lines_loose, place[open_now]) * speed[open_now]
        return volts

    def sensor_levels(self, times: NDArray[np.float64], angle: NDArray[np.float64],
                      speed: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return (3, n) levels at inputs a, b, c as shares of the supply, for (n,) s, shaft rad and rad/s."""
        rotor, speed = self._place(angle), speed * (1 - self.unit.slip)
        edges = (self.build.sensor_rise_s, self.build.sensor_fall_s)
        found = [levels(sensor, course, rotor, speed, edges)
                 for sensor, course in zip(self.unit.sensors, self.switchings, strict=True)]
        if self.unit.loose_sensor is not None:
            found[self.unit.loose_sensor][_shaken_open(times) & (speed != 0)] = HIGH
        return np.stack([found[k] for k in self.unit.sensor_order])

    def _place(self, angle: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray((angle * (1 - self.unit.slip) + self.first_angle) % (2 * pi))

    def sensor_current(self, volts: float) -> float:
        """Return what the sensors draw at this supply, A."""
        if not self.unit.sensors_powered:
            return 0.0
        # Half of the pull-ups carry current at any time.
        return 3 * SENSOR_CURRENT * min(volts / 3.0, 1.0) + 1.5 * volts / PULL_UP

    def pair_resistance(self, pair: int, t: float) -> float:
        """Return the resistance of line pair 0 ab, 1 bc, 2 ca at simulated `t`, ohm."""
        constant = self.build.copper_constant_C
        warm = (constant + self.temperature(t)) / (constant + _REFERENCE_C)
        return self.unit.windings.pair_resistances()[pair] * warm

    def drag(self, speed: float) -> float:
        """Return the drag torque at `speed`, rad/s, N m: bearings, iron, and currents in a faulty winding."""
        mechanical = self.unit.drag_factor * (self.build.drag_torque + self.build.drag_viscous * abs(speed))
        return mechanical + self.braking * abs(speed)


def _braking(build: MotorBuild, unit: AsBuilt) -> float:
    """Torque per speed of circulating currents, N m s/rad: e2 / r at low speed, inductance neglected."""
    windings = unit.windings
    volts = amplitude(build) * unit.strength    # V s/rad
    around = volts * abs(windings.circulating_gain())
    loop = sum(windings.resistance)
    phase = loop / 3
    # A bridged share x of a winding has x of its voltage and x of its resistance.
    return around**2 / (2 * loop) + unit.shorted_share * volts**2 / (2 * phase)


def build_motor(lot: Lot, serial: str, seed: int, ambient_c: float, turn: float = 0.0) -> PlacedMotor:
    """Return the motor `serial` ready for the fixture, its rotor turned by `turn`, rad; UsageError if there is none."""
    entry = lot.motor(serial)
    build = lot.types[entry.type]
    unit = as_built(build, entry, seed)
    digest = int.from_bytes(sha256(("place " + serial).encode()).digest()[:8], "big")
    random = np.random.default_rng([seed, digest])
    winding_c = ambient_c + 0.5 + WARMTH * float(random.uniform())
    magnet = unit.strength * (1.0 + build.magnet_per_K * (winding_c - _REFERENCE_C))
    waves = magnet * winding_table(build, unit.pole_pairs, unit.poles)
    loose = None if unit.loose_lead is None else unit.windings.line_matrix(unit.loose_lead) @ waves
    field = magnet * unit.ring
    switchings = tuple((switching(sensor, unit.poles, field, forward=True),
                        switching(sensor, unit.poles, field, forward=False)) for sensor in unit.sensors)
    return PlacedMotor(serial, build, unit, winding_c, float(random.uniform(0.0, 2 * pi)) + turn,
                       unit.windings.line_matrix() @ waves, loose, switchings, _braking(build, unit))


def _shaken_open(times: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return when vibration keeps a loose contact open, (n,) for (n,) simulated s."""
    vibration = sum(np.cos(2 * pi * f * times) for f in _LOOSE_HZ)
    return np.asarray(np.asarray(vibration) > _LOOSE_LEVEL)


def _look_up(table: NDArray[np.float64], place: NDArray[np.float64]) -> NDArray[np.float64]:
    """Linear interpolation in all rows of a (3, n + 1) table at (m,) places 0…n."""
    below = np.minimum(place.astype(np.int64), table.shape[1] - 2)
    share = place - below
    return np.asarray(table[:, below] * (1 - share) + table[:, below + 1] * share)
