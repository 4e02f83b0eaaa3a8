"""Speed, its ripple and drift, and the gain of every half cycle, from the tracked angle."""

from math import inf, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from station.analysis.angle_track import AngleTrack, ripple_orders, rotor_speed, smooth_speed, wave_basis
from station.analysis.back_emf import ORDER, BackEmf
from station.analysis.budget import limit_of_error, measurement, type_a
from station.analysis.line_voltages import LineVoltages
from station.capture import Accuracy
from station.measurement import Measurement, Refusal
from station.motor import LINES
from station.units import RPM

Floats = NDArray[np.float64]
MAX_SPEED_CHANGE = 0.1   # of the mean, over the capture
MAX_SUM = 0.01           # of one line's fundamental; ten times the error of good channels
MAX_ODD_GAIN = 0.02      # of a half cycle, from the same pole in other revolutions
MAX_STEP = np.deg2rad(2.0)  # of the angle within two periods; more means samples are missing


def refuse_motion(lines: LineVoltages, order: int, direction: int, angle: Floats, per_period: float) -> Refusal | None:
    """Return why the speed makes the capture useless, or None; `angle` is the parametric one."""
    speed = smooth_speed(angle, lines.times, per_period)
    change = float((speed.max() - speed.min()) / abs(speed.mean()))
    if change > MAX_SPEED_CHANGE or np.any(np.sign(speed) != direction):
        return Refusal("speed_not_stable", f"The speed changes by {100 * change:.1f} % of its mean during the "
                       f"capture; at most {100 * MAX_SPEED_CHANGE:g} % can be used. Let the drive settle first.")
    residual = np.unwrap(np.angle(lines.vector(order) * 1j * direction * np.exp(-1j * angle)))
    width = max(1, round(per_period))
    count = residual.size // width
    periods = residual[:count * width].reshape(count, width).mean(axis=1)
    step = np.abs(periods[2:] - periods[:-2]).max() if count > 2 else 0.0
    if step > MAX_STEP:
        return Refusal("samples_missing", f"The rotor angle jumps by {np.rad2deg(step):.1f}° inside the capture: "
                       "samples are missing, a contact opened, or the coupling slipped. Take the capture again.")
    return None


def refuse_sum(emf: BackEmf) -> Refusal | None:
    """Return why the three channels cannot all be right: one loop's voltages add up to zero, whatever the motor."""
    phasors = emf.phasors()
    size = float(np.abs(phasors).mean())
    share = float(abs(phasors.sum())) / size
    if share <= MAX_SUM:
        return None
    turned = [line for line, phasor in zip(LINES, phasors, strict=True)
              if abs(phasors.sum() - 2 * phasor) / size <= MAX_SUM]
    hint = (f"With v_{turned[0]} turned over they do: its two test leads are exchanged." if len(turned) == 1
            else "A channel has a wrong gain, is cut off, or has lost samples.")
    return Refusal("lines_do_not_close", f"The three line-to-line voltages do not add up to zero: {100 * share:.1f} % "
                   f"of one of them is left. {hint} Check the digitizer and its leads.")


def refuse_disturbed(gains: Floats) -> Refusal | None:
    """Return why the waves were disturbed: a pole repeats itself every revolution, a disturbance does not.

    `gains` (3, r, 2p) as `half_cycle_gains` gives them.
    """
    off = np.abs(gains - np.median(gains, axis=1, keepdims=True))
    usual = 1.4826 * np.median(off, axis=(1, 2), keepdims=True)  # standard deviation by the median
    beyond = off - np.maximum(MAX_ODD_GAIN, 8 * usual)
    worst = np.unravel_index(int(np.argmax(beyond)), beyond.shape)
    if beyond[worst] <= 0:
        return None
    return Refusal("wave_disturbed", f"One half cycle of v_{LINES[worst[0]]} differs by {100 * off[worst]:.1f} % from "
                   "the same pole in other revolutions: a loose contact, or codes that stood still. Check the contacts "
                   "and take the capture again.")


