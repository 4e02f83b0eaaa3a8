"""Drawn motors with known characteristics, and captures of them through instruments with drawn errors."""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray

from station.capture import CHANNELS, Accuracy, Capture, Channel
from station.motor import LINES, SENSORS, HallLayout, MotorType, Reference

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Random = np.random.Generator
Draw = Callable[[Random, float], float]   # an error within a limit
ORDER = np.arange(1, 26)
SLOT = np.arange(1, 5)
POINTS = 16384                            # of a drawn wave per electrical revolution
ANGLES = np.linspace(0, 2 * pi, POINTS + 1)
TURNS = np.exp(1j * np.outer(ORDER, ANGLES[:-1]))
KRPM = 1000 * 2 * pi / 60                 # rad/s
DRIVEN = ((1, -1), (0, 1), (2, -1), (1, 1), (0, -1), (2, 1))  # line and sense of each 60 degrees from angle 0
REVOLUTIONS = 16                          # whole ones; half of one more is sampled
SAMPLES = 24_000
NOISE = 1e-3                              # of the converter's range
# Standard deviation of a pole's gain. A pattern of poles above the noise would count as noise in the fit's
# residuals: then every type A row is too large, on the safe side, and this benchmark would say so.
POLES = 3e-4
UNLIKE = 0.03                             # of a harmonic, from phase to phase


def rectangular(random: Random, limit: float) -> float:
    """An error as the budget states it: anywhere within the limit."""
    return float(random.uniform(-limit, limit))


def normal(random: Random, limit: float) -> float:
    """An error of the same standard deviation, normally distributed."""
    return float(random.normal(0.0, limit / sqrt(3)))


@dataclass(frozen=True)
class Sensor:
    """Where one sensor switches, degrees from its declared angles, and how its line moves."""

    place: float
    wider: float              # high for 180 degrees and so much more
    hysteresis: float
    jitter: float             # standard deviation of each edge
    wobble: float             # once per revolution, amplitude
    wobble_phase: float
    low: float                # V
    high: float
    swing_time: float         # s, of the whole ramp, rises
    faster: float             # falls take so much less of it


@dataclass(frozen=True)
class Motor:
    """A motor as it is; `waves` (3, 25) line harmonics, V s/rad at the reference, zero of ab's first at angle 0."""

    kind: MotorType
    waves: Complexes          # volts/speed = imaginary part of sum waves[h] exp(j h angle)
    drawn: Floats             # (3, POINTS) volts/speed over one electrical revolution
    poles: Floats             # (2p,) gains of half cycles, their mean 1 over poles of either sign
    sensors: dict[str, Sensor]
    resistance: dict[str, float]  # ohm at the reference


@dataclass(frozen=True)
class Spin:
    """Angle and speed of the rotor in true time; speed relative to its mean is 1 + drift + ripple."""

    speed: float              # mechanical rad/s, signed
    pole_pairs: int
    start: float              # rad, electrical
    ripple: float
    ripple_phase: float
    drift: float              # 1/s
    slot: Floats              # (4,) at six, twelve, eighteen and twenty-four per electrical revolution
    slot_phase: Floats

    def angle(self, t: Floats) -> Floats:
        """Electrical rad."""
        turn = self.speed * t
        ripple = self.ripple * (np.sin(turn + self.ripple_phase) - np.sin(self.ripple_phase))
        for size, phase, order in zip(self.slot, self.slot_phase, 6 * self.pole_pairs * SLOT, strict=True):
            ripple += size / order * (np.sin(order * turn + phase) - np.sin(phase))
        return self.start + self.pole_pairs * (turn + 0.5 * self.drift * self.speed * t**2 + ripple)

    def velocity(self, t: Floats) -> Floats:
        """Mechanical rad/s."""
        turn = self.speed * t
        ripple = self.ripple * np.cos(turn + self.ripple_phase)
        for size, phase, order in zip(self.slot, self.slot_phase, 6 * self.pole_pairs * SLOT, strict=True):
            ripple += size * np.cos(order * turn + phase)
        return self.speed * (1 + self.drift * t + ripple)

    def time_at(self, angle: Floats) -> Floats:
        """True time (k,) s at which the rotor passes electrical angles (k,) rad."""
        t = (angle - self.start) / (self.pole_pairs * self.speed)
        for _ in range(4):
            t = t - (self.angle(t) - angle) / (self.pole_pairs * self.velocity(t))
        return t


