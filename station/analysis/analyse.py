"""The analysis of one capture, in the order in which it can fail."""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from station.analysis.angle_track import AngleTrack, TrackedWaves, first_motion, track_waves
from station.analysis.back_emf import BackEmf, back_emf, usable_orders
from station.analysis.commutation import commutated_torque
from station.analysis.emf_measurements import EmfEvidence, emf_measurements
from station.analysis.findings import find_causes
from station.analysis.flux import half_cycle_flux, refuse_disturbed, refuse_flux
from station.analysis.gate import Tone, expected_frequency, find_tone, refuse_speed
from station.analysis.hall import HallAnalysis, analyse_hall
from station.analysis.integrity import count_bad, find_bad_samples
from station.analysis.line_voltages import ORDERS, LineVoltages, read_lines
from station.analysis.motion import refuse_motion, refuse_step, refuse_sum, speed_measurements
from station.analysis.result import CaptureAnalysis, WavePlot
from station.capture import HALL_CHANNELS, VOLTAGE_CHANNELS, Capture
from station.measurement import Measurement, Refusal
from station.motor import LINES, MotorType
from station.units import VOLT_PER_KRPM

PLOT_POINTS = 180
PLOT_ANGLES: tuple[float, ...] = tuple(np.rad2deg(np.linspace(0, 2 * pi, PLOT_POINTS + 1)).tolist())


@dataclass(frozen=True, slots=True)
class FittedLines:
    """What the three lines of a capture tell: waves, rotor angle, and every number that rests on them alone.

    `pole_gains` (3, 2p): flux of each half cycle of a revolution over the line's mean.
    """

    emf: BackEmf
    track: AngleTrack
    tracked: TrackedWaves
    measurements: dict[str, Measurement]
    pole_gains: NDArray[np.float64]


def analyse_capture(capture: Capture, motor_type: MotorType, highest_order: int = ORDERS) -> CaptureAnalysis:
    """Return all measurements of a capture, or why it is refused; harmonics up to `highest_order`.

    Order: codes, block means, tone, angle track, back-EMF, speed, Hall, commutated torque, findings. A refusal
    spoils every number, because every number rests on the angle.
    """
    fitted = fit_capture(capture, motor_type, highest_order)
    if isinstance(fitted, Refusal):
        return CaptureAnalysis(capture.label, refused=fitted)
    return with_hall(capture.label, fitted, _hall(capture, motor_type, fitted.track), motor_type)


def fit_capture(capture: Capture, motor_type: MotorType, highest_order: int = ORDERS) -> FittedLines | Refusal:
    """Return what the three lines tell, or why the capture is refused."""
    bad = find_bad_samples(capture)
    if isinstance(bad, Refusal):
        return bad
    expected = expected_frequency(capture, motor_type)
    orders = usable_orders(capture, expected, highest_order)
    lines = read_lines(capture, expected, orders, bad)
    tone = find_tone(lines, capture, motor_type)
    if isinstance(tone, Refusal):
        return tone
    fitted = _fit(capture, motor_type, lines, tone, orders)
    if isinstance(fitted, FittedLines):
        fitted.measurements["bad_samples"] = count_bad(bad)
    return fitted


def with_hall(label: str, fitted: FittedLines, hall: HallAnalysis | None, motor_type: MotorType) -> CaptureAnalysis:
    """Return the whole analysis: the lines, the sensors, what both tell together, and the likely causes."""
    measurements = dict(fitted.measurements)
    if hall is not None:
        measurements |= hall.measurements | commutated_torque(fitted.emf, hall, motor_type)
    findings = find_causes(measurements, motor_type, hall)
    return CaptureAnalysis(label, measurements, findings, None, _plot(fitted.emf, hall))


def _fit(
    capture: Capture, motor_type: MotorType, lines: LineVoltages, tone: Tone, orders: int
) -> FittedLines | Refusal:
    pole_pairs, reference = motor_type.pole_pairs, motor_type.reference
    motion, rest = first_motion(lines, tone, pole_pairs)
    refusal = refuse_motion(motion, lines, rest, tone.direction)
    if refusal is not None:
        return refusal
    tracked = track_waves(lines, motion, pole_pairs, orders)
    to_reference = 1 / (1 + reference.magnet_per_k * (capture.temperature_c - reference.temperature_c))
    emf, track = back_emf(capture, lines, tracked, tone.direction, pole_pairs, to_reference)
    half_cycles = half_cycle_flux(lines, track, emf, pole_pairs)
    refusal = (refuse_speed(track.mean_electrical_frequency, capture, motor_type) or refuse_step(tracked)
               or refuse_sum(emf) or refuse_disturbed(half_cycles)
               or refuse_flux(half_cycles, emf, pole_pairs, to_reference))
    if refusal is not None:
        return refusal
    pole_gains = half_cycles.gains.mean(axis=1)
    speed = speed_measurements(tracked, track, emf, pole_gains, capture.accuracy)
    evidence = EmfEvidence(emf, half_cycles.gains, half_cycles.gain_u, track.mean_electrical_frequency,
                           capture.accuracy, motor_type, tone.phase_order,
                           max(abs(capture.channels[name].lag) for name in VOLTAGE_CHANNELS))
    return FittedLines(emf, track, tracked, speed | emf_measurements(evidence), pole_gains)


def _hall(capture: Capture, motor_type: MotorType, track: AngleTrack) -> HallAnalysis | None:
    if motor_type.sensors is None or not any(name in capture.codes for name in HALL_CHANNELS):
        return None
    return analyse_hall(capture, motor_type, track)


def _plot(emf: BackEmf, hall: HallAnalysis | None) -> WavePlot:
    wave = emf.wave(PLOT_POINTS) / VOLT_PER_KRPM
    volts = {line: (*each, each[0]) for line, each in zip(LINES, wave.tolist(), strict=True)}
    return WavePlot(PLOT_ANGLES, volts, hall.hall_high if hall is not None else None)
