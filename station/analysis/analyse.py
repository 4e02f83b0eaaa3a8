"""The analysis of one capture, in the order in which it can fail."""

from math import pi

import numpy as np

from station.analysis.angle_track import AngleTrack, free_angle, parametric_angle
from station.analysis.back_emf import BackEmf, fit_back_emf
from station.analysis.commutation import commutated_torque
from station.analysis.emf_measurements import EmfEvidence, emf_measurements
from station.analysis.findings import find_causes
from station.analysis.gate import Tone, find_tone
from station.analysis.hall import HallAnalysis, analyse_hall
from station.analysis.integrity import refuse_codes
from station.analysis.line_voltages import read_lines
from station.analysis.motion import half_cycle_gains, refuse_disturbed, refuse_motion, refuse_sum, speed_measurements
from station.analysis.result import CaptureAnalysis, WavePlot
from station.capture import HALL_CHANNELS, Capture
from station.measurement import Measurement, Refusal
from station.motor import LINES, MotorType
from station.units import VOLT_PER_KRPM

PLOT_POINTS = 180


def analyse_capture(capture: Capture, motor_type: MotorType) -> CaptureAnalysis:
    """Return all measurements of a capture, or why it is refused.

    Order: codes, tone, angle track, back-EMF, speed, Hall, commutated torque, findings. A refusal
    spoils every number, because every number rests on the angle.
    """
    refusal = refuse_codes(capture)
    if refusal is not None:
        return CaptureAnalysis(capture.label, refused=refusal)
    tone = find_tone(capture, motor_type)
    if isinstance(tone, Refusal):
        return CaptureAnalysis(capture.label, refused=tone)
    fitted = _fit(capture, motor_type, tone)
    if isinstance(fitted, Refusal):
        return CaptureAnalysis(capture.label, refused=fitted)
    emf, track, measurements = fitted
    hall = _hall(capture, motor_type, track)
    if hall is not None:
        measurements |= hall.measurements | commutated_torque(emf, hall, motor_type)
    findings = find_causes(measurements, motor_type, hall)
    return CaptureAnalysis(capture.label, measurements, findings, None, _plot(emf, hall))


def _fit(
    capture: Capture, motor_type: MotorType, tone: Tone
) -> tuple[BackEmf, AngleTrack, dict[str, Measurement]] | Refusal:
    pole_pairs, reference = motor_type.pole_pairs, motor_type.reference
    lines = read_lines(capture, tone.frequency)
    per_period = 1 / (tone.frequency * lines.interval)
    # A reversed order of lines turns the vector the other way; then bc and ca change places in it.
    angle = parametric_angle(lines, tone.phase_order, tone.direction, tone.frequency, pole_pairs)
    refusal = refuse_motion(lines, tone.phase_order, tone.direction, angle, per_period)
    if refusal is not None:
        return refusal
    angle = free_angle(lines, angle, per_period, pole_pairs)
    to_reference = 1 / (1 + reference.magnet_per_k * (capture.temperature_c - reference.temperature_c))
    emf, track = fit_back_emf(capture, lines, angle, tone.direction, pole_pairs, to_reference)
    gains, gain_u = half_cycle_gains(lines, track, emf, pole_pairs)
    refusal = refuse_sum(emf) or refuse_disturbed(gains)
    if refusal is not None:
        return refusal
    evidence = EmfEvidence(emf, gains, gain_u, track.mean_electrical_frequency, capture.accuracy, motor_type,
                           tone.phase_order)
    return emf, track, speed_measurements(lines, track, pole_pairs, capture.accuracy) | emf_measurements(evidence)


def _hall(capture: Capture, motor_type: MotorType, track: AngleTrack) -> HallAnalysis | None:
    if motor_type.sensors is None or not any(name in capture.codes for name in HALL_CHANNELS):
        return None
    return analyse_hall(capture, motor_type, track)


def _plot(emf: BackEmf, hall: HallAnalysis | None) -> WavePlot:
    wave = emf.wave(PLOT_POINTS) / VOLT_PER_KRPM
    closed = np.concatenate([wave, wave[:, :1]], axis=1)
    angle = np.rad2deg(np.linspace(0, 2 * pi, PLOT_POINTS + 1))
    volts = {line: tuple(float(v) for v in closed[i]) for i, line in enumerate(LINES)}
    return WavePlot(tuple(float(a) for a in angle), volts, hall.hall_high if hall is not None else None)
