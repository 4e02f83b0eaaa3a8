"""How far the tracked angle is off, as the voltages tell it, in short bins along the capture."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.analysis.shaft_motion import ShaftMotion
from station.analysis.wave_fit import WaveFit

Floats = NDArray[np.float64]
BINS_PER_PERIOD = 12
HIGHEST_ELECTRICAL_ORDER = 1.5   # of ripple that is looked for; above it harmonics and slots live
PADDING = 4                      # of the spectrum, so that a line between bins is not missed
TOLD_APART = 2.0                 # cycles per capture by which two orders must differ to be fitted side by side
SLOWEST = 2.5                    # cycles per capture; what is slower bends like a power of time
STANDS_OUT = 25.0                # power over noise; noise alone reaches it once in 1e8 captures


@dataclass(frozen=True, slots=True)
class AngleScore:
    """Correction (m,) rad that each bin asks for, with its information (m,) 1/rad², at `times` (m,) s.

    The variance of a correction by noise alone is 1 / information.
    """

    times: Floats
    correction: Floats
    information: Floats

    def regress(self, columns: Floats) -> Floats:
        """Return the factors (c,) of `columns` (c, m) that explain the corrections best."""
        weighted = columns * self.information
        return np.asarray(np.linalg.solve(weighted @ columns.T, weighted @ self.correction), dtype=np.float64)

    def excess(self) -> float:
        """Return by how many of its standard deviations the mean square over half periods exceeds noise."""
        correction, information = self.halves()
        square = correction**2 * information
        return float((square.mean() - 1.0) / np.sqrt(2 / square.size))

    def halves(self) -> tuple[Floats, Floats]:
        """Return corrections and information of whole half periods."""
        group = BINS_PER_PERIOD // 2
        count = self.correction.size // group * group
        information = self.information[:count].reshape(-1, group)
        weighted = (self.correction[:count].reshape(-1, group) * information).sum(axis=1)
        total = information.sum(axis=1)
        return weighted / total, total


def angle_score(times: Floats, fit: WaveFit, blocks_per_period: float) -> AngleScore:
    """Return the corrections that the residuals of `fit` ask for: least squares on the slope of the waves.

    Lines count by their own noise. Amplitude is left out on purpose: a weak pole would pass for motion.
    """
    weight = 1.0 / np.maximum(fit.sigma, 1e-9 * np.abs(fit.slope).max()) ** 2
    asked, known = weight @ (fit.residual * fit.slope), weight @ (fit.slope * fit.slope)
    starts = bin_starts(times.size, blocks_per_period)
    information = np.add.reduceat(known, starts)
    return AngleScore(bin_means(times, starts), np.add.reduceat(asked, starts) / information, information)


def bin_starts(count: int, blocks_per_period: float) -> NDArray[np.intp]:
    """Return the first block of every bin; a period holds about `BINS_PER_PERIOD` of them."""
    return np.arange(0, count, max(1, round(blocks_per_period / BINS_PER_PERIOD)))


def bin_means(values: Floats, starts: NDArray[np.intp]) -> Floats:
    """Return the mean (..., m) of `values` (..., n) over each bin."""
    means: Floats = np.add.reduceat(values, starts, axis=-1) / (ends_of(starts, values.shape[-1]) - starts)
    return means


def ends_of(starts: NDArray[np.intp], count: int) -> NDArray[np.intp]:
    """Return where each bin ends: where the next one starts, the last one after `count` blocks."""
    return np.append(starts[1:], count)


def strongest_order(score: AngleScore, motion: ShaftMotion, pole_pairs: int) -> float | None:
    """Return the order, per revolution, of ripple that stands out of the noise, or None.

    Whole electrical orders are no ripple that can be told from unlike lines, so they are passed over,
    and so is the neighbourhood of orders that are tuned already. 0.0 stands for a bend slower than
    `SLOWEST`.
    """
    count = score.correction.size
    size = PADDING * count
    power = np.abs(np.fft.rfft(score.correction * np.sqrt(score.information), size)) ** 2 / count
    if power.max() < STANDS_OUT:
        return None
    cycles = np.arange(power.size) / PADDING                # over the capture
    periods = pole_pairs / motion.cycle
    electrical = np.round(cycles / periods) * periods       # nearest whole electrical order, in cycles
    passed = (np.abs(cycles - electrical) < 1.0) & (electrical > 0)
    tuned = np.abs(cycles[:, None] - motion.orders[motion.tuned] / motion.cycle) < TOLD_APART
    power[passed | tuned.any(axis=1) | (cycles > HIGHEST_ELECTRICAL_ORDER * periods)] = 0.0
    peak = int(np.argmax(power))
    if power[peak] < STANDS_OUT:
        return None
    return _vertex(power, peak) / PADDING * motion.cycle if cycles[peak] >= SLOWEST else 0.0


def _vertex(power: Floats, peak: int) -> float:
    """Return the place of a peak between the lines of a spectrum by a parabola."""
    left, middle, right = power[peak - 1:peak + 2]
    bend = left - 2 * middle + right
    return peak + (0.5 * float((left - right) / bend) if bend < 0 else 0.0)