@dataclass(frozen=True)
class Errors:
    """What one set of instruments does wrong, drawn once per motor."""

    gain: dict[str, float]
    offset: dict[str, float]
    late: dict[str, float]    # s, skew less lag
    timebase: float
    temperature: float
    level: dict[str, float]   # share of the swing, by sensor
    slot: Floats
    accuracy: Accuracy = field(default_factory=Accuracy)


def draw_errors(random: Random, draw: Draw) -> Errors:
    """Errors of a bench with the default limits."""
    limits = Accuracy()
    shared = draw(random, limits.gain_common)
    slot = np.array([draw(random, limits.slot_ripple) / k for k in SLOT])
    return Errors(
        {name: (1 + shared) * (1 + draw(random, limits.gain)) for name in CHANNELS},
        {name: draw(random, limits.offset) for name in CHANNELS},
        {name: draw(random, limits.skew) + draw(random, limits.lag) for name in CHANNELS},
        draw(random, limits.timebase), draw(random, limits.temperature),
        {name: draw(random, limits.threshold) for name in SENSORS}, slot)


def draw_motor(random: Random) -> Motor:
    """A motor with every characteristic well away from zero."""
    pole_pairs = int(random.integers(3, 6))
    kind = MotorType("C-1", pole_pairs, "star", 48.0, "clockwise", "drive end", HallLayout(120, (0.0, 120.0, 240.0)),
                     Reference(20.0, -0.0011))
    shape = np.exp(random.uniform(np.log(1e-3), np.log(6e-3), 25))
    shape[[4, 6, 10, 12]] = 0.04, 0.02, 0.01, 0.006
    unlike = 1 + UNLIKE * (random.standard_normal((3, 25)) + 1j * random.standard_normal((3, 25)))
    sizes = shape * np.exp(2j * pi * random.random(25)) * unlike
    sizes[:, 0] = (1 + 0.004 * random.standard_normal(3)) * np.exp(0.004j * random.standard_normal(3))
    phases = random.uniform(3, 12) / KRPM * sizes * np.exp(-2j * pi / 3 * np.outer(range(3), ORDER))
    waves = phases - np.roll(phases, -1, axis=0)
    waves = waves * np.exp(-1j * ORDER * np.angle(waves[0, 0]))
    poles = 1 + POLES * random.standard_normal(2 * pole_pairs)
    for sign in (0, 1):
        poles[sign::2] += 1 - poles[sign::2].mean()
    mean = random.uniform(0.1, 2.0)
    return Motor(kind, waves, np.imag(waves @ TURNS), poles, {name: _draw_sensor(random) for name in SENSORS},
                 {line: mean * (1 + 0.01 * random.standard_normal()) for line in LINES})


def _draw_sensor(random: Random) -> Sensor:
    jitter, wobble = random.uniform(0.05, 0.15), random.uniform(0.2, 0.8)
    return Sensor(random.normal(0, 2), random.normal(0, 1.5), random.uniform(0.1, 1.0), jitter, wobble,
                  random.uniform(0, 2 * pi), random.uniform(0.1, 0.3), random.uniform(4.5, 4.9),
                  random.uniform(60e-6, 200e-6), random.uniform(0.0, 0.5))


def draw_spin(random: Random, motor: Motor, errors: Errors, direction: int, hertz: float) -> Spin:
    """A drive at `hertz` electrical, with ripple and drift."""
    pole_pairs = motor.kind.pole_pairs
    return Spin(direction * 2 * pi * hertz / pole_pairs, pole_pairs, random.uniform(0, 2 * pi),
                random.uniform(1e-3, 4e-3), random.uniform(0, 2 * pi), random.uniform(-5e-3, 5e-3), errors.slot,
                random.uniform(0, 2 * pi, SLOT.size))


