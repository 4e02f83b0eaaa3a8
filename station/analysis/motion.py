"""Speed, its ripple and drift, from the tracked motion of the shaft, and whether that motion can be used."""

from math import hypot, inf, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from station.analysis.angle_track import AngleTrack, TrackedWaves
from station.analysis.back_emf import BackEmf
from station.analysis.budget import SLOT_RIPPLE, SLOT_RMS, TIMEBASE, UNLIKE_LINES, limit_of_error, measurement, type_a
from station.analysis.line_voltages import LineVoltages
from station.analysis.pole_leak import pole_leaks
from station.analysis.shaft_motion import ShaftMotion
from station.capture import Accuracy
from station.measurement import BudgetRow, Measurement, Refusal
from station.motor import LINES
from station.units import RPM

Floats = NDArray[np.float64]
MAX_SPEED_CHANGE = 0.1   # of the mean, over the capture
MAX_SUM = 0.01           # of one line's fundamental; ten times the error of good channels
MAX_FIRST_REST = np.deg2rad(30.0)  # rms that the first regression may leave; beyond it no wave can be fitted
MAX_STEP = np.deg2rad(1.5)   # of the angle from one half period to the next; more means samples are missing
SPEED_POINTS = 512       # at which ripple is evaluated
NOISE_STEP = 8.0         # standard deviations of such a step that noise never reaches


def refuse_motion(motion: ShaftMotion, lines: LineVoltages, rest: float, direction: int) -> Refusal | None:
    """Return why the speed makes the capture useless, or None; `rest` (rad) is what the first regression left."""
    times = np.linspace(lines.times[0], lines.times[-1], SPEED_POINTS)
    speed = motion.at(times)[1] * direction
    steady = motion.steady_speed(times)
    change = float((steady.max() - steady.min()) / abs(steady.mean()))
    if change > MAX_SPEED_CHANGE or not speed.min() > 0:
        return Refusal("speed_not_stable", f"The speed changes by {100 * change:.1f} % of its mean during the "
                       f"capture; at most {100 * MAX_SPEED_CHANGE:g} % can be used. Let the drive settle first.")
    if rest > MAX_FIRST_REST:
        return Refusal("speed_not_stable", f"The rotor angle leaves any steady motion by {np.rad2deg(rest):.0f}° rms. "
                       "Let the drive settle first, and look for a slipping coupling or an open contact.")
    return None


def refuse_step(tracked: TrackedWaves) -> Refusal | None:
    """Return why samples must be missing: no shaft can jump within half a period, its inertia forbids it."""
    correction, information = tracked.score.halves()
    step = np.abs(np.diff(correction))
    noise = np.sqrt(1 / information[1:] + 1 / information[:-1])
    beyond = step - np.maximum(MAX_STEP, NOISE_STEP * noise)
    worst = int(np.argmax(beyond))
    if beyond[worst] <= 0:
        return None
    return Refusal("samples_missing", f"The rotor angle jumps by {np.rad2deg(step[worst]):.1f}° inside the capture: "
                   "samples are missing, a contact opened, or the coupling slipped. Take the capture again.")


def refuse_sum(emf: BackEmf) -> Refusal | None:
    """Return why the three channels cannot all be right: one loop's voltages add up to zero, whatever the motor."""
    phasors = emf.phasors()
    size = float(np.abs(phasors).mean())
    share = float(abs(phasors.sum())) / size
    if share <= MAX_SUM:
        return None
    turned = [line for line, phasor in zip(LINES, phasors, strict=True)
              if abs(phasors.sum() - 2 * phasor) / size <= MAX_SUM]
    code, hint = (("line_reversed", f"With v_{turned[0]} turned over they do: its two test leads are exchanged.")
                  if len(turned) == 1 else
                  ("lines_do_not_close", "A channel has a wrong gain, is cut off, or has lost samples."))
    return Refusal(code, f"The three line-to-line voltages do not add up to zero: {100 * share:.1f} % "
                   f"of one of them is left. {hint} Check the digitizer and its leads.")


