"""The shapes that edges share, fitted so that each edge is timed as well as noise allows."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

PASSES = 3           # from a fair guess; more move no edge by as much as a fifth of the noise of their mean
DAMPING = 1e-3       # of what a shift changes: a direction that changes the edge less is not followed far
TAILS = (0.05, 0.95)  # a first guess leaves something of ramp and exponential
DURATION_PER_AREA = 4.6   # 10 to 90 % over the area under x (1 - x): 4.8 for a ramp, 4.4 for an exponential
SHORTEST = 2.0       # samples; no shape is looked for in shorter edges
LEAST_STEEP = 1e-9  # sum of g'^2 of an edge between two samples, which leaves no slope in its window: it stays there
THINNEST = 0.005     # of the 10 to 90 % duration: the shortest ramp and time constant that are told from none
THIN = 0.1           # samples, the same
RAMP_SHARE = 0.8     # of a ramp lies between 10 and 90 %
DECAY_SHARE = np.log(9.0)   # time constants of an exponential lie between 10 and 90 %

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class EdgeShapes:
    """Edges from 0 to 1: ramps of `ramp` (g,) samples behind low passes of time constants `tau` (g,) samples.

    The two causes that shape a Hall edge: the driver's slew rate, and a pull-up with the capacitance
    of its cable. With u since the start, E(u) = u - tau (1 - exp(-u / tau)) for u > 0,
    g(u) = (E(u) - E(u - ramp)) / ramp. Source: the ramp's convolution with the low pass (derived).
    """

    ramp: Floats
    tau: Floats

    def crossings(self, levels: Sequence[float]) -> Floats:
        """Return the samples after the start at which levels (l,) between 0 and 1 are passed, (l, g); by Newton."""
        level = np.array(levels)[:, None]
        since: Floats = level * self.ramp - self.tau * np.log(1.0 - level)
        for _ in range(5):
            values, slope, _, _ = edge_curve(since, self.ramp, self.tau)
            since = since - (values - level) / slope
        return since


def edge_curve(since: Floats, ramp: Floats, tau: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return g at `since` samples after the start, and its derivatives after time, ramp and tau."""
    early, late = np.maximum(since, 0.0), np.maximum(since - ramp, 0.0)
    early_decay, late_decay = np.exp(-early / tau), np.exp(-late / tau)
    lag = early_decay - late_decay
    values = (early - late + tau * lag) / ramp
    after_tau = (lag + (early * early_decay - late * late_decay) / tau) / ramp
    return values, -lag / ramp, (1.0 - late_decay - values) / ramp, after_tau


@dataclass(frozen=True, slots=True)
class FittedEdges:
    """Edges with the shape that each group of them shares."""

    half: Floats          # (k,) samples from the window's start, where the edge passes one half
    duration: Floats      # (g,) samples, 10 to 90 %
    steepness: Floats     # (g,) sum of g'^2 over a window: noise s gives an edge the variance s^2 / steepness
    misfit: Floats        # (g,) of the swing, mean square where edges are steep, the noise's own in it


