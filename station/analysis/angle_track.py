"""The rotor angle as a function of time, tracked from the back-EMF itself."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.analysis.line_voltages import ORDERS, LineVoltages

Floats = NDArray[np.float64]
MECHANICAL_ORDERS = (1, 2, 3)  # of speed ripple: unbalance, misalignment and coupling of the drive
FREE_PASSES = 2


@dataclass(frozen=True, slots=True)
class AngleTrack:
    """Electrical rotor angle, rad, unwrapped, against time since the first sample.

    The angle grows in the declared forward direction, so it falls in a reverse capture. Its zero is
    the rising zero of the fundamental of v_ab over signed speed; `angle_u` is the standard
    uncertainty of that zero. `direction` is +1 or -1, the way the shaft turns.
    """

    times: Floats
    angles: Floats
    direction: int
    angle_u: float
    mean_electrical_frequency: float  # Hz, positive

    def rotor_angle(self, times: Floats) -> Floats:
        """Return the angle (k,) rad at `times` (k,) s; straight lines carry it beyond the ends."""
        inside = np.interp(times, self.times, self.angles)
        slope_start = (self.angles[1] - self.angles[0]) / (self.times[1] - self.times[0])
        slope_end = (self.angles[-1] - self.angles[-2]) / (self.times[-1] - self.times[-2])
        before = np.minimum(times - self.times[0], 0) * slope_start
        after = np.maximum(times - self.times[-1], 0) * slope_end
        angle: Floats = inside + before + after
        return angle

    def angular_speed(self, times: Floats) -> Floats:
        """Return electrical rad/s (k,), signed, at `times` (k,) s."""
        speed: Floats = np.interp(times, self.times, np.gradient(self.angles, self.times))
        return speed


def parametric_angle(lines: LineVoltages, order: int, direction: int, frequency: float, pole_pairs: int) -> Floats:
    """Return the angle (n,) from a regression on 1, t, t² and the mechanical orders 1 to 3.

    These are orthogonal to the multiples of six that harmonics put into the angle. Whole electrical
    orders are left out: a channel offset or unlike lines would pass for ripple there.
    Source: phase regression, S. Kay, Estimation Theory, ch. 3 (from memory); the orders derived.
    """
    raw = np.unwrap(np.angle(lines.vector(order) * 1j * direction))
    centred = (lines.times - lines.times.mean()) / lines.duration
    mechanical = 2 * np.pi * frequency / pole_pairs * lines.times
    for _ in range(2):  # the second time with the mechanical angle that the first one found
        columns = [np.ones_like(centred), centred, centred**2]
        for k in ripple_orders(pole_pairs):
            columns += [np.cos(k * mechanical), np.sin(k * mechanical)]
        basis = np.column_stack(columns)
        angle: Floats = basis @ np.linalg.lstsq(basis, raw, rcond=None)[0]
        mechanical = np.abs(angle - angle[0]) / pole_pairs
    return angle


def ripple_orders(pole_pairs: int) -> tuple[int, ...]:
    """Return the mechanical orders of speed ripple that no fault of the lines can imitate."""
    return tuple(k for k in MECHANICAL_ORDERS if k % pole_pairs)


def free_angle(lines: LineVoltages, angle: Floats, blocks_per_period: float, pole_pairs: int) -> Floats:
    """Return the angle (n,) after two passes that follow what the parametric one could not.

    Each pass fits the waves with all orders, projects the residual on their slope, and smooths the
    correction over half a period.
    """
    window = np.ones(max(3, round(blocks_per_period / 2) | 1))
    for _ in range(FREE_PASSES):
        speed = rotor_speed(angle, lines.times, blocks_per_period, pole_pairs)
        basis = wave_basis(angle, speed)
        coefficients = solve_waves(basis, lines.volts.T)
        residual = lines.volts.T - basis @ coefficients
        slope = slope_basis(angle, speed) @ coefficients[1:]
        top = np.convolve((residual * slope).sum(axis=1), window, "same")
        bottom = np.convolve((slope**2).sum(axis=1), window, "same")
        correction = top / np.maximum(bottom, 1e-12 * bottom.max())
        angle = angle + correction - correction.mean()
    return angle


def rotor_speed(angle: Floats, times: Floats, blocks_per_period: float, pole_pairs: int) -> Floats:
    """Return d(angle)/dt (n,) electrical rad/s: ripple of known orders exactly, the rest averaged over a period.

    An average over a period alone would take a tenth off a once-per-revolution ripple at four pole pairs.
    """
    centred = times - times.mean()
    rate = (angle[-1] - angle[0]) / (times[-1] - times[0]) / pole_pairs
    columns = [np.ones_like(centred), centred, centred**2]  # without t² a drift would pass for ripple
    slopes = [np.zeros_like(centred), np.ones_like(centred), 2 * centred]
    for k in ripple_orders(pole_pairs):
        cosine, sine = np.cos(k * rate * centred), np.sin(k * rate * centred)
        columns += [cosine, sine]
        slopes += [-k * rate * sine, k * rate * cosine]
    basis = np.column_stack(columns)
    coefficients = np.linalg.lstsq(basis, angle, rcond=None)[0]
    rest = smooth_speed(angle - basis @ coefficients, times, blocks_per_period)
    speed: Floats = np.column_stack(slopes) @ coefficients + rest
    return speed


def smooth_speed(angle: Floats, times: Floats, blocks_per_period: float) -> Floats:
    """Return d(angle)/dt (n,) rad/s, averaged over one electrical period (shorter at the ends)."""
    half = max(1, round(blocks_per_period / 2))
    index = np.arange(angle.size)
    reach = np.minimum(half, np.minimum(np.maximum(index, 1), np.maximum(angle.size - 1 - index, 1)))
    low, high = np.maximum(index - reach, 0), np.minimum(index + reach, angle.size - 1)
    speed: Floats = (angle[high] - angle[low]) / (times[high] - times[low])
    return speed


def wave_basis(angle: Floats, speed: Floats) -> Floats:
    """Return (n, 1 + 2 x 25): a constant, then speed x sin(h angle), speed x cos(h angle), h = 1 to 25."""
    powers = _powers(angle)
    return np.hstack([np.ones((angle.size, 1)), speed[:, None] * powers.imag, speed[:, None] * powers.real])


def slope_basis(angle: Floats, speed: Floats) -> Floats:
    """Return (n, 2 x 25): the derivatives of the waves in `wave_basis` after the angle."""
    order, powers = np.arange(1, ORDERS + 1), _powers(angle)
    slope: Floats = speed[:, None] * np.hstack([powers.real * order, -powers.imag * order])
    return slope


def solve_waves(basis: Floats, volts: Floats) -> Floats:
    """Return the least-squares coefficients (51, 3) of `volts` (n, 3) on `basis` (n, 51).

    Over many periods the columns are nearly orthogonal, so the normal equations lose nothing and
    cost a small part of a decomposition of the whole basis.
    """
    scale = np.sqrt((basis**2).sum(axis=0))
    scaled = basis / scale
    coefficients: Floats = np.linalg.solve(scaled.T @ scaled, scaled.T @ volts) / scale[:, None]
    return coefficients


def _powers(angle: Floats) -> NDArray[np.complex128]:
    """Return exp(j h angle) (n, 25) for h = 1 to 25, each the one before times the first."""
    turns = np.repeat(np.exp(1j * angle)[:, None], ORDERS, axis=1)
    powers: NDArray[np.complex128] = np.cumprod(turns, axis=1)
    return powers