def take_capture(random: Random, motor: Motor, errors: Errors, spin: Spin) -> Capture:
    """Samples of all six lines through the instruments, noise and converter included."""
    interval = abs((REVOLUTIONS + 0.5) * 2 * pi / spin.speed) / SAMPLES
    clock = np.arange(SAMPLES) * interval * (1 + errors.timebase)
    degrees = random.uniform(15, 45)
    to_temperature = 1 + motor.kind.reference.magnet_per_k * (degrees - motor.kind.reference.temperature_c)
    angle, velocity = spin.angle(clock), spin.velocity(clock)
    codes, channels = {}, {}
    for index, name in enumerate(CHANNELS):
        late = errors.late[name]  # so short that the speed does not change
        volts = (to_temperature * _line(motor, angle + spin.pole_pairs * velocity * late, velocity, index)
                 if index < 3 else
                 _lead(random, motor, spin, clock + late, SENSORS[index - 3], errors.level[SENSORS[index - 3]]))
        volts = errors.gain[name] * volts + errors.offset[name]
        scale = 1.3 * float(np.abs(volts).max()) / 32767
        noisy = volts + NOISE * 32767 * scale * random.standard_normal(SAMPLES)
        codes[name] = np.round(noisy / scale).astype(np.int16)
        channels[name] = Channel(scale)
    label = f"{'forward' if spin.speed > 0 else 'reverse'} 1500"
    return Capture(codes, channels, interval, 0.0, spin.speed, spin.speed, degrees + errors.temperature,
                   errors.accuracy, label)


def _line(motor: Motor, angle: Floats, velocity: Floats, line: int) -> Floats:
    wave = motor.drawn[line]
    own = np.floor((angle + np.angle(motor.waves[line, 0])) / pi).astype(int) % motor.poles.size
    drawn = np.interp(np.mod(angle, 2 * pi), ANGLES, np.append(wave, wave[0]))
    return velocity * drawn * motor.poles[own]


def _lead(random: Random, motor: Motor, spin: Spin, t: Floats, name: str, level: float) -> Floats:
    """A Hall line as straight ramps; the true edge lies at half the swing and `level` more."""
    sensor, sense = motor.sensors[name], 1 if spin.speed > 0 else -1
    times, values = [], []
    span = np.sort(spin.angle(np.array([t[0] - 0.01, t[-1] + 0.01])))
    for goes_high, angle in zip((True, False), edge_angles(motor, name, sense), strict=True):
        cycle = np.arange(np.ceil((span[0] - angle) / (2 * pi)), np.floor((span[1] - angle) / (2 * pi)))
        turn = 2 * pi * cycle / motor.kind.pole_pairs + sensor.wobble_phase
        moved = np.deg2rad(sensor.wobble * np.cos(turn) + sensor.jitter * random.standard_normal(cycle.size))
        rises = goes_high == (sense > 0)
        ramp = sensor.swing_time * (1.0 if rises else 1 - sensor.faster)
        half = spin.time_at(angle + 2 * pi * cycle + moved) - (level if rises else -level) * ramp
        times += [half - ramp / 2, half + ramp / 2]
        values += [np.full(half.size, sensor.low if rises else sensor.high),
                   np.full(half.size, sensor.high if rises else sensor.low)]
    time, value = np.concatenate(times), np.concatenate(values)
    order = np.argsort(time)
    return np.interp(t, time[order], value[order])


def edge_angles(motor: Motor, name: str, sense: int) -> tuple[float, float]:
    """Mean rotor angles, rad, of rise and fall as the angle grows, turning in `sense`."""
    sensor = motor.sensors[name]
    middle = motor.kind.sensors.rise_deg[SENSORS.index(name)] + sensor.place + sense * sensor.hysteresis
    return tuple(np.deg2rad([middle - sensor.wider / 2, middle + 180 + sensor.wider / 2]))


def true_capture(motor: Motor, spin: Spin) -> dict[str, float]:
    """Every characteristic of one capture, by its definition from what was drawn."""
    return _true_motion(spin) | _true_emf(motor) | _true_hall(motor, spin) | _true_torque(motor, spin)


def _true_motion(spin: Spin) -> dict[str, float]:
    """Speed over the whole revolutions in the middle of the capture."""
    sense, end = np.sign(spin.speed), abs((REVOLUTIONS + 0.5) * 2 * pi / spin.speed)
    middle, turned = spin.angle(np.array([0.0, end])).mean(), sense * REVOLUTIONS * 2 * pi * spin.pole_pairs
    mean = REVOLUTIONS * 2 * pi / float(np.diff(spin.time_at(middle + np.array([-0.5, 0.5]) * turned))[0])
    times = (np.arange(2000) + 0.5) * end / 2000
    ripple = spin.velocity(times) / spin.speed - 1 - spin.drift * times
    return {"speed": sense * mean / KRPM * 1000, "electrical_frequency": mean * spin.pole_pairs / (2 * pi),
            "speed_ripple": 100 * sqrt(float(np.mean(ripple**2))) * abs(spin.speed) / mean,
            "speed_drift": 100 * spin.drift * end * abs(spin.speed) / mean}


