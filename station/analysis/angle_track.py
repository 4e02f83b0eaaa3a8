"""The rotor angle as a function of time, tracked from the back-EMF itself."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from station.analysis.angle_score import AngleScore, angle_score, bin_means, bin_starts, strongest_order
from station.analysis.electrical_ripple import with_ripple_of
from station.analysis.gate import Tone
from station.analysis.line_voltages import LineVoltages, space_vector
from station.analysis.shaft_motion import ShaftMotion, steady_motion
from station.analysis.wave_fit import WaveFit, fit_waves

Floats = NDArray[np.float64]
PASSES = 8             # two are enough for a steady shaft, four with one foreign order of ripple
SETTLED = 2e-5         # rad; a smaller step moves no harmonic by as much as its uncertainty
FOREIGN_ORDERS = 4     # of ripple that belongs neither to the revolution nor to the lines
HIGHEST_DEGREE = 6     # of the polynomial in time
WORSE = 1.01           # residuals over the best ones, from which on a pass has gone astray
FREE_PASSES = 2
FREE_EXCESS = 8.0      # standard deviations of the mean square by which noise alone never exceeds itself


@dataclass(frozen=True, slots=True)
class AngleTrack:
    """Electrical rotor angle, rad, unwrapped, against time since the first sample.

    The angle grows in the declared forward direction, so it falls in a reverse capture. Its zero is
    the rising zero of the fundamental of v_ab over signed speed; `angle_u` is the standard
    uncertainty of that zero. `direction` is +1 or -1, the way the shaft turns. `stitch_u` rad is what
    following the angle of another capture's waves leaves unsure.
    """

    times: Floats
    angles: Floats
    direction: int
    angle_u: float
    mean_electrical_frequency: float  # Hz, positive
    stitch_u: float = 0.0

    def rotor_angle(self, times: Floats) -> Floats:
        """Return the angle (k,) rad at `times` (k,) s; straight lines carry it beyond the ends."""
        inside = np.interp(times, self.times, self.angles)
        slope_start = (self.angles[1] - self.angles[0]) / (self.times[1] - self.times[0])
        slope_end = (self.angles[-1] - self.angles[-2]) / (self.times[-1] - self.times[-2])
        before = np.minimum(times - self.times[0], 0) * slope_start
        after = np.maximum(times - self.times[-1], 0) * slope_end
        angle: Floats = inside + before + after
        return angle


@dataclass(frozen=True, slots=True)
class TrackedWaves:
    """Three lines fitted on one tracked angle.

    `angle` and `speed` (n,) electrical rad and rad/s at the blocks; `motion` without what the free
    passes added to it; `covariance` of the motion's coefficients; `score` what the motion leaves
    of the angle; `free_rms` rad, what the free passes followed of that, 0 without them.
    """

    motion: ShaftMotion
    angle: Floats
    speed: Floats
    fit: WaveFit
    score: AngleScore
    covariance: Floats
    free_rms: float


@dataclass(frozen=True, slots=True)
class _Pass:
    """Waves fitted on `motion`, what they leave of the angle, and a motion that fits them better.

    `step` rad is the largest way by which the better motion moves the angle; `blocks` and `bins` are the columns of
    `motion` at the blocks and at the bins of the score.
    """

    motion: ShaftMotion
    fit: WaveFit
    score: AngleScore
    better: ShaftMotion
    step: float
    blocks: Floats
    bins: Floats


def first_motion(lines: LineVoltages, tone: Tone, pole_pairs: int) -> tuple[ShaftMotion, float]:
    """Return the motion that fits the angle of the space vector best, and the rms (rad) that it leaves.

    The lines are averaged over short bins, and their vector is turned back by the tone. The orders of
    ripple are orthogonal to the multiples of six that harmonics put into its angle. A reversed order of
    lines turns the vector the other way; then bc and ca change places in it.
    """
    rate = 2 * np.pi * tone.frequency * tone.direction
    starts = bin_starts(lines.times.size, 1 / (tone.frequency * lines.interval))
    times = bin_means(lines.times, starts)
    vector = space_vector(bin_means(lines.volts, starts), tone.phase_order)
    raw = np.unwrap(np.angle(vector * np.exp(-1j * rate * times) * (1j * tone.direction))) + rate * times
    motion, rest = steady_motion(times, lines.duration, raw, pole_pairs)
    return motion, float(np.sqrt(rest @ rest / rest.size))


def track_waves(lines: LineVoltages, motion: ShaftMotion, pole_pairs: int, highest_order: int) -> TrackedWaves:
    """Return waves and angle fitted together, starting from `motion`.

    Each pass fits the waves with all orders on the angle of the pass before, projects what they leave
    on their slope, and regresses that correction on the motion's columns: Gauss and Newton's
    way to the joint least squares, whose precision is the bound. Ripple of an order that stands out of
    what is left becomes a column of its own. Only what cannot be noise even then is followed freely.

    Source: maximum likelihood for white noise; alternating between waves and angle is allowed
    because their columns are orthogonal over whole periods (derived, held by trials).
    """
    best = _one_pass(lines, motion, pole_pairs, highest_order)
    for _ in range(PASSES):
        if best.better.unknowns == best.motion.unknowns and best.step < SETTLED:
            break
        found = _one_pass(lines, best.better, pole_pairs, highest_order, best)
        if found.fit.sigma.sum() > WORSE * best.fit.sigma.sum():
            break
        best = found
    tracked = _tracked(lines, best)
    return _followed(lines, tracked, highest_order) if tracked.score.excess() > FREE_EXCESS else tracked


def _one_pass(
    lines: LineVoltages, motion: ShaftMotion, pole_pairs: int, highest_order: int, before: _Pass | None = None
) -> _Pass:
    """Return the pass from `motion`; its columns are those of the pass `before` where only coefficients changed."""
    reused = before if before is not None and motion.has_columns_of(before.motion) else None
    blocks = reused.blocks if reused else motion.columns(lines.times)
    angle, speed = motion.on(blocks)
    fit = fit_waves(angle, speed, lines.volts, highest_order)
    score = angle_score(lines.times, fit, _blocks_per_period(lines, speed))
    bins = reused.bins if reused and np.array_equal(score.times, reused.score.times) else motion.columns(score.times)
    better, rest = _better(motion, score, bins, pole_pairs)
    rippled = with_ripple_of(fit, better, pole_pairs)
    known = better.orders.size
    added = 0.0 if rippled is better else float(
        np.hypot(rippled.in_phase[:known] - better.in_phase, rippled.quadrature[:known] - better.quadrature).sum())
    step = float(np.abs(score.correction - rest).max() + added)
    return _Pass(motion, fit, replace(score, correction=rest), rippled, step, blocks, bins)


def _tracked(lines: LineVoltages, found: _Pass) -> TrackedWaves:
    """Return waves and angle of a pass; its last step counts for the angle if it is small, not for the waves."""
    settled = found.better.unknowns == found.motion.unknowns and found.step < SETTLED
    motion = found.better if settled else found.motion
    known = motion.has_columns_of(found.motion)
    blocks, bins = ((found.blocks, found.bins) if known else
                    (motion.columns(lines.times), motion.columns(found.score.times)))
    covariance = np.asarray(np.linalg.inv((bins * found.score.information) @ bins.T), dtype=np.float64)
    return TrackedWaves(motion, *motion.on(blocks), found.fit, found.score, covariance, 0.0)


def _blocks_per_period(lines: LineVoltages, speed: Floats) -> float:
    return float(2 * np.pi / (np.abs(speed.mean()) * lines.interval))


def _better(motion: ShaftMotion, score: AngleScore, bins: Floats, pole_pairs: int) -> tuple[ShaftMotion, Floats]:
    """Return the motion moved to where the score is least, and what is left (m,) rad; `bins` its columns there.

    An order that stands out of what is left is tuned from then on, a slow bend raises the degree; one a pass.
    """
    columns = np.vstack([bins, motion.order_columns(score.times)])
    step = score.regress(columns)
    rest = score.correction - step @ columns
    width = columns.shape[0] - motion.movable.size
    step[0] = 0.0                             # the zero belongs to the waves
    better = replace(motion.moved(step[:width]), orders=_tuned(motion, step[width:]))
    order = strongest_order(replace(score, correction=rest), motion, pole_pairs)
    if order == 0.0 and motion.carrier.size < HIGHEST_DEGREE:
        return better.with_degree(), rest
    if order and motion.tuned.sum() < FOREIGN_ORDERS:
        return better.with_order(order, motion.cycle), rest
    return better, rest


def _tuned(motion: ShaftMotion, by: Floats) -> Floats:
    """Return the orders (k,) with the movable ones moved, none onto another and none far in one pass."""
    if not motion.movable.size:
        return motion.orders
    orders = motion.orders.copy()
    for index, move in zip(motion.movable, by, strict=True):
        to = orders[index] + np.clip(move, -motion.cycle / 4, motion.cycle / 4)
        if np.abs(np.delete(orders, index) - to).min(initial=to) >= motion.cycle:
            orders[index] = to
    return orders


def _followed(lines: LineVoltages, tracked: TrackedWaves, highest_order: int) -> TrackedWaves:
    """Return the track after free passes: the correction smoothed over half a period, whatever its shape."""
    angle, speed, fit = tracked.angle, tracked.speed, tracked.fit
    per_period = _blocks_per_period(lines, speed)
    window = np.ones(max(3, round(per_period / 2) | 1))
    added = np.zeros_like(angle)
    for _ in range(FREE_PASSES):
        top = np.convolve((fit.residual * fit.slope).sum(axis=0), window, "same")
        bottom = np.convolve((fit.slope**2).sum(axis=0), window, "same")
        correction = top / np.maximum(bottom, 1e-12 * bottom.max())
        added = added + correction - correction.mean()
        angle = tracked.angle + added
        speed = tracked.speed + smooth_speed(added, lines.times, per_period)
        fit = fit_waves(angle, speed, lines.volts, highest_order)
    return replace(tracked, angle=angle, speed=speed, fit=fit, free_rms=float(added.std()))


def smooth_speed(angle: Floats, times: Floats, blocks_per_period: float) -> Floats:
    """Return d(angle)/dt (n,) rad/s, averaged over one electrical period (shorter at the ends)."""
    half = max(1, round(blocks_per_period / 2))
    index = np.arange(angle.size)
    reach = np.minimum(half, np.minimum(np.maximum(index, 1), np.maximum(angle.size - 1 - index, 1)))
    low, high = np.maximum(index - reach, 0), np.minimum(index + reach, angle.size - 1)
    speed: Floats = (angle[high] - angle[low]) / (times[high] - times[low])
    return speed
