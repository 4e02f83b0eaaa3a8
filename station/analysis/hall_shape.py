"""The shape that a sensor's edges share, fitted so that each edge is timed as well as noise allows."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

PASSES = 4
DAMPING = 1e-3       # of what a shift changes: a direction that changes the edge less is not followed far
THINNEST = 0.005     # of the 10 to 90 % duration: the shortest ramp and time constant that are told from none
THIN = 0.1           # samples, the same
LIKELY = 0.05        # least share of each of the two causes in a first guess
RAMP_SHARE = 0.8      # of a ramp lies between 10 and 90 %
EXPONENTIAL_TAIL = 2.0   # (t90 - t50) / (t50 - t10) of an exponential is ln 5 / ln 1.8 = 2.74, of a ramp 1

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EdgeShape:
    """An edge from 0 to 1: a ramp of `ramp` samples behind a low pass of time constant `tau`, samples.

    The two causes that shape a Hall edge: the driver's slew rate, and a pull-up with the capacitance
    of its cable. With u since the start, E(u) = u - tau (1 - exp(-u / tau)) for u > 0,
    g(u) = (E(u) - E(u - ramp)) / ramp. Source: the ramp's convolution with the low pass (derived).
    """

    ramp: float
    tau: float

    def crossing(self, level: float) -> float:
        """Samples from the start until the edge passes `level`, 0 to 1."""
        grid = np.linspace(0.0, self.ramp + 6.0 * self.tau, 400)
        return float(np.interp(level, self.values(grid), grid))

    def values(self, since: Floats) -> Floats:
        """Return g at `since` samples after the start."""
        values, _ = self.with_slopes(since)
        return values

    def with_slopes(self, since: Floats) -> tuple[Floats, tuple[Floats, Floats, Floats]]:
        """Return g and its derivatives after time, ramp and tau, each of the shape of `since`."""
        ramp, tau = self.ramp, self.tau
        early, late = np.maximum(since, 0.0), np.maximum(since - ramp, 0.0)
        decay_early, decay_late = np.exp(-early / tau), np.exp(-late / tau)
        values = (early - late - tau * (decay_late - decay_early)) / ramp
        after_time = (decay_late - decay_early) / ramp
        after_ramp = (1.0 - decay_late - values) / ramp
        after_tau = (decay_early * (1.0 + early / tau) - decay_late * (1.0 + late / tau)) / ramp
        return values, (after_time, after_ramp, after_tau)


@dataclass(frozen=True, slots=True)
class FittedEdges:
    """Edges of one polarity with the shape they share."""

    half: Floats          # (k,) samples from the window's start, where the edge passes one half
    shape: EdgeShape
    time_noise: float     # samples: standard deviation that the noise gives one edge
    misfit: float         # of the swing, rms where the edge is steep, the noise taken out


def first_shape(t10: float, t50: float, t90: float) -> EdgeShape:
    """Return a shape whose levels are passed at about these times, samples."""
    duration = max(t90 - t10, 1.0)
    early = max(t50 - t10, 0.05 * duration)
    tail = float(np.clip(((t90 - t50) / early - 1.0) / (EXPONENTIAL_TAIL - 1.0), LIKELY, 1.0 - LIKELY))
    return EdgeShape(ramp=(1.0 - tail) * duration / RAMP_SHARE, tau=tail * duration / np.log(9.0))


def fit_edges(share: Floats, half: Floats, shape: EdgeShape, noise: float) -> FittedEdges:
    """Fit one shape and the time of each edge by least squares.

    Each pass solves the linearized problem: ramp and tau from all edges with every edge's own shift
    projected out, then the shifts, sum g' (x - g) / sum g'^2. So each edge has the least variance
    that its noise allows, and the half level is read from all edges together.

    Parameters
    ----------
    share : (k, w), windows with edges from 0 to 1
    half : (k,) samples from a window's start where its edge passes one half, roughly
    shape : first guess
    noise : standard deviation of `share`

    Source: Gauss-Newton; the variance of a time is s^2 / sum g'^2 (S. Kay, Estimation Theory, ch. 3, from memory).
    """
    index = np.arange(share.shape[1])
    start = half - shape.crossing(0.5)
    least = max(THIN, THINNEST * (RAMP_SHARE * shape.ramp + np.log(9.0) * shape.tau))
    for _ in range(PASSES):
        values, (slope, ramp, tau) = shape.with_slopes(index - start[:, None])
        energy = np.maximum((slope**2).sum(axis=1), 1e-12)
        columns = np.stack([share - values, ramp, tau])
        shift = (columns * slope).sum(axis=2) / energy              # (3, k)
        flat = (columns - shift[:, :, None] * slope).reshape(3, -1)
        change = _step(flat @ flat.T, DAMPING * float(energy.sum()), least - shape.ramp, least - shape.tau)
        start -= shift[0] - change @ shift[1:]
        shape = EdgeShape(shape.ramp + float(change[0]), shape.tau + float(change[1]))
    residual = flat[0] - change @ flat[1:]
    steep = (slope**2).ravel()
    misfit = float(residual**2 @ steep / steep.sum()) - noise**2
    return FittedEdges(start + shape.crossing(0.5), shape, noise / float(np.sqrt(energy.mean())),
                       float(np.sqrt(max(0.0, misfit))))


def _step(normal: Floats, damping: float, least_ramp: float, least_tau: float) -> Floats:
    """Solve the normal equations (3, 3) of residual, ramp and tau for changes (2,) no smaller than the least."""
    (_, by_ramp, by_tau), (_, ramps, cross), (_, _, taus) = normal.tolist()
    ramps, taus = ramps + damping, taus + damping
    determinant = ramps * taus - cross * cross
    ramp = (taus * by_ramp - cross * by_tau) / determinant
    tau = (ramps * by_tau - cross * by_ramp) / determinant
    if ramp < least_ramp:
        ramp, tau = least_ramp, max(least_tau, (by_tau - cross * least_ramp) / taus)
    elif tau < least_tau:
        ramp, tau = max(least_ramp, (by_ramp - cross * least_tau) / ramps), least_tau
    return np.array([ramp, tau])