def speed_measurements(
    tracked: TrackedWaves, track: AngleTrack, emf: BackEmf, poles: Floats, accuracy: Accuracy
) -> dict[str, Measurement]:
    """Return speed, electrical frequency, ripple and drift.

    Speed is angle over time of whole mechanical revolutions, taken from the middle of the capture
    so that a drift adds nothing; drift is that of the polynomial over the whole capture; ripple the rms of
    everything else. Their type A uncertainties follow from the covariance of the motion.
    """
    pole_pairs = poles.shape[1] // 2
    start, end, whole = _whole_revolutions(track, pole_pairs)
    motion = tracked.motion
    ends = motion.columns(np.array([start, end]))
    electrical = whole / (end - start)
    noise = _spread(tracked, ends[:, 1] - ends[:, 0]) / (end - start) / electrical
    # Where the track was followed freely, its two ends know it no better than their own half period.
    noise = sqrt(noise**2 + (2 * tracked.free_rms**2 / ((end - start) * electrical) ** 2))
    gained = motion.drifts()
    drift = float(gained @ motion.polynomial) / electrical * track.direction
    drift_u = _spread(tracked, gained) / electrical
    rpm = track.direction * electrical / pole_pairs / RPM
    other = 100 * tracked.free_rms / (electrical * motion.span) * sqrt(12)
    found = [measurement(name, value, [type_a("angle noise", value * noise, inf),
                                       limit_of_error(TIMEBASE, value * accuracy.timebase, TIMEBASE)])
             for name, value in (("speed", rpm), ("electrical_frequency", electrical / (2 * pi)))]
    unlike = UNLIKE_LINES * float((emf.amplitude[:, 1:2] / emf.amplitude[:, :1]).max(initial=0.0))
    found += [_ripple_measurement(_ripple(tracked, track.times, electrical, poles),
                                  _in_step(tracked.motion, pole_pairs), unlike, accuracy),
              measurement("speed_drift", 100 * drift, [type_a("angle noise", 100 * drift_u, inf),
                                                       type_a("ripple of no order", other, inf)])]
    return {m.name: m for m in found}


def _ripple_measurement(
    found: tuple[float, float, float], in_step: Floats, unlike: float, accuracy: Accuracy
) -> Measurement:
    """Return speed_ripple from what `_ripple` found; `unlike` is the order 2 that lines may have unlike, relative."""
    ripple, noise, leaked = found
    unseen = hypot(ripple, SLOT_RMS * accuracy.slot_ripple) - ripple
    unsure = float((in_step**2 - np.maximum(in_step - unlike, 0.0) ** 2).sum()) / 2
    sure = sqrt(max(ripple**2 - unsure, 0.0))
    return measurement("speed_ripple", 100 * ripple, [
        type_a("angle noise", 100 * noise, inf),
        BudgetRow("poles of unlike strength", "B", "normal", 100 * leaked, inf),
        limit_of_error("order 2 unlike from line to line", 100 * (ripple - sure)),
        limit_of_error(SLOT_RIPPLE, 100 * unseen)])


def _in_step(motion: ShaftMotion, pole_pairs: int) -> Floats:
    """Return the relative amplitudes of the ripple at whole electrical orders."""
    order = np.round(motion.orders)
    sizes = np.hypot(motion.in_phase, motion.quadrature) * order / pole_pairs
    in_step: Floats = sizes[order % pole_pairs == 0]
    return in_step


def _whole_revolutions(track: AngleTrack, pole_pairs: int) -> tuple[float, float, float]:
    """Return start and end (s) of as many whole revolutions as the capture holds, in its middle, and their angle."""
    grown = track.angles * track.direction
    total, turn = grown[-1] - grown[0], 2 * pi * pole_pairs
    whole = float(np.floor(total / turn) * turn)
    first = grown[0] + 0.5 * (total - whole)
    start, end = np.interp([first, first + whole], grown, track.times)
    return float(start), float(end), whole


def _spread(tracked: TrackedWaves, columns: Floats) -> float:
    """Return the standard uncertainty of a sum of the motion's first coefficients times `columns` (c,)."""
    size = columns.size
    return sqrt(float(columns @ tracked.covariance[:size, :size] @ columns))


def _ripple(tracked: TrackedWaves, times: Floats, electrical: float, poles: Floats) -> tuple[float, float, float]:
    """Return the rms of the relative speed about its polynomial, and what noise and unlike `poles` do to it."""
    thin = max(1, times.size // SPEED_POINTS)
    slopes = tracked.motion.slopes(times[::thin])
    steady = tracked.motion.polynomial.size
    about = tracked.speed[::thin] - tracked.motion.polynomial @ slopes[:steady]
    slopes[:steady] = 0.0
    rms = float(np.sqrt(np.mean(about * about)))
    noise = float((slopes * (tracked.covariance @ slopes)).sum()) / about.size
    slope = slopes @ about / about.size / max(rms, 1e-12 * electrical)   # of the rms after each coefficient
    # Close to no ripple at all the rms is the noise itself.
    u = sqrt(float(slope @ tracked.covariance @ slope) + (noise if rms * rms < noise else 0.0))
    leak = pole_leaks(poles, tracked.motion.orders)
    of_order = slope[steady:steady + 2 * leak.size].reshape(2, leak.size)
    leaked = sqrt(float((of_order**2 * leak**2).sum()) / 2)     # either part of each order has half the square
    return rms / electrical, u / electrical, leaked / electrical
