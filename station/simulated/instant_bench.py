"""What instruments would show of a motor, all at once: the physics of the simulated bench without time or sockets."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.capture import CHANNELS, HALL_CHANNELS, VOLTAGE_CHANNELS, Capture, Channel
from station.motor import LINES
from station.simulated.front_end import CODES, COMMON_GAIN, GAIN, NOISE_SHARE, NOISE_VOLTS, OFFSET
from station.simulated.motor import PlacedMotor

# Half widths of what instruments are wrong by; common practice, no source.
OHM_GAIN, OHM_OFFSET = 5e-4, 2.5e-4             # relative, ohm
TEMPERATURE = 0.5                               # K
INSULATION_GAIN = 0.025                         # relative
CURRENT_GAIN, CURRENT_FLOOR = 0.0025, 2.5e-5    # relative, A
TORQUE_GAIN = 0.015                             # relative
OFF_SPEED = 2e-3          # relative, of the drive: so no capture is sampled in step with the rotor
SHOWN_SPEED = 2e-4        # relative, of the speed that the drive shows
HALL_SPAN = 8.0           # V
RIPPLES = (1, 2, 24)      # mechanical orders of speed ripple
MAX_RIPPLE = 0.003        # relative, each order
POOL = 1 << 18            # numbers of noise, drawn once and read from another place each time


@dataclass(frozen=True, slots=True)
class Turn:
    """One capture to be taken."""

    label: str
    speed: float        # rad/s, signed
    span: float         # V, range of the line inputs
    interval: float     # s
    samples: int


@dataclass(frozen=True, slots=True)
class DigitizerErrors:
    """Gain and offset, V, of each channel, as a digitizer has them for good."""

    gains: Mapping[str, float]
    offsets: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Shown:
    """What the instruments showed, SI; `captures` and `torques` in the order of the turns."""

    captures: tuple[Capture, ...]
    torques: tuple[float, ...]      # N m, of the drive
    pair_ohms: dict[str, float]
    winding_c: float                # °C
    ambient_c: float                # °C
    insulation: float               # ohm
    supply_volts: float             # V
    supply_current: float           # A


class InstantBench:
    """Shows motors; everything random comes from `random`."""

    def __init__(self, random: np.random.Generator) -> None:
        self._random = random
        self._pool = random.standard_normal(POOL, dtype=np.float32)

    def digitizer_errors(self) -> DigitizerErrors:
        """Draw the errors of a digitizer."""
        gains = 1 + self._random.uniform(-COMMON_GAIN, COMMON_GAIN) + self._random.uniform(-GAIN, GAIN, len(CHANNELS))
        offsets = self._random.uniform(-OFFSET, OFFSET, len(CHANNELS))
        return DigitizerErrors(dict(zip(CHANNELS, gains.tolist(), strict=True)),
                               dict(zip(CHANNELS, offsets.tolist(), strict=True)))

    def show(self, motor: PlacedMotor, turns: Sequence[Turn], errors: DigitizerErrors, *, supply_volts: float,
             ambient_c: float) -> Shown:
        """Return what the instruments show of `motor`, at rest and at each turn; a turn has at most POOL samples."""
        captures = tuple(self._capture(motor, turn, errors, supply_volts) for turn in turns)
        torques = tuple(motor.drag(turn.speed) * self._factor(TORQUE_GAIN) for turn in turns)
        factor = self._factor(OHM_GAIN)
        ohms = {line: factor * motor.pair_resistance(index, 0.0) + self._within(OHM_OFFSET)
                for index, line in enumerate(LINES)}
        winding_c = motor.temperature(0.0) + self._within(TEMPERATURE)
        insulation = motor.insulation * self._factor(INSULATION_GAIN)
        current = motor.sensor_current(supply_volts)
        current += self._within(CURRENT_GAIN * current + CURRENT_FLOOR)
        return Shown(captures, torques, ohms, winding_c, ambient_c, insulation, supply_volts, current)

    def _capture(self, motor: PlacedMotor, turn: Turn, errors: DigitizerErrors, supply_volts: float) -> Capture:
        times = float(self._random.uniform(0.0, 10.0)) + turn.interval * np.arange(turn.samples, dtype=np.float64)
        turning = turn.speed * self._factor(OFF_SPEED)
        angle, speed = self._motion(turning, times)
        volts = dict(zip(VOLTAGE_CHANNELS, motor.line_voltages(times, angle, speed), strict=True))
        shown = motor.sensor_levels(times, angle - motor.sensor_delay * speed, speed)
        volts |= dict(zip(HALL_CHANNELS, supply_volts * shown, strict=True))
        scales = {name: (turn.span if name in VOLTAGE_CHANNELS else HALL_SPAN) / CODES for name in CHANNELS}
        codes = {name: self._codes(errors.gains[name] * volts[name] + errors.offsets[name], scales[name])
                 for name in CHANNELS}
        drive = turning * self._factor(SHOWN_SPEED)
        temperature = motor.temperature(0.0) + self._within(TEMPERATURE)
        return Capture(codes, {name: Channel(scale) for name, scale in scales.items()}, turn.interval, 0.0,
                       turn.speed, drive, temperature, label=turn.label)

    def _motion(self, turning: float, times: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return angle (n,), rad, and speed (n,), rad/s, of a shaft that turns at `turning` with some ripple."""
        smooth = turning * times
        angle, speed = smooth.copy(), np.full(times.size, turning)
        for order in RIPPLES:
            share, phase = self._random.uniform(0.0, MAX_RIPPLE), self._random.uniform(0.0, 2 * np.pi)
            angle += share / order * np.sin(order * smooth + phase)
            speed *= 1 + share * np.cos(order * smooth + phase)
        return angle, speed

    def _codes(self, volts: NDArray[np.float64], scale: float) -> NDArray[np.int16]:
        noise = float(np.hypot(NOISE_SHARE * scale * CODES, NOISE_VOLTS)) / scale
        codes = volts / scale + noise * self._noise(volts.size)
        return np.clip(np.rint(codes), -CODES, CODES - 1).astype(np.int16)

    def _noise(self, size: int) -> NDArray[np.float32]:
        start = int(self._random.integers(self._pool.size - size))
        return self._pool[start:start + size]

    def _within(self, half_width: float) -> float:
        return float(self._random.uniform(-half_width, half_width))

    def _factor(self, half_width: float) -> float:
        return 1 + self._within(half_width)
