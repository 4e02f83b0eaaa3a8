"""The rotor angle from one line whose waves are known: the other two lines were taken in another capture."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from station.analysis.angle_score import angle_score, strongest_order
from station.analysis.angle_track import FOREIGN_ORDERS, HIGHEST_DEGREE
from station.analysis.back_emf import BackEmf
from station.analysis.line_voltages import LineVoltages
from station.analysis.shaft_motion import DEGREE, ShaftMotion
from station.analysis.wave_fit import WaveFit

Floats = NDArray[np.float64]
PASSES = 16         # room for orders of ripple that are found one after the other
SETTLED = 2e-5      # rad; as for three lines
NEEDED_OVER_NOISE = 30.0    # of a spectrum's peak over its median; noise alone stays below 5 (derived)
MISFIT_REACH = 3.0  # standard deviations of noise that a misfit must exceed to count
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

    `angle`, `speed` (n,) electrical rad and rad/s at the blocks, whose `times` are (n,) s; `gain` is the
    mean amplitude over the known wave; `rest` (n,) V, what is left; `sigma` V, its rms; `free_rms` rad, the motion that
    no order explains and that was followed half cycle by half cycle; `step` rad, the largest jump beyond noise
    between two half cycles.
    """

    wave: KnownWave
    times: Floats
    angle: Floats
    speed: Floats
    gain: float
    rest: Floats
    sigma: float
    free_rms: float
    step: float

    @property
    def order_u(self) -> float:
        """Standard uncertainty of one part of an order of the line, as a share of its fundamental."""
        return self.sigma / self._size * float(np.sqrt(2 / self.rest.size))

    @property
    def _size(self) -> float:
        """Amplitude of the fundamental, V."""
        return self.gain * self.wave.fundamental * float(np.abs(self.speed).mean())

    @property
    def misfit(self) -> float:
        """Rms of what is left that is no noise, as a share of the fundamental's rms."""
        return misfit(self.rest, self._size)

    def own_orders(self) -> NDArray[np.complex128]:
        """Return what each order of the line differs by (H,), as shares of its fundamental.

        Of the first one, the real part turns it, rad, and the imaginary part stretches it.
        """
        ratio = self.rest / (self.speed * self.gain * self.wave.fundamental)
        return np.array([2 * np.mean(ratio * np.exp(-1j * order * self.angle))
                         for order in range(1, self.wave.factors.size + 1)])


def misfit(rest: Floats, amplitude: float) -> float:
    """Return the rms of what in `rest` (n,) V is no noise, as a share of that of a sine of `amplitude` V.

    Noise differs from block to block, a misfit does not: the mean product of neighbours is the misfit's
    square alone, up to what noise leaves of such a mean (derived).
    """
    product = float(np.mean(rest[1:] * rest[:-1]))
    beyond = product - MISFIT_REACH * float(np.mean(rest * rest)) / np.sqrt(rest.size)
    return float(np.sqrt(max(beyond, 0.0) * 2)) / amplitude


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
    # Ripple is left to the wave: twice a period, whole electrical orders look like a polynomial.
    centre, none = 0.5 * float(times[0] + times[-1]), np.zeros(0)
    polynomial = np.polynomial.polynomial.polyfit((times - centre) / lines.duration, raw, DEGREE)
    motion = ShaftMotion(centre, lines.duration, polynomial[1:] / pole_pairs, polynomial, none,
                         np.zeros(0, dtype=bool), none, none)
    rest = raw - motion.at(times)[0]
    return motion, float(np.sqrt(np.mean(rest * rest)))


def with_orders_of(motion: ShaftMotion, other: ShaftMotion) -> ShaftMotion:
    """Return `motion` with room for the orders of ripple and the powers of time that `other` needed."""
    nothing = np.zeros(other.orders.size)
    motion = replace(motion, orders=other.orders, tuned=other.tuned, in_phase=nothing, quadrature=nothing)
    while motion.polynomial.size < other.polynomial.size:
        motion = motion.with_degree()
    return motion


