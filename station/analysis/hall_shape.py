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
FLAT = 1e-6          # of sum g'^2: less than noise can tell from none
THINNEST = 0.005     # of the 10 to 90 % duration: the shortest ramp and time constant that are told from none
THIN = 0.1           # samples, the same
RAMP_SHARE = 0.8     # of a ramp lies between 10 and 90 %
DECAY_SHARE = np.log(9.0)   # time constants of an exponential lie between 10 and 90 %

Floats = NDArray[np.float64]
Reals = NDArray[np.floating]     # of the precision that comes in
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
        # about the mean time of g', the ramp's and the decay's parts add like deviations
        late = -np.log(1.0 - level) - 1.0
        away = np.sign(late) * np.hypot((level - 0.5) * self.ramp, late * self.tau)
        since: Floats = 0.5 * self.ramp + self.tau + away
        for _ in range(2):
            values, slope, _, _ = edge_curve(since, self.ramp, self.tau)
            since = since - (values - level) / slope
        return since


def edge_curve(since: Reals, ramp: Reals, tau: Reals) -> Reals:
    """Return g at `since` samples after the start, and its derivatives after time, ramp and tau, (4, ...).

    One allocation for all of them, and each step in place: this is most of what timing costs.
    """
    curve = np.empty((6, *np.broadcast_shapes(since.shape, ramp.shape)), dtype=since.dtype)
    values, after_time, after_ramp, after_tau, early, late = curve
    np.maximum(since, 0.0, out=early)
    np.maximum(np.subtract(since, ramp, out=late), 0.0, out=late)
    early_decay = np.exp(np.divide(early, -tau, out=after_tau), out=after_tau)
    late_decay = np.exp(np.divide(late, -tau, out=after_ramp), out=after_ramp)
    lag = np.subtract(early_decay, late_decay, out=after_time)
    np.multiply(tau, lag, out=values)
    values += early
    values -= late
    values /= ramp
    after_tau *= early
    after_tau -= np.multiply(late, late_decay, out=late)
    after_tau /= tau
    after_tau += lag
    after_tau /= ramp
    np.subtract(1.0, late_decay, out=after_ramp)
    after_ramp -= values
    after_ramp /= ramp
    after_time /= -ramp
    return curve[:4]


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
    share : (w, k), windows as columns, with edges from 0 to 1
    first : (g,) the column at which each group begins, the first 0
    noise : (g,) standard deviation of `share`

    Source: Gauss-Newton; the variance of a time is s^2 / sum g'^2 (S. Kay, Estimation Theory, ch. 3, from memory).
    """
    width, edges = share.shape
    counts = np.diff(first, append=edges)
    index, group = np.arange(width)[:, None], np.repeat(np.arange(first.size), counts)
    centroid = centroids(share)
    shapes = _likely_shapes(share, centroid, first, counts, noise)
    likely = RAMP_SHARE * shapes.ramp + DECAY_SHARE * shapes.tau
    least = np.maximum(THIN, THINNEST * likely)
    start = centroid - (0.5 * shapes.ramp + shapes.tau)[group]
    for _ in range(PASSES):
        columns = edge_curve(_single(index - start), _single(shapes.ramp[group]), _single(shapes.tau[group]))
        np.subtract(share, columns[0], out=columns[0])                   # residual, time, ramp, tau
        products = np.einsum("iwk,jwk->ijk", columns, columns)
        # an edge that falls between two samples has no slope at either, and stays where its area puts it
        np.maximum(products[1, 1], FLAT, out=products[1, 1])
        shift = products[1] / products[1, 1]                             # (4, k)
        normal = np.add.reduceat(products - products[:, 1:2] * shift, first, axis=2)
        steepness = np.add.reduceat(products[1, 1], first)
        change = _step(normal, DAMPING * steepness, least - shapes.ramp, least - shapes.tau)
        start -= shift[0] - (change[:, group] * shift[2:]).sum(axis=0)
        shapes = EdgeShapes(shapes.ramp + change[0], shapes.tau + change[1])
    misfit = np.add.reduceat(((columns[0] * columns[1]) ** 2).sum(axis=0), first) / steepness
    t10, t50, t90 = shapes.crossings((0.1, 0.5, 0.9))
    half = start + t50[group]
    # Without slope at any sample the steps know no way back: the half level lies within the edge that the area shows.
    lost = ~(np.abs(half - centroid) < 0.5 + likely[group])
    return FittedEdges(np.where(lost, centroid, half), t90 - t10, steepness / counts, misfit)


def _single(values: Floats) -> NDArray[np.float32]:
    """In single precision, a thousandth of any noise; half as much to move."""
    return values.astype(np.float32)


def centroids(share: Floats) -> Floats:
    """Return the mean time of g', (k,) samples from the start of each window (w, k): the area before the edge."""
    area: Floats = share.shape[0] - 0.5 - share.sum(axis=0)
    return area


def _likely_shapes(share: Floats, centroid: Floats, first: Indices, counts: Indices, noise: Floats) -> EdgeShapes:
    """Guess the shapes from the areas under x (1 - x) and x² (1 - x), less what noise alone takes from them.

    The first is 1/6 of a ramp and 1/2 of a time constant; the second over the first is 1/2 for a ramp
    and 2/3 for an exponential (derived).
    """
    width, both = share.shape[0], share * (1.0 - share)
    sums = np.array([both.sum(axis=0), (both * share).sum(axis=0), width - 0.5 - centroid])
    area, moment, high = np.add.reduceat(sums, first, axis=1) / counts
    area += width * noise**2
    moment -= (width - 3.0 * high) * noise**2
    tail = 6.0 * moment / np.maximum(area, SHORTEST / DURATION_PER_AREA) - 3.0
    tail = np.minimum(np.maximum(tail, TAILS[0]), TAILS[1])
    duration = np.maximum(DURATION_PER_AREA * area, SHORTEST)
    return EdgeShapes((1.0 - tail) * duration / RAMP_SHARE, tail * duration / DECAY_SHARE)


def _step(normal: Floats, damping: Floats, least_ramp: Floats, least_tau: Floats) -> Floats:
    """Return changes (2, g) of ramp and tau, none below the least, from products (4, 4, g) of the columns."""
    ramps, taus, cross = normal[2, 2] + damping, normal[3, 3] + damping, normal[2, 3]
    by_ramp, by_tau = normal[0, 2], normal[0, 3]
    determinant = ramps * taus - cross**2
    ramp, tau = (taus * by_ramp - cross * by_tau) / determinant, (ramps * by_tau - cross * by_ramp) / determinant
    short, quick = ramp < least_ramp, (ramp >= least_ramp) & (tau < least_tau)
    tau = np.where(short, np.maximum(least_tau, (by_tau - cross * least_ramp) / taus), tau)
    ramp = np.where(short, least_ramp, ramp)
    ramp = np.where(quick, np.maximum(least_ramp, (by_ramp - cross * least_tau) / ramps), ramp)
    tau = np.where(quick, least_tau, tau)
    return np.array([ramp, tau])
