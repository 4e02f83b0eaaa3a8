"""The flux route: volts summed over time, which no ripple of the speed can change."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.analysis.angle_track import AngleTrack
from station.analysis.back_emf import BackEmf
from station.analysis.line_voltages import LineVoltages
from station.measurement import Refusal
from station.motor import LINES

Floats = NDArray[np.float64]
MAX_ODD_GAIN = 0.02      # of a half cycle, from the same pole in other revolutions
MAX_DISAGREEMENT = 0.005 # between the flux of the fitted waves and the summed volts


@dataclass(frozen=True, slots=True)
class HalfCycleFlux:
    """Flux that each half cycle turns over, of whole revolutions.

    `gains` (3, r, 2p): over the line's mean; `gain_u` (3,) the standard uncertainty of one gain;
    `swing` (3,) V s, the mean of what one half cycle turns over.
    """

    gains: Floats
    gain_u: Floats
    swing: Floats


def half_cycle_flux(lines: LineVoltages, track: AngleTrack, emf: BackEmf, pole_pairs: int) -> HalfCycleFlux:
    """Return the flux of every half cycle between the zeros of each line's own fundamental.

    The voltage integrated over time from zero to zero is the flux that the pole turns over, whatever
    the speed did meanwhile; at the zeros the voltage is least, so an error of theirs is of second order.

    Source: Faraday's law. Straight lines between block means of a sine lose (x/2)/tan(x/2) of the area
    and the means themselves sin(x/2)/(x/2), x being the angle of a block (derived).
    """
    volts = lines.volts - emf.offset[:, None]
    flux = np.zeros_like(volts)
    np.cumsum(0.5 * (volts[:, 1:] + volts[:, :-1]) * np.diff(lines.times), axis=1, out=flux[:, 1:])
    angle = track.angles * track.direction
    shift = emf.phase[:, 0] * track.direction
    first, last = np.ceil((angle[0] + shift) / np.pi), np.floor((angle[-1] + shift) / np.pi)
    whole = int((last - first).min()) // (2 * pole_pairs) * 2 * pole_pairs
    zeros = np.interp((first[:, None] + np.arange(whole + 1)) * np.pi - shift[:, None], angle, lines.times)
    swing = np.abs(np.diff(_integrals_at(zeros, lines.times, volts, flux)))
    mean = swing.mean(axis=1)
    samples = np.pi / (2 * np.pi * track.mean_electrical_frequency * lines.interval)
    gain_u = emf.sigma * lines.interval * np.sqrt(samples) / mean
    half = np.pi * track.mean_electrical_frequency * lines.interval
    lost = half / np.tan(half) * np.sinc(half / np.pi)
    gains = (swing / mean[:, None]).reshape(3, -1, 2 * pole_pairs)
    return HalfCycleFlux(gains, gain_u, mean / lost)


def _integrals_at(times: Floats, known: Floats, volts: Floats, flux: Floats) -> Floats:
    """Return the flux (3, k) at `times` (3, k): the exact integral of the straight lines between block means (3, n)."""
    at, line = np.clip(np.searchsorted(known, times) - 1, 0, known.size - 2), np.arange(3)[:, None]
    since, step, start = times - known[at], known[at + 1] - known[at], volts[line, at]
    bend = (volts[line, at + 1] - start) / step
    integral: Floats = flux[line, at] + since * (start + 0.5 * bend * since)
    return integral


def refuse_disturbed(half_cycles: HalfCycleFlux) -> Refusal | None:
    """Return why the waves were disturbed: a pole repeats itself every revolution, a disturbance does not."""
    gains = half_cycles.gains
    off = np.abs(gains - np.sort(gains, axis=1)[:, gains.shape[1] // 2, None])
    usual = 1.4826 * np.sort(off.reshape(3, -1))[:, off[0].size // 2, None, None]  # standard deviation by the median
    beyond = off - np.maximum(MAX_ODD_GAIN, 8 * usual)
    worst = np.unravel_index(int(np.argmax(beyond)), beyond.shape)
    if beyond[worst] <= 0:
        return None
    return Refusal("wave_disturbed", f"One half cycle of v_{LINES[worst[0]]} differs by {100 * off[worst]:.1f} % from "
                   "the same pole in other revolutions: a loose contact, or codes that stood still. Check the contacts "
                   "and take the capture again.")


def refuse_flux(half_cycles: HalfCycleFlux, emf: BackEmf, pole_pairs: int, to_reference: float) -> Refusal | None:
    """Return why fit and summed volts cannot both be right: two ways to one number, sharing no step after the sums."""
    order = np.arange(1, emf.orders + 1)
    own = emf.phase - order * emf.phase[:, :1]
    turned = np.where(order % 2, 2 / order, 0.0)  # integral of sin(h x + own) over half a turn from the own zero
    fitted = np.abs((emf.amplitude * turned * np.cos(own)).sum(axis=1)) / (pole_pairs * to_reference)
    apart = half_cycles.swing / fitted - 1
    worst = int(np.argmax(np.abs(apart)))
    if abs(apart[worst]) <= MAX_DISAGREEMENT:
        return None
    return Refusal("flux_disagrees", f"The flux of v_{LINES[worst]} summed over time differs by "
                   f"{100 * apart[worst]:+.2f} % from that of its fitted wave: the wave did not repeat itself, "
                   "or the angle was lost. Take the capture again.")
