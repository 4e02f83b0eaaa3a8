"""Motors drawn at random and measured without a bench: two captures and the values at rest, judged like a run."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from station.analysis.analyse import analyse_capture
from station.analysis.budget import limit_of_error, measurement
from station.analysis.directions import combine_directions
from station.analysis.findings import find_motor_causes
from station.analysis.result import CaptureAnalysis
from station.analysis.winding import winding_resistance
from station.capture import CHANNELS, HALL_CHANNELS, VOLTAGE_CHANNELS, Accuracy, Capture, Channel
from station.judgement.conclusion import failed_sides
from station.judgement.judge import MOTOR_FAULTS, judge
from station.judgement.limit_file import LimitFile, parse_limits
from station.measurement import Measurement
from station.motor import LINES
from station.simulated.defect import Defect
from station.simulated.lot import Lot, LotMotor, MotorBuild, demo_lot_path, load_lot
from station.simulated.motor import PlacedMotor, build_motor
from station.toml_file import read_toml
from station.units import RPM

LIMITS = Path(__file__).parents[2] / "limits"
FREQUENCY = 200.0                 # Hz, electrical: 3000 r/min with four pole pairs
INTERVAL = 1 / (FREQUENCY * 155)  # s; 155 samples in a period
REVOLUTIONS = 8.3
MAX_OFF_SPEED = 2e-3              # relative, of the drive: so no capture is sampled in step with the rotor
SUPPLY, HALL_SPAN = 5.0, 8.0      # V
CODES = 32768
# Half widths of what one bench is allowed to be wrong by, as the simulated instruments of the station have them.
COMMON_GAIN, GAIN, OFFSET, TEMPERATURE = 4e-4, 2e-4, 2e-3, 0.5
NOISE_SHARE, NOISE_VOLTS = 5e-5, 2e-4
RIPPLES = (1, 2, 24)              # mechanical orders of speed ripple
MAX_RIPPLE = 0.003                # relative, each order
OHM_GAIN, OHM_OFFSET, OHM_TEMPERATURE = 1e-3, 5e-4, 1.0


@dataclass(frozen=True, slots=True)
class Kind:
    """A motor type as built and as limited."""

    build: MotorBuild
    limits: LimitFile

    @property
    def speed(self) -> float:
        """Mechanical rad/s at which it is turned."""
        return 2 * np.pi * FREQUENCY / self.build.pole_pairs

    @property
    def labels(self) -> tuple[str, str]:
        """Of the two captures."""
        rpm = self.speed / RPM
        return f"forward {rpm:g}", f"reverse {rpm:g}"

    @property
    def samples(self) -> int:
        """In each capture."""
        return round(REVOLUTIONS * self.build.pole_pairs / FREQUENCY / INTERVAL)


@dataclass(frozen=True, slots=True)
class Tested:
    """What a drawn motor came to: verdict, what failed, causes named with limits known and per capture without."""

    verdict: str
    failed: tuple[str, ...]
    refused: tuple[str, ...]
    found: tuple[str, ...]
    unlimited: tuple[str, ...]
    texts: tuple[str, ...]
    analyses: tuple[CaptureAnalysis, ...]
    rest: dict[str, Measurement]

    @property
    def is_faulty(self) -> bool:
        """Whether the station would keep this motor from passing."""
        return self.verdict != "PASS"


def kinds() -> tuple[Kind, ...]:
    """Return the three motor types: sine in star, trapezoid in star, delta with sensors 60 degrees apart."""
    builds = load_lot(demo_lot_path()).types
    return tuple(Kind(builds[name], parse_limits(read_toml(LIMITS / f"{name}.toml")))
                 for name in ("CP-40", "VB-24", "CP-60D"))


class Station:
    """Measures drawn motors; noise comes from one pool, read from another place each time."""

    def __init__(self, random: np.random.Generator) -> None:
        self.random = random
        self._pool = random.standard_normal(1 << 18, dtype=np.float32)

    def test(self, kind: Kind, defects: Sequence[Defect]) -> Tested:
        """Build a motor with `defects`, measure it in both directions and at rest, judge it, name causes."""
        motor = self._built(kind, defects)
        gains = dict(zip(CHANNELS, 1 + self.random.uniform(-COMMON_GAIN, COMMON_GAIN)
                         + self.random.uniform(-GAIN, GAIN, len(CHANNELS)), strict=True))
        offsets = dict(zip(CHANNELS, self.random.uniform(-OFFSET, OFFSET, len(CHANNELS)), strict=True))
        analyses = [analyse_capture(self._capture(motor, kind, sign, gains, offsets), kind.limits.motor_type)
                    for sign in (1, -1)]
        measured = {(m.name, a.label): m for a in analyses for m in a.measurements.values()}
        measured |= {("drag_torque", label): self._drag(motor, kind) for label in kind.labels}
        measured |= {(name, ""): m for name, m in self._at_rest(motor, kind).items()}
        if not any(a.refused for a in analyses):
            measured |= {(name, ""): m for name, m in combine_directions(*analyses).items()}
        return _judged(kind, analyses, measured)

    def _built(self, kind: Kind, defects: Sequence[Defect]) -> PlacedMotor:
        serial = f"D-{self.random.integers(1 << 60)}"
        lot = Lot({kind.build.name: kind.build},
                  {serial: LotMotor(serial=serial, type=kind.build.name, defects=list(defects))})
        return build_motor(lot, serial, int(self.random.integers(1 << 30)), float(self.random.uniform(18.0, 28.0)))

    def _capture(self, motor: PlacedMotor, kind: Kind, sign: int, gains: dict[str, float],
                 offsets: dict[str, float]) -> Capture:
        times = self.random.uniform(0.0, 10.0) + INTERVAL * np.arange(kind.samples)
        turning = sign * kind.speed * (1 + self.random.uniform(-MAX_OFF_SPEED, MAX_OFF_SPEED))
        smooth = turning * times
        angle, speed = smooth.copy(), np.full(times.size, turning)
        for order in RIPPLES:
            share, phase = self.random.uniform(0.0, MAX_RIPPLE), self.random.uniform(0.0, 2 * np.pi)
            angle += share / order * np.sin(order * smooth + phase)
            speed *= 1 + share * np.cos(order * smooth + phase)
        volts = dict(zip(VOLTAGE_CHANNELS, motor.line_voltages(times, angle, speed), strict=True))
        shown = motor.sensor_levels(times, angle - motor.sensor_delay * speed, speed)
        volts |= dict(zip(HALL_CHANNELS, SUPPLY * shown, strict=True))
        span = 1.5 * 1.04 * kind.build.back_emf_constant * kind.speed / (1000 * RPM)
        scales = {name: (span if name in VOLTAGE_CHANNELS else HALL_SPAN) / CODES for name in CHANNELS}
        codes = {name: self._codes(gains[name] * volts[name] + offsets[name], scales[name]) for name in CHANNELS}
        label = kind.labels[0 if sign > 0 else 1]
        drive = turning * (1 + self.random.uniform(-2e-4, 2e-4))
        temperature = motor.temperature(0.0) + self.random.uniform(-TEMPERATURE, TEMPERATURE)
        return Capture(codes, {name: Channel(scale) for name, scale in scales.items()}, INTERVAL, 0.0,
                       sign * kind.speed, drive, temperature, Accuracy(), label)

    def _codes(self, volts: NDArray[np.float64], scale: float) -> NDArray[np.int16]:
        start = int(self.random.integers(self._pool.size - volts.size))
        noise = float(np.hypot(NOISE_SHARE * scale * CODES, NOISE_VOLTS)) / scale
        codes = volts / scale + noise * self._pool[start:start + volts.size]
        return np.clip(np.rint(codes), -CODES, CODES - 1).astype(np.int16)

    def _at_rest(self, motor: PlacedMotor, kind: Kind) -> dict[str, Measurement]:
        error = 1 + self.random.uniform(-OHM_GAIN, OHM_GAIN) / 2
        ohms = {line: error * motor.pair_resistance(k, 0.0) + self.random.uniform(-OHM_OFFSET, OHM_OFFSET) / 2
                for k, line in enumerate(LINES)}
        temperature = motor.temperature(0.0) + self.random.uniform(-TEMPERATURE, TEMPERATURE)
        found = winding_resistance(ohms, temperature, kind.limits.motor_type, OHM_GAIN, OHM_OFFSET, OHM_TEMPERATURE)
        megohms, milliamps = motor.insulation * 1e-6, 1e3 * motor.sensor_current(SUPPLY)
        for name, value, error in (("insulation_resistance", megohms, 0.05 * megohms),
                                   ("sensor_supply_current", milliamps, 0.005 * milliamps + 0.05)):
            shown = value + self.random.uniform(-error, error) / 2
            found[name] = measurement(name, shown, [limit_of_error("instrument", error)])
        return found

    def _drag(self, motor: PlacedMotor, kind: Kind) -> Measurement:
        shown = 1e3 * motor.drag(kind.speed) * (1 + self.random.uniform(-0.015, 0.015))
        return measurement("drag_torque", shown, [limit_of_error("drive torque", 0.03 * shown)])


def _judged(kind: Kind, analyses: Sequence[CaptureAnalysis], measured: dict[tuple[str, str], Measurement]) -> Tested:
    """Judge and name causes the way a run does."""
    refused = {a.label: a.refused for a in analyses if a.refused}
    judgement = judge(measured, kind.labels, kind.limits, refused, motor_faults=MOTOR_FAULTS - {"no_emf"})
    failed = failed_sides(judgement.rows)
    rest = {name if not label else f"{name}@{label}": m for (name, label), m in measured.items()
            if not label or name == "drag_torque"}
    bounds = {row.name: (row.lower, row.upper) for row in judgement.rows}
    found = find_motor_causes(analyses, rest, kind.limits.motor_type, failed, bounds)
    return Tested(str(judgement.verdict), tuple(failed), tuple(r.code for r in refused.values()),
                  tuple(dict.fromkeys(f.code for f in found)),
                  tuple(dict.fromkeys(f.code for a in analyses for f in a.findings)),
                  tuple(f.text for f in found), tuple(analyses), rest)
