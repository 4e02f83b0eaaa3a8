"""The rotor angle from one line whose waves are known: the other two lines were taken in another capture."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from station.analysis.back_emf import BackEmf
from station.analysis.line_voltages import LineVoltages
from station.analysis.shaft_motion import ShaftMotion, steady_motion

Floats = NDArray[np.float64]
PASSES = 8
SETTLED = 2e-5      # rad; as for three lines
NEEDED_OVER_NOISE = 30.0    # of a spectrum's peak over its median; noise alone stays below 5 (derived)
FREE_EXCESS = 8.0   # standard deviations of the mean square by which noise alone never exceeds itself


@dataclass(frozen=True, slots=True)
class KnownWave:
    """Volts per electrical speed of one line as it shows in block means: sum of imag(`factors`[h-1] exp(j h angle))."""

    factors: NDArray[np.complex128]     # (H,) V s/rad

    @property
    def fundamental(self) -> float:
        """Amplitude of order 1, V s/rad."""
        return float(abs(self.factors[0]))

    def at(self, angle: Floats) -> tuple[Floats, Floats]:
        """Return volts per electrical speed (n,) V s/rad, and their derivative after the angle, at `angle` (n,) rad."""
        turn = np.exp(1j * angle)
        wave, slope = np.zeros_like(turn), np.zeros_like(turn)
        for order in range(self.factors.size, 0, -1):       # Horner's rule
            wave = (wave + self.factors[order - 1]) * turn
            slope = (slope + order * self.factors[order - 1]) * turn
        return wave.imag, slope.real


def known_wave(emf: BackEmf, line: int, pole_pairs: int, to_reference: float, per_period: float = 1e9, block: int = 1
               ) -> KnownWave:
    """Return the wave of `line` as another capture must show it.

    Parameters
    ----------
    to_reference : factor that brings a constant of that capture to the reference temperature
    per_period, block : samples in an electrical period and in a block of that capture

    Source: a mean of B samples loses sin(B x) / (B sin x), x = pi h / samples per period.
    """
    order = emf.order
    shrink = np.sinc(order * block / per_period) / np.sinc(order / per_period)
    size = emf.amplitude[line] * shrink / (pole_pairs * to_reference)
    return KnownWave(size * np.exp(1j * emf.phase[line]))


@dataclass(frozen=True, slots=True)
class KnownTrack:
    """One line fitted by its known wave on a tracked angle.

    `angle`, `speed` (n,) electrical rad and rad/s at the blocks, whose `times` are (n,) s; `gains` (2p,) of half
    cycles over the known wave; `rest` (n,) V, what is left; `sigma` V, its rms; `free_rms` rad, the motion that
    no order explains and that was followed half cycle by half cycle; `step` rad, the largest jump beyond noise
    between two half cycles.
    """

    wave: KnownWave
    times: Floats
    angle: Floats
    speed: Floats
    gains: Floats
    rest: Floats
    sigma: float
    free_rms: float
    step: float

    @property
    def gain(self) -> float:
        """Amplitude over that of the known wave."""
        return float(self.gains.mean())

    @property
    def order_u(self) -> float:
        """Standard uncertainty of one part of an order of the line, as a share of its fundamental."""
        size = self.gain * self.wave.fundamental * float(np.abs(self.speed).mean())
        return self.sigma / size * float(np.sqrt(2 / self.rest.size))

    def own_orders(self) -> NDArray[np.complex128]:
        """Return what each order of the line differs by (H,), as shares of its fundamental.

        Of the first one, the real part turns it, rad, and the imaginary part stretches it.
        """
        ratio = self.rest / (self.speed * self.gain * self.wave.fundamental)
        return np.array([2 * np.mean(ratio * np.exp(-1j * order * self.angle))
                         for order in range(1, self.wave.factors.size + 1)])


def line_frequency(lines: LineVoltages) -> float | None:
    """Return the frequency (Hz) of the strongest tone of one line, or None if nothing stands out of noise.

    Source: two neighbours of a tone under a Hann window stand as (1 + d) to (2 - d); derived.
    """
    volts = lines.volts[0] - lines.volts[0].mean()
    size = np.abs(np.fft.rfft(volts * np.hanning(volts.size)))
    peak = 2 + int(size[2:-1].argmax())
    if not size[peak] > NEEDED_OVER_NOISE * np.median(size):
        return None
    left, middle, right = size[peak - 1:peak + 2]
    share = float(max(left, right) / middle)
    bins = peak + (1 if right > left else -1) * (2 * share - 1) / (share + 1)
    return float(bins / (volts.size * lines.interval))


def first_line_motion(lines: LineVoltages, turning: float, pole_pairs: int) -> tuple[ShaftMotion, float]:
    """Return the motion that fits the phase of one line best, and the rms (rad) that it leaves.

    The line is turned back by the frequency `turning`, Hz, signed as the shaft turns, and averaged over half
    periods, where its own image at twice the frequency and all its odd orders average out.
    """
    rate = 2 * np.pi * abs(turning)
    volts = lines.volts[0] - lines.volts[0].mean()
    half = max(1, round(0.5 / (abs(turning) * lines.interval)))
    starts = np.arange(0, volts.size - half + 1, half)
    still = 1j * volts * np.exp(-1j * rate * lines.times)
    sums = np.add.reduceat(np.stack([still, lines.times.astype(complex)]), starts, axis=1)
    counts = np.diff(np.append(starts, volts.size))
    times = sums[1].real / counts
    raw = np.sign(turning) * (np.unwrap(np.angle(sums[0])) + rate * times)
    motion = steady_motion(times, lines.duration, raw, pole_pairs)
    rest = raw - motion.at(times)[0]
    return motion, float(np.sqrt(np.mean(rest * rest)))


def with_orders_of(motion: ShaftMotion, other: ShaftMotion) -> ShaftMotion:
    """Return `motion` with room for the orders of ripple and the powers of time that `other` needed."""
    nothing = np.zeros(other.orders.size)
    motion = replace(motion, orders=other.orders, tuned=np.zeros(other.orders.size, dtype=bool),
                     in_phase=nothing, quadrature=nothing)
    while motion.polynomial.size < other.polynomial.size:
        motion = motion.with_degree()
    return motion


def track_known(lines: LineVoltages, wave: KnownWave, start: ShaftMotion, pole_pairs: int) -> KnownTrack:
    """Return the angle on which the known wave fits the line best, starting from `start`.

    Least squares, by Gauss and Newton, of an offset, a gain for each pole of a revolution, and the motion.
    Poles count apart, so that a weak one does not pass for motion. What the motion does not
    explain is followed from half cycle to half cycle, each from zero to zero of the line, where gain and angle are at
    right angles; if noise explains it, it is left alone.
    """
    motion, volts = start, lines.volts[0]
    for _ in range(PASSES):
        angle, speed = motion.at(lines.times)
        shape, slope = wave.at(angle)
        columns, cycle = motion.columns(lines.times), _half_cycles(angle)
        poles = _one_each((cycle - cycle.min()) % (2 * pole_pairs), 2 * pole_pairs) * (speed * shape)
        design = np.vstack([np.ones_like(angle), poles, speed * slope * columns])
        factors = _solve(design, volts)
        gains = factors[1:2 * pole_pairs + 1]
        by = factors[2 * pole_pairs + 1:] / gains.mean()
        motion = motion.moved(by)
        if np.abs(by @ columns).max() < SETTLED:
            break
    rest = volts - factors @ design
    found = KnownTrack(wave, lines.times, *motion.at(lines.times), gains, rest, _spread(rest, factors.size), 0.0, 0.0)
    return _followed(found, speed * slope * gains.mean(), cycle)


def _followed(found: KnownTrack, slope: Floats, cycle: NDArray[np.intp]) -> KnownTrack:
    """Return the track with what each half cycle asks for, unless noise explains all of it."""
    number, times = cycle - cycle.min(), found.times
    known = np.bincount(number, slope * slope)
    whole = known > 0.8 * np.median(known)       # the first and the last one are cut off
    asked = np.bincount(number, found.rest * slope)[whole] / known[whole]
    centres = (np.bincount(number, times) / np.maximum(np.bincount(number), 1))[whole]
    noise = found.sigma / np.sqrt(known[whole])
    excess = float((np.mean((asked / noise) ** 2) - 1) / np.sqrt(2 / asked.size))
    if excess <= FREE_EXCESS:
        return found
    added = np.interp(times, centres, asked)
    step = np.abs(np.diff(asked)) - FREE_EXCESS * np.hypot(noise[1:], noise[:-1])
    rest = found.rest - added * slope
    return replace(found, angle=found.angle + added, speed=found.speed + np.gradient(added, times), rest=rest,
                   sigma=_spread(rest, asked.size), free_rms=float(asked.std()), step=float(step.max(initial=0.0)))


def _half_cycles(angle: Floats) -> NDArray[np.intp]:
    """Return the number (n,) of the half cycle from zero to zero of the fundamental that each angle lies in."""
    return np.floor(angle / np.pi).astype(np.intp)


def _one_each(index: NDArray[np.intp], count: int) -> Floats:
    """Return (count, n): one where the row's number is the index, else zero."""
    chosen: Floats = (index == np.arange(count)[:, None]).astype(np.float64)
    return chosen


def _solve(design: Floats, volts: Floats) -> Floats:
    size = np.sqrt(np.einsum("ij,ij->i", design, design))
    size[size == 0] = 1.0      # an order without effect, or a pole that the capture never passed
    scaled = design / size[:, None]
    return np.asarray(np.linalg.lstsq(scaled @ scaled.T, scaled @ volts, rcond=1e-10)[0] / size, dtype=np.float64)


def _spread(rest: Floats, unknowns: int) -> float:
    return float(np.sqrt(rest @ rest / max(rest.size - unknowns, 1)))