def speed_measurements(
    lines: LineVoltages, track: AngleTrack, pole_pairs: int, accuracy: Accuracy
) -> dict[str, Measurement]:
    """Return speed, electrical frequency, ripple and drift; speed is angle over time of whole revolutions."""
    times, angle = lines.times, track.angles
    grown = (angle - angle[0]) * track.direction
    whole = np.floor(grown[-1] / (2 * pi * pole_pairs)) * 2 * pi * pole_pairs
    end = float(np.interp(whole, grown, times))
    electrical = whole / (end - times[0])
    per_period = 2 * pi / (electrical * lines.interval)
    speed = rotor_speed(angle, times, per_period, pole_pairs) * track.direction / electrical
    within = grown <= whole
    drift, ripple, rest = _drift_and_ripple(times[within], speed[within], electrical / pole_pairs, pole_pairs)
    drift, drift_u = 100 * drift * (times[-1] - times[0]), 100 * rest * sqrt(12 * 2 * pi / whole)
    # Relative. Two ends, each known from three lines within a quarter of a period only (derived, checked by trial).
    noise = track.angle_u * sqrt(8 / 3 * whole / (2 * pi)) / whole
    rpm = track.direction * electrical / pole_pairs / RPM
    ripple_u = 100 * rest  # noise and ripple of other orders alike
    found = [
        measurement("speed", rpm, [type_a("angle noise", rpm * noise, inf),
                                   limit_of_error("timebase", rpm * accuracy.timebase, "timebase")]),
        measurement("electrical_frequency", electrical / (2 * pi), [
            type_a("angle noise", electrical / (2 * pi) * noise, inf),
            limit_of_error("timebase", electrical / (2 * pi) * accuracy.timebase, "timebase")]),
        measurement("speed_ripple", 100 * ripple, [type_a("angle noise", ripple_u, inf)]),
        measurement("speed_drift", drift, [type_a("angle noise and other ripple", max(drift_u, 100 * noise), inf)]),
    ]
    return {m.name: m for m in found}


def _drift_and_ripple(times: Floats, speed: Floats, rate: float, pole_pairs: int) -> tuple[float, float, float]:
    """Return slope (1/s) and rms about the straight line of a relative speed, and the rms that known orders leave.

    Line and ripple are fitted together: over few revolutions a sine has a slope of its own.
    """
    centred = times - times.mean()
    columns = [np.ones_like(centred), centred]
    for k in ripple_orders(pole_pairs):
        columns += [np.cos(k * rate * centred), np.sin(k * rate * centred)]
    basis = np.column_stack(columns)
    coefficients = np.linalg.lstsq(basis, speed, rcond=None)[0]
    about_line = speed - basis[:, :2] @ coefficients[:2]
    rest = speed - basis @ coefficients
    return float(coefficients[1]), float(about_line.std()), float(rest.std())


def half_cycle_gains(lines: LineVoltages, track: AngleTrack, emf: BackEmf, pole_pairs: int) -> tuple[Floats, Floats]:
    """Return gains (3, r, 2p) of whole revolutions and the uncertainty (3,) of one gain.

    A gain is the projection of a half cycle on the mean wave, both divided by speed: free of the
    bias that the highest sample of a noisy top has. Half cycles run between the zeros of each
    line's own fundamental, so that one gain belongs to one pole.
    """
    per_period = 2 * pi / (2 * pi * track.mean_electrical_frequency * lines.interval)
    speed = rotor_speed(track.angles, lines.times, per_period, pole_pairs) / pole_pairs
    model = _model(track.angles, speed, emf)
    scale = (model**2).sum(axis=1) / ((lines.volts - emf.offset[:, None]) * model).sum(axis=1)
    own = (track.angles + emf.phase[:, :1]) * track.direction / pi  # (3, n), in half cycles
    index = np.floor(own).astype(np.intp) - np.ceil(own[:, :1]).astype(np.intp)
    count = int(index[:, -1].min()) // (2 * pole_pairs) * 2 * pole_pairs
    gains, gain_u = np.empty((3, count)), np.empty(3)
    for line in range(3):
        inside = (index[line] >= 0) & (index[line] < count)
        product = (lines.volts[line] - emf.offset[line]) * model[line] * scale[line]
        top = np.bincount(index[line, inside], product[inside], count)
        bottom = np.bincount(index[line, inside], model[line, inside] ** 2, count)
        gains[line] = top / bottom
        gain_u[line] = emf.sigma[line] / np.sqrt(bottom.mean())
    return gains.reshape(3, -1, 2 * pole_pairs), gain_u


def _model(angle: Floats, speed: Floats, emf: BackEmf) -> Floats:
    basis = wave_basis(angle, speed)[:, 1:]
    sine, cosine = basis[:, :ORDER.size], basis[:, ORDER.size:]
    in_phase, quadrature = emf.amplitude * np.cos(emf.phase), emf.amplitude * np.sin(emf.phase)
    return np.stack([sine @ in_phase[line] + cosine @ quadrature[line] for line in range(3)])
