"""The back-EMF of three lines as harmonics of the rotor angle, per unit of mechanical speed."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.analysis.angle_track import AngleTrack, TrackedWaves
from station.analysis.line_voltages import LineVoltages
from station.capture import VOLTAGE_CHANNELS, Capture

Floats = NDArray[np.float64]
GRID = 3600  # points per electrical revolution of a drawn wave
MAX_FREQUENCY_SHARE = 0.4  # of the sampling rate; higher orders are not fitted


@dataclass(frozen=True, slots=True)
class BackEmf:
    """volts / speed of line l = sum over h of amplitude[l, h-1] sin(h angle + phase[l, h-1]).

    `amplitude` (3, H) V s/rad per mechanical speed, at the reference temperature; `phase` (3, H)
    rad; `amplitude_u` (H,) its standard uncertainty from residuals; `offset` (3,) V; `sigma` (3,)
    V, residual rms of the block means; `dof` of the fit; `orders` H, the highest order fitted.
    """

    amplitude: Floats
    phase: Floats
    amplitude_u: Floats
    offset: Floats
    offset_u: float
    sigma: Floats
    dof: int
    orders: int

    @property
    def order(self) -> NDArray[np.int64]:
        """Orders 1 to H of the columns of `amplitude` and `phase`."""
        return np.arange(1, self.orders + 1)

    def wave(self, points: int = GRID) -> Floats:
        """Return volts/speed (3, points) over one electrical revolution from angle 0."""
        spectrum = np.zeros((3, points // 2 + 1), dtype=np.complex128)
        kept = min(self.orders, points // 2 - 1)  # a sine is -j times a cosine
        spectrum[:, 1:kept + 1] = -0.5j * points * (self.amplitude * np.exp(1j * self.phase))[:, :kept]
        wave: Floats = np.fft.irfft(spectrum, points, axis=1)
        return wave

    def phasors(self) -> NDArray[np.complex128]:
        """Return the fundamentals (3,) as complex amplitudes, V s/rad."""
        phasors: NDArray[np.complex128] = self.amplitude[:, 0] * np.exp(1j * self.phase[:, 0])
        return phasors


def usable_orders(capture: Capture, electrical_frequency: float, wanted: int) -> int:
    """Return the highest order that the sampling rate lets through, at most `wanted`."""
    return min(wanted, int(MAX_FREQUENCY_SHARE / (electrical_frequency * capture.sample_interval)))


def back_emf(
    capture: Capture, lines: LineVoltages, tracked: TrackedWaves, direction: int, pole_pairs: int, to_reference: float
) -> tuple[BackEmf, AngleTrack]:
    """Return the waves per mechanical speed, and the angle with its zero at the fundamental of v_ab.

    Parameters
    ----------
    to_reference : factor that brings a constant to the reference temperature

    Source: a mean of B samples loses sin(B x) / (B sin x), x = pi h / samples per period; a sample
    taken late by `skew` from a front end that lags by `lag` shows the rotor at t + skew - lag.
    """
    fit, count = tracked.fit, tracked.angle.size
    order = np.arange(1, fit.sine.shape[1] + 1)
    mean_speed = abs(tracked.angle[-1] - tracked.angle[0]) / (lines.times[-1] - lines.times[0])
    per_period = 2 * np.pi / (mean_speed * lines.interval)
    shrink = np.sinc(order / per_period) / np.sinc(order / (per_period * lines.block))
    # The fit is per electrical speed with its sign; its sine and cosine are A exp(j phase).
    waves = (fit.sine + 1j * fit.cosine) * (pole_pairs * to_reference / shrink)
    delay = np.array([capture.channels[name].skew - capture.channels[name].lag for name in VOLTAGE_CHANNELS])
    phase = np.angle(waves) - np.outer(delay, order) * direction * mean_speed
    zero = phase[0, 0]
    noise = float(fit.sigma.max())
    amplitude_u = noise * np.sqrt(2 / count) / mean_speed * pole_pairs * to_reference / shrink
    emf = BackEmf(np.abs(waves), _wrapped(phase - order * zero), amplitude_u, fit.offset,
                  noise / np.sqrt(count), fit.sigma, fit.dof, order.size)
    track = AngleTrack(lines.times, tracked.angle + zero, direction, float(amplitude_u[0] / emf.amplitude[0, 0]),
                       float(mean_speed / (2 * np.pi)))
    return emf, track


def _wrapped(angle: Floats) -> Floats:
    wrapped: Floats = np.angle(np.exp(1j * angle))
    return wrapped
