"""Edges of one Hall sensor: found on integer codes, grouped over bounce, timed by their common shape."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.analysis.hall_crossings import crossings
from station.analysis.hall_levels import HallLevels
from station.analysis.hall_shape import first_shape, fit_edges

LOWER, UPPER = 0.3, 0.7       # of the swing: a state is entered beyond these, noise between them is none
DEBOUNCE = 50e-6              # s; and never more than 1/20 of a sector
SAMPLING_FLOOR = 0.29         # samples, 1/sqrt(12): standard deviation of an edge faster than one sample
SHAPELESS = 2.0               # samples, 10 to 90 %: so few samples on an edge tell nothing of its shape
MISFIT = 0.02                 # of the swing; a shape this far from its model is timed without it

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class SensorEdges:
    """Edges in order of time; times are samples of the record, before skew and lag."""

    sample: Floats            # (k,) where the swing passes its half
    rising: Flags             # (k,) in time
    extra_crossings: int      # bounce around edges, and pulses that are no edge
    cut: int                  # edges at the record's ends without a settled window; not among these
    transitions: tuple[float, float]  # samples, 10 to 90 %, rising and falling in time; nan without clean edges
    time_noise: float         # samples, standard deviation that noise and sampling give one edge

    @property
    def transition(self) -> float:
        """Return the slower of both transitions, nan if there is none."""
        return float(np.fmax(*self.transitions))


@dataclass(frozen=True, slots=True)
class _Bursts:
    """State changes no further apart than the debounce time, (m,) each."""

    before: Indices           # last sample in the old state
    first: Indices            # first sample in another state
    after: Indices            # first sample in the state that lasts
    crossings: Indices
    rising: Flags             # the first change goes up

    def pick(self, flags: Flags) -> "_Bursts":
        """Return the bursts where `flags` is true."""
        return _Bursts(self.before[flags], self.first[flags], self.after[flags], self.crossings[flags],
                       self.rising[flags])


@dataclass(frozen=True, slots=True)
class _Timed:
    """Clean edges of one polarity."""

    half_time: Floats         # (k,) samples
    transition: float         # samples, 10 to 90 %
    time_noise: float         # samples


def debounce_samples(interval: float, samples_per_sector: float) -> int:
    """Return the debounce time, min(50 us, 1/20 sector), in samples, at least one."""
    return max(1, int(min(DEBOUNCE / interval, samples_per_sector / 20)))


def find_edges(codes: NDArray[np.int16], levels: HallLevels, samples_per_sector: float,
               debounce: int) -> SensorEdges:
    """Return the edges of one sensor.

    Parameters
    ----------
    codes : (n,) int16
    levels : state levels of this sensor
    samples_per_sector : samples in 60 electrical degrees
    debounce : samples; changes no further apart are one burst

    Notes
    -----
    A burst with an odd number of crossings is one edge, the rest of them bounce; one with an even
    number is a pulse that counts as bounce only. An edge is timed where the swing passes one half:
    by the shape that all edges of its polarity share (`hall_shape`), which no noise crossing can
    fool. An edge that lasts hardly a sample, or has another shape, is timed by the area under its
    window, brought from the centroid to one half with the mean over all edges of that polarity.
    After bounce the first entry into the new state counts instead.
    Source: the area over a settled window is the maximum-likelihood time of a ramp in white noise (derived).
    """
    bursts = _bursts(codes, levels, debounce)
    is_edge = bursts.crossings % 2 == 1
    before, after = reach = _reach(bursts, is_edge, samples_per_sector)
    inside = (bursts.before >= before) & (bursts.after + after < codes.size)
    alone = _alone(bursts, before + after) & (bursts.crossings == 1)
    edges, alone = bursts.pick(is_edge & inside), alone[is_edge & inside]
    sample = _first_entry(codes, edges, levels)
    timed = {}
    for polarity in (True, False):
        chosen = alone & (edges.rising == polarity)
        if chosen.any():
            timed[polarity] = _time_clean(codes, edges.pick(chosen), reach, levels)
            sample[chosen] = timed[polarity].half_time
    return SensorEdges(
        sample, edges.rising, int(bursts.crossings.sum() - is_edge.sum()), int((is_edge & ~inside).sum()),
        transitions=(timed[True].transition if True in timed else float("nan"),
                     timed[False].transition if False in timed else float("nan")),
        time_noise=max((each.time_noise for each in timed.values()), default=SAMPLING_FLOOR),
    )


def _bursts(codes: NDArray[np.int16], levels: HallLevels, debounce: int) -> _Bursts:
    """Changes of state with hysteresis, grouped."""
    last, first, up = _changes(codes, levels)
    if not first.size:
        return _Bursts(last, first, first, first, up)
    starts = np.append(0, np.flatnonzero(np.diff(first) > debounce) + 1)
    ends = np.append(starts[1:], first.size) - 1
    return _Bursts(last[starts], first[starts], first[ends], ends - starts + 1, up[starts])


def _changes(codes: NDArray[np.int16], levels: HallLevels) -> tuple[Indices, Indices, Flags]:
    """For each change of state: last sample in the old, first in the new, and whether it goes up.

    Samples between the two thresholds belong to no state, so that noise on a slow edge is not
    taken for bounce.
    """
    lower, upper = sorted((levels.code_at(LOWER), levels.code_at(UPPER)))
    starts = np.unique(np.concatenate([[0], crossings(codes, lower), crossings(codes, upper)]))
    ends = np.append(starts[1:], codes.size) - 1
    here = codes[starts]
    state = (here > upper).astype(np.int64) + (here > lower)  # 0 below, 1 between, 2 above
    settled = state != 1
    starts, ends, state = starts[settled], ends[settled], state[settled]
    at = np.flatnonzero(np.diff(state))
    up = (state[at + 1] == 2) == (levels.swing_code > 0)
    return ends[at], starts[at + 1], up


def _reach(bursts: _Bursts, is_edge: Flags, samples_per_sector: float) -> tuple[int, int]:
    """Samples before and after a burst between which an edge begins and settles.

    From 30 to 70 % an exponential takes 0.85 time constants; it begins 0.4 of these spans before
    and is within half a percent five spans after. A ramp needs 0.75 of its span on both sides.
    """
    spans = (bursts.first - bursts.before)[is_edge]
    span = float(np.median(spans)) - 1.0 if spans.size else 0.0
    most = max(2, int(samples_per_sector / 6))
    return min(most, 2 + int(2 * span)), min(most, 2 + int(5 * span))


def _alone(bursts: _Bursts, distance: int) -> Flags:
    """True for bursts with no other burst within `distance` samples."""
    gap = bursts.before[1:] - bursts.after[:-1] > distance
    return np.append(True, gap) & np.append(gap, True) if bursts.before.size else np.zeros(0, dtype=bool)


def _first_entry(codes: NDArray[np.int16], edges: _Bursts, levels: HallLevels) -> Floats:
    """Time at which the straight line into the new state passes half the swing, (k,) samples."""
    start, end = codes[edges.before].astype(float), codes[edges.first].astype(float)
    share = np.clip((levels.code_at(0.5) - start) / (end - start), 0.0, 1.0)
    entry: Floats = edges.before + share * (edges.first - edges.before)
    return entry


def _time_clean(codes: NDArray[np.int16], edges: _Bursts, reach: tuple[int, int], levels: HallLevels) -> _Timed:
    """Time clean edges of one polarity by their common shape, or by area if that shape is not the model's."""
    width = int(np.max(edges.after - edges.before)) + sum(reach) + 1
    origin = np.minimum(edges.before - reach[0], codes.size - width)
    window = codes[origin[:, None] + np.arange(width)].astype(float)
    share = (window - levels.low_code) / levels.swing_code
    if not edges.rising[0]:
        share = 1.0 - share
    noise = levels.noise_code / abs(levels.swing_code)
    t10, t50, t90 = (_crossing(share, level) for level in (0.1, 0.5, 0.9))
    duration = float(np.mean(t90 - t10))
    if duration >= SHAPELESS:
        fitted = fit_edges(share, t50, first_shape(float(np.mean(t10 - t50)), 0.0, float(np.mean(t90 - t50))), noise)
        if fitted.misfit < MISFIT:
            shape = fitted.shape
            return _Timed(origin + fitted.half, shape.crossing(0.9) - shape.crossing(0.1), fitted.time_noise)
    centroid = (1.0 - share).sum(axis=1) - 0.5
    sampling = SAMPLING_FLOOR if duration < SHAPELESS else 0.0
    return _Timed(origin + centroid + float(np.mean(t50 - centroid)), duration,
                  float(np.hypot(noise * np.sqrt(width), sampling)))


def _crossing(share: Floats, level: float) -> Floats:
    """Signed mean of all crossings of `level`, (k,) samples from the window's start.

    Crossings down count negative, so that chatter in the middle of an edge cancels.
    """
    above = (share > level).astype(np.int64)
    sign = np.diff(above, axis=1)
    rise = np.diff(share, axis=1)
    part = np.divide(level - share[:, :-1], rise, out=np.zeros_like(rise), where=sign != 0)
    times: Floats = (sign * (np.arange(rise.shape[1]) + part)).sum(axis=1)
    return times