def _true_emf(motor: Motor) -> dict[str, float]:
    waves = motor.waves
    drawn, size = motor.drawn, np.abs(waves[:, 0])
    first = waves[:, 0]
    high, low = drawn.max(axis=1), -drawn.min(axis=1)
    shares = 100 * np.abs(waves[:, 1:]) / size[:, None]
    lines = {
        "back_emf_constant_peak": (high + low) / 2 * KRPM, "back_emf_constant_fundamental": size * KRPM,
        "back_emf_constant_rms": np.sqrt((np.abs(waves) ** 2).sum(axis=1) / 2) * KRPM,
        "flux_linkage": np.abs(drawn).mean(axis=1) * pi / 2 / motor.kind.pole_pairs * 1e3}
    found = {f"{name}.mean": float(values.mean()) for name, values in lines.items()}
    lines |= {f"harmonic_{h}": shares[:, h - 2] for h in range(2, 26)}
    above = [(drawn > 0.95 * high[:, None]).sum(axis=1), (-drawn > 0.95 * low[:, None]).sum(axis=1)]
    lines |= {"thd": np.sqrt((shares**2).sum(axis=1)), "back_emf_offset": np.zeros(3),
              "flat_top": (above[0] + above[1]) * 180 / POINTS,
              "pole_spread": np.full(3, 100 * (motor.poles.max() - motor.poles.min()))}
    found |= {f"{name}.{line}": float(values[i]) for name, values in lines.items() for i, line in enumerate(LINES)}
    turn = np.exp(2j * pi / 3 * np.arange(3))
    return found | {
        "back_emf_spread": 100 * float(np.abs(size / size.mean() - 1).max()),
        "back_emf_unbalance": 100 * float(abs((first * turn**2).sum()) / abs((first * turn).sum())),
        "line_sum": 0.0, "phase_angle.bc": -float(np.degrees(np.angle(first[1]))),
        "phase_angle.ca": -float(np.degrees(np.angle(first[2])))}


def _true_hall(motor: Motor, spin: Spin) -> dict[str, float]:
    sense, found = (1 if spin.speed > 0 else -1), {}
    edges = []
    for name, sensor in motor.sensors.items():
        rise, fall = np.degrees(edge_angles(motor, name, sense))
        edges += [rise % 360, fall % 360]
        found |= {
            f"hall_angle_rise.{name}": rise, f"hall_angle_fall.{name}": fall,
            f"hall_placement.{name}": sensor.place + sense * sensor.hysteresis,
            f"hall_duty.{name}": 50 + sensor.wider / 3.6, f"hall_jitter.{name}": sensor.jitter,
            f"hall_eccentricity.{name}": sensor.wobble, f"hall_high.{name}": sensor.high,
            f"hall_low.{name}": sensor.low, f"hall_transition.{name}": 0.8e6 * sensor.swing_time}
    order = np.sort((np.array(edges) - edges[0]) % 360)
    widths = np.diff(np.append(order, 360.0))
    found |= {f"hall_sector_{n}": float(width) for n, width in enumerate(widths, start=1)}
    return found | {"hall_sector_min": float(widths.min()), "hall_sector_max": float(widths.max())}


def _true_torque(motor: Motor, spin: Spin) -> dict[str, float]:
    """Torque per ampere of the line each code drives, summed over a fine grid of the angle."""
    sense = 1 if spin.speed > 0 else -1
    edges = {name: edge_angles(motor, name, sense) for name in SENSORS}
    cuts = np.sort([edges["a"][0], edges["c"][1] - 2 * pi, edges["b"][0], edges["a"][1], edges["c"][0], edges["b"][1]])
    total, low, high = 0.0, np.inf, -np.inf
    for number, (line, sign) in enumerate(DRIVEN):
        end = cuts[number + 1] if number < 5 else cuts[0] + 2 * pi
        angle = np.linspace(cuts[number], end, 501)
        torque = sign * np.imag(np.exp(1j * np.outer(angle, ORDER)) @ motor.waves[line])
        total += float(np.trapezoid(torque, angle))
        low, high = min(low, torque.min()), max(high, torque.max())
    mean = total / (2 * pi)
    return {"commutated_torque_constant": mean, "commutated_torque_ripple": 100 * (high - low) / mean}


def true_both(motor: Motor) -> dict[str, float]:
    """What both directions together tell."""
    return ({f"hall_position.{name}": sensor.place for name, sensor in motor.sensors.items()}
            | {f"hall_hysteresis.{name}": sensor.hysteresis for name, sensor in motor.sensors.items()})