def track_known(lines: LineVoltages, wave: KnownWave, start: ShaftMotion, pole_pairs: int) -> KnownTrack:
    """Return the angle on which the known wave fits the line best, starting from `start`.

    Least squares, by Gauss and Newton, of an offset, a gain for each pole of a revolution, and the motion.
    Poles count apart, so that a weak one does not pass for motion. What the motion does not
    explain is followed from half cycle to half cycle, each from zero to zero of the line, where gain and angle are at
    right angles; if noise explains it, it is left alone. With one pole pair, ripple is as fast as the wave, and
    what it does to the speed counts too: without it the passes diverge. With more it changes values by a few hundredths
    of their uncertainty, by which stored ones would differ.
    """
    motion, volts, patterns = start, lines.volts[0], _pole_patterns(pole_pairs)
    strength = np.ones(2 * pole_pairs)
    for _ in range(PASSES):
        columns = motion.columns(lines.times)
        angle, speed = motion.on(columns)
        (shape, slope), cycle = wave.at(angle), _half_cycles(angle)
        pole = cycle % (2 * pole_pairs)
        slope = speed * slope * strength[pole]
        moved = slope * columns
        if pole_pairs == 1:
            moved += strength[pole] * shape * motion.slopes(lines.times)
        design = np.vstack([np.ones_like(angle), patterns[:, pole] * (speed * shape), moved])
        factors = _solve(design, volts)
        by, rest = factors[1 + len(patterns):], volts - factors @ design
        found = KnownTrack(wave, lines.times, angle, speed, float(factors[1]), rest, _spread(rest, factors.size),
                           0.0, 0.0)
        strength = factors[1:1 + len(patterns)] @ patterns
        better = motion.moved(by)
        if np.abs(by @ columns).max() < SETTLED:
            better = _with_what_stands_out(found, slope, better, pole_pairs)
            if better.unknowns == motion.unknowns:
                break
        motion = better
    return _followed(found, slope, cycle)


def _with_what_stands_out(found: KnownTrack, slope: Floats, motion: ShaftMotion, pole_pairs: int) -> ShaftMotion:
    """Return the motion with room for ripple that the first capture did not show, or for a slow bend."""
    nothing = np.zeros((1, 0))
    fit = WaveFit(np.zeros(1), nothing, nothing, found.rest[None], slope[None], np.array([found.sigma]))
    turn = abs(float(found.angle[-1] - found.angle[0])) / (2 * np.pi)
    order = strongest_order(angle_score(found.times, fit, found.times.size / turn), motion, pole_pairs)
    if order == 0.0 and motion.polynomial.size <= HIGHEST_DEGREE:
        return motion.with_degree()
    if order and motion.tuned.sum() < FOREIGN_ORDERS:
        return motion.with_order(order, motion.cycle)
    return motion


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
    order = np.argsort(centres)       # in reverse the half cycles are numbered backwards
    centres, asked, noise = centres[order], asked[order], noise[order]
    added = np.interp(times, centres, asked)
    step = np.abs(np.diff(asked)) - FREE_EXCESS * np.hypot(noise[1:], noise[:-1])
    rest = found.rest - added * slope
    return replace(found, angle=found.angle + added, speed=found.speed + np.gradient(added, times), rest=rest,
                   sigma=_spread(rest, asked.size), free_rms=float(asked.std()), step=float(step.max(initial=0.0)))


def _half_cycles(angle: Floats) -> NDArray[np.intp]:
    """Return the number (n,) of the half cycle from zero to zero of the fundamental that each angle lies in."""
    return np.floor(angle / np.pi).astype(np.intp)


def _pole_patterns(pole_pairs: int) -> Floats:
    """Return (2p - 1, 2p): ways in which the poles of a revolution may differ in strength, the first one alike.

    North poles against south poles is left out: flux that goes in comes out, and it would pass for ripple once per
    electrical period.
    """
    turn = 2 * np.pi * np.outer(np.arange(pole_pairs), np.arange(2 * pole_pairs)) / (2 * pole_pairs)
    patterns: Floats = np.vstack([np.cos(turn), np.sin(turn[1:])])
    return patterns


def _solve(design: Floats, volts: Floats) -> Floats:
    size = np.sqrt(np.einsum("ij,ij->i", design, design))
    size[size == 0] = 1.0      # an order without effect, or a pole that the capture never passed
    scaled = design / size[:, None]
    return np.asarray(np.linalg.lstsq(scaled @ scaled.T, scaled @ volts, rcond=1e-10)[0] / size, dtype=np.float64)


def _spread(rest: Floats, unknowns: int) -> float:
    return float(np.sqrt(rest @ rest / max(rest.size - unknowns, 1)))
