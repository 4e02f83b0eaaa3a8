"""Speed, its ripple and drift, and the gain of every half cycle, from the tracked angle."""

from math import inf, pi

import numpy as np
from numpy.typing import NDArray

from station.analysis.angle_track import AngleTrack, smooth_speed, wave_basis
from station.analysis.back_emf import ORDER, BackEmf
from station.analysis.budget import limit_of_error, measurement, type_a
from station.analysis.line_voltages import LineVoltages
from station.capture import Accuracy
from station.measurement import Measurement, Refusal
from station.units import RPM

Floats = NDArray[np.float64]
MAX_SPEED_CHANGE = 0.1   # of the mean, over the capture
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
                       "samples are missing or the coupling slipped. Take the capture again.")
    return None


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
    speed = smooth_speed(angle, times, per_period) * track.direction
    line = np.polynomial.Polynomial.fit(times, speed, 1)
    ripple = 100 * float(np.sqrt(np.mean((speed - line(times)) ** 2))) / electrical
    drift = 100 * float(line(times[-1]) - line(times[0])) / electrical
    noise = track.angle_u * 2 / whole  # relative: two ends, each about twice as unsure as the centre
    rpm = track.direction * electrical / pole_pairs / RPM
    ripple_u = 100 * noise * lines.times.size**0.5
    found = [
        measurement("speed", rpm, [type_a("angle noise", rpm * noise, inf),
                                   limit_of_error("timebase", rpm * accuracy.timebase, "timebase")]),
        measurement("electrical_frequency", electrical / (2 * pi), [
            type_a("angle noise", electrical / (2 * pi) * noise, inf),
            limit_of_error("timebase", electrical / (2 * pi) * accuracy.timebase, "timebase")]),
        measurement("speed_ripple", ripple, [type_a("angle noise", ripple_u, inf)]),
        measurement("speed_drift", drift, [type_a("angle noise", 100 * noise * 4, inf)]),
    ]
    return {m.name: m for m in found}


def half_cycle_gains(lines: LineVoltages, track: AngleTrack, emf: BackEmf, pole_pairs: int) -> tuple[Floats, Floats]:
    """Return gains (3, r, 2p) of whole revolutions and the uncertainty (3,) of one gain.

    A gain is the projection of a half cycle on the mean wave, both divided by speed: free of the
    bias that the highest sample of a noisy top has.
    """
    per_period = 2 * pi / (2 * pi * track.mean_electrical_frequency * lines.interval)
    speed = smooth_speed(track.angles, lines.times, per_period) / pole_pairs
    model = _model(track.angles, speed, emf)
    scale = (model**2).sum(axis=1) / ((lines.volts - emf.offset[:, None]) * model).sum(axis=1)
    grown = (track.angles - track.angles[0]) * track.direction
    index = np.floor(grown / pi).astype(np.intp)
    count = int(grown[-1] / (2 * pi * pole_pairs)) * 2 * pole_pairs
    inside = index < count
    gains, gain_u = np.empty((3, count)), np.empty(3)
    for line in range(3):
        product = (lines.volts[line] - emf.offset[line]) * model[line] * scale[line]
        top = np.bincount(index[inside], product[inside], count)
        bottom = np.bincount(index[inside], model[line, inside] ** 2, count)
        gains[line] = top / bottom
        gain_u[line] = emf.sigma[line] / np.sqrt(bottom.mean())
    return gains.reshape(3, -1, 2 * pole_pairs), gain_u


def _model(angle: Floats, speed: Floats, emf: BackEmf) -> Floats:
    basis = wave_basis(angle, speed)[:, 1:]
    sine, cosine = basis[:, :ORDER.size], basis[:, ORDER.size:]
    in_phase, quadrature = emf.amplitude * np.cos(emf.phase), emf.amplitude * np.sin(emf.phase)
    return np.stack([sine @ in_phase[line] + cosine @ quadrature[line] for line in range(3)])