def fit_edges(share: Floats, first: Indices, noise: Floats) -> FittedEdges:
    """Fit one shape to each group of edges, and the time of each edge, by least squares.

    Each pass solves the linearized problem: ramp and tau from all edges of a group with every edge's
    own shift projected out, then the shifts, sum g' (x - g) / sum g'^2. So each edge has the least
    variance that its noise allows, and the half level is read from all edges together.

    Parameters
    ----------
    share : (k, w), windows with edges from 0 to 1
    first : (g,) the row at which each group begins, the first 0
    noise : (g,) standard deviation of `share`

    Source: Gauss-Newton; the variance of a time is s^2 / sum g'^2 (S. Kay, Estimation Theory, ch. 3, from memory).
    """
    counts = np.diff(first, append=share.shape[0])
    index, group = np.arange(share.shape[1]), np.repeat(np.arange(first.size), counts)
    centroid = centroids(share)
    shapes = _likely_shapes(share, np.add.reduceat(centroid, first) / counts, first, counts, noise)
    least = np.maximum(THIN, THINNEST * (RAMP_SHARE * shapes.ramp + DECAY_SHARE * shapes.tau))
    start = centroid - (0.5 * shapes.ramp + shapes.tau)[group]
    for _ in range(PASSES):
        values, *slopes = edge_curve(index - start[:, None], shapes.ramp[group, None], shapes.tau[group, None])
        columns = np.stack([*slopes, share - values], axis=1)            # (k, 4, w): time, ramp, tau, residual
        gram = columns @ columns.swapaxes(1, 2)
        gram[:, 0, 0] = np.maximum(gram[:, 0, 0], LEAST_STEEP)
        shift = gram[:, :1, 1:] / gram[:, :1, :1]                        # (k, 1, 3) of ramp, tau, residual
        normal = np.add.reduceat(gram[:, 1:, 1:] - gram[:, 1:, :1] * shift, first, axis=0)
        steepness = np.add.reduceat(gram[:, 0, 0], first)
        change = _step(normal, DAMPING * steepness, least - shapes.ramp, least - shapes.tau)
        start -= shift[:, 0, 2] - (change[group] * shift[:, 0, :2]).sum(axis=1)
        shapes = EdgeShapes(shapes.ramp + change[:, 0], shapes.tau + change[:, 1])
    slope, residual = columns[:, 0], columns[:, 3]
    misfit = np.add.reduceat(((slope * residual) ** 2).sum(axis=1), first) / steepness
    t10, t50, t90 = shapes.crossings((0.1, 0.5, 0.9))
    return FittedEdges(start + t50[group], t90 - t10, steepness / counts, misfit)


def centroids(share: Floats) -> Floats:
    """Return the mean time of g', (k,) samples from the start of each window (k, w): the area before the edge."""
    area: Floats = (1.0 - share).sum(axis=1) - 0.5
    return area


def _likely_shapes(share: Floats, centroid: Floats, first: Indices, counts: Indices, noise: Floats) -> EdgeShapes:
    """Guess the shapes from the areas under x (1 - x) and x² (1 - x), less what noise alone takes from them.

    The first is 1/6 of a ramp and 1/2 of a time constant; the second over the first is 1/2 for a ramp
    and 2/3 for an exponential (derived). `centroid` (g,) is the mean of each group.
    """
    width, both = share.shape[1], share * (1.0 - share)
    area = np.add.reduceat(both.sum(axis=1), first) / counts + width * noise**2
    high = width - 0.5 - centroid       # sum of x
    moment = np.add.reduceat((both * share).sum(axis=1), first) / counts - (width - 3.0 * high) * noise**2
    tail = np.clip(6.0 * moment / np.maximum(area, SHORTEST / DURATION_PER_AREA) - 3.0, *TAILS)
    duration = np.maximum(DURATION_PER_AREA * area, SHORTEST)
    return EdgeShapes((1.0 - tail) * duration / RAMP_SHARE, tail * duration / DECAY_SHARE)


def _step(normal: Floats, damping: Floats, least_ramp: Floats, least_tau: Floats) -> Floats:
    """Return changes (g, 2) of ramp and tau, none below the least; `normal` (g, 3, 3) has the residual last."""
    ramps, taus, cross = normal[:, 0, 0] + damping, normal[:, 1, 1] + damping, normal[:, 0, 1]
    by_ramp, by_tau = normal[:, 0, 2], normal[:, 1, 2]
    determinant = ramps * taus - cross**2
    ramp, tau = (taus * by_ramp - cross * by_tau) / determinant, (ramps * by_tau - cross * by_ramp) / determinant
    short, quick = ramp < least_ramp, (ramp >= least_ramp) & (tau < least_tau)
    tau = np.where(short, np.maximum(least_tau, (by_tau - cross * least_ramp) / taus), tau)
    ramp = np.where(short, least_ramp, ramp)
    ramp = np.where(quick, np.maximum(least_ramp, (by_ramp - cross * least_tau) / ramps), ramp)
    tau = np.where(quick, least_tau, tau)
    return np.stack([ramp, tau], axis=1)
