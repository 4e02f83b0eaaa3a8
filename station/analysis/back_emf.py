"""The back-EMF of three lines as harmonics of the rotor angle, per unit of mechanical speed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.analysis.angle_track import AngleTrack, rotor_speed, solve_waves, wave_basis
from station.analysis.line_voltages import ORDERS, LineVoltages
from station.capture import VOLTAGE_CHANNELS, Capture

Floats = NDArray[np.float64]
GRID = 3600  # points per electrical revolution of a drawn wave
ORDER = np.arange(1, ORDERS + 1)
MAX_FREQUENCY_SHARE = 0.4  # of the sampling rate; higher orders are not reported


@dataclass(frozen=True, slots=True)
class BackEmf:
    """volts / speed of line l = sum over h of amplitude[l, h-1] sin(h angle + phase[l, h-1]).

    `amplitude` (3, 25) V s/rad per mechanical speed, at the reference temperature; `phase` (3, 25)
    rad; `amplitude_u` (25,) its standard uncertainty from residuals; `offset` (3,) V; `sigma` (3,)
    V, residual rms of the block means; `dof` of the fit; `orders` the highest order to trust.
    """

    amplitude: Floats
    phase: Floats
    amplitude_u: Floats
    offset: Floats
    offset_u: float
    sigma: Floats
    dof: int
    orders: int

    def wave(self, points: int = GRID) -> Floats:
        """Return volts/speed (3, points) over one electrical revolution from angle 0."""
        spectrum = np.zeros((3, points // 2 + 1), dtype=np.complex128)
        spectrum[:, ORDER] = -0.5j * points * self.amplitude * np.exp(1j * self.phase)
        wave: Floats = np.fft.irfft(spectrum, points)
        return wave

    def phasors(self) -> NDArray[np.complex128]:
        """Return the fundamentals (3,) as complex amplitudes, V s/rad."""
        phasors: NDArray[np.complex128] = self.amplitude[:, 0] * np.exp(1j * self.phase[:, 0])
        return phasors


def fit_back_emf(
    capture: Capture, lines: LineVoltages, angle: Floats, direction: int, pole_pairs: int, to_reference: float
) -> tuple[BackEmf, AngleTrack]:
    """Fit all lines on one angle and move the angle's zero to the fundamental of v_ab.

    Parameters
    ----------
    angle : (n,) rad at `lines.times`, zero anywhere
    to_reference : factor that brings a constant to the reference temperature

    Source: joint least squares, one common angle; derived. A mean of B samples loses
    sin(B x) / (B sin x), x = pi h / samples per period; a sample taken late by `skew` from a front
    end that lags by `lag` shows the rotor at t + skew - lag.
    """
    mean_speed = abs(angle[-1] - angle[0]) / (lines.times[-1] - lines.times[0])  # electrical rad/s
    per_period = 2 * np.pi / (mean_speed * lines.interval)
    basis = wave_basis(angle, rotor_speed(angle, lines.times, per_period, pole_pairs) / pole_pairs)
    coefficients = solve_waves(basis, lines.volts.T)
    residual = lines.volts.T - basis @ coefficients
    dof = angle.size - basis.shape[1]
    sigma = np.sqrt((residual**2).sum(axis=0) / dof)
    waves = (coefficients[1:ORDERS + 1] + 1j * coefficients[ORDERS + 1:]).T  # A exp(j phase)
    shrink = np.sinc(ORDER / per_period) / np.sinc(ORDER / (per_period * lines.block))
    delay = np.array([capture.channels[name].skew - capture.channels[name].lag for name in VOLTAGE_CHANNELS])
    phase = np.angle(waves) - np.outer(delay, ORDER) * direction * mean_speed
    zero = phase[0, 0]
    amplitude = np.abs(waves) / shrink * to_reference
    amplitude_u = sigma.max() * np.sqrt(2 / angle.size) / (mean_speed / pole_pairs) / shrink * to_reference
    emf = BackEmf(
        amplitude, _wrapped(phase - ORDER * zero), amplitude_u, coefficients[0],
        float(sigma.max() / np.sqrt(angle.size)), sigma, dof,
        min(ORDERS, int(MAX_FREQUENCY_SHARE * 2 * np.pi / (mean_speed * capture.sample_interval))),
    )
    track = AngleTrack(lines.times, angle + zero, direction, float(amplitude_u[0] / amplitude[0, 0]),
                       mean_speed / (2 * np.pi))
    return emf, track


def _wrapped(angle: Floats) -> Floats:
    wrapped: Floats = np.angle(np.exp(1j * angle))
    return wrapped
