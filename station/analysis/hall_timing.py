"""Times of Hall edges, finer than a sample: by the shape they share, by area, or by their first entry."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import nan

import numpy as np
from numpy.typing import NDArray

from station.analysis.hall_edges import FoundEdges
from station.analysis.hall_levels import HallLevels
from station.analysis.hall_shape import centroids, fit_edges

SAMPLING_FLOOR = 0.29         # samples, 1/sqrt(12): standard deviation of an edge faster than one sample
SHAPELESS = 2.0               # samples, 10 to 90 %: so few samples on an edge tell nothing of its shape
MISFIT = 0.02                 # of the swing; a shape this far from its model is timed without it

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class SensorEdges:
    """Edges in order of time; times are samples of the record, before skew and lag."""

    levels: HallLevels        # of the sensor's settled stretches
    sample: Floats            # (k,) where the swing passes its half
    rising: Flags             # (k,) in time
    extra_crossings: int      # bounce around edges, and pulses that are no edge
    cut: int                  # edges at the record's ends without a settled window; not among these
    transitions: tuple[float, float]  # samples, 10 to 90 %, rising and falling in time; nan without clean edges
    time_noise: float         # samples, standard deviation that noise and sampling give one edge
    crossings: Indices        # (k,) of each edge: one, and two more with each bounce
    bounced: Indices          # (k,) samples from the first to the last crossing of an edge

    @property
    def transition(self) -> float:
        """Return the slower of both transitions, nan if there is none."""
        return float(np.fmax(*self.transitions))


@dataclass(frozen=True, slots=True)
class _Windows:
    """Clean edges of several groups (sensor and polarity), all going from 0 to 1."""

    share: Floats             # (w, k), a window a column
    origin: Indices           # (k,) sample of the record at which each window starts
    first: Indices            # (g,) column at which each group begins
    noise: Floats             # (g,) standard deviation of `share`

    def columns(self, number: int) -> slice:
        """Return the columns of a group."""
        return slice(self.first[number], self.first[number + 1] if number + 1 < self.first.size else None)


@dataclass(frozen=True, slots=True)
class _Times:
    sample: Floats            # (k,)
    transition: Floats        # (g,) samples
    time_noise: Floats        # (g,) samples


def time_edges(found: Sequence[FoundEdges]) -> list[SensorEdges]:
    """Return the edges of each sensor, timed where the swing passes one half.

    Clean edges are timed by the shape that all edges of their sensor and polarity share, which no
    noise crossing can fool. If they last hardly a sample, or have another shape than the model, the
    area under each counts, brought from the centroid to one half with the mean over all of them.
    After bounce the first entry into the new state counts instead. All sensors are timed at once.

    Source: the area over a settled window is the maximum-likelihood time of a ramp in white noise (derived).
    """
    samples = [np.empty(each.clean.size) if each.clean.all() else _first_entry(each) for each in found]
    transitions = [{True: nan, False: nan} for _ in found]
    time_noise: list[list[float]] = [[] for _ in found]
    groups = [(number, rising, chosen) for number, each in enumerate(found) for rising in (True, False)
              if (chosen := each.clean & (each.edges.rising == rising)).any()]
    if groups:
        windows = _windows([(found[number], rising, chosen) for number, rising, chosen in groups])
        times = _time(windows)
        for group, (number, rising, chosen) in enumerate(groups):
            samples[number][chosen] = times.sample[windows.columns(group)]
            transitions[number][rising] = float(times.transition[group])
            time_noise[number].append(float(times.time_noise[group]))
    return [SensorEdges(each.levels, sample, each.edges.rising, each.extra_crossings, each.cut,
                        (seen[True], seen[False]), max(noise, default=SAMPLING_FLOOR),
                        each.edges.crossings, each.edges.after - each.edges.first)
            for sample, each, seen, noise in zip(samples, found, transitions, time_noise, strict=True)]


def _first_entry(found: FoundEdges) -> Floats:
    """Time at which the straight line into the new state passes half the swing, (k,) samples."""
    edges, levels = found.edges, found.levels
    start, end = found.codes[edges.before].astype(float), found.codes[edges.first].astype(float)
    share = np.clip((levels.code_at(0.5) - start) / (end - start), 0.0, 1.0)
    entry: Floats = edges.before + share * (edges.first - edges.before)
    return entry


def _windows(groups: Sequence[tuple[FoundEdges, bool, Flags]]) -> _Windows:
    """Gather windows as wide as the widest; what a narrower one does not reach is taken as settled.

    A group holds the edges of one sensor that go one way in time, up or not, as its flags pick them.
    """
    before = [found.edges.before[flags] for found, _, flags in groups]
    widths = [int((found.edges.after[flags] - each).max()) + sum(found.reach) + 1
              for each, (found, _, flags) in zip(before, groups, strict=True)]
    first = np.append(0, np.cumsum([each.size for each in before]))
    share, origin = np.ones((max(widths), first[-1])), np.empty(first[-1], dtype=np.int64)
    for number, (each, width, (found, rising, _)) in enumerate(zip(before, widths, groups, strict=True)):
        columns = slice(first[number], first[number + 1])
        begin = np.minimum(each - found.reach[0], found.codes.size - width)
        low, high = found.levels.low_code, found.levels.high_code
        zero, swing = (low, high - low) if rising else (high, low - high)
        share[:width, columns] = (found.codes.take(begin + np.arange(width)[:, None]) - zero) / swing
        origin[columns] = begin
    return _Windows(share, origin, first[:-1],
                    np.array([found.levels.noise_code / abs(found.levels.swing_code) for found, _, _ in groups]))


def _time(windows: _Windows) -> _Times:
    """Time edges by shape where they have one that fits, by area otherwise."""
    fitted = fit_edges(windows.share, windows.first, windows.noise)
    times = _Times(windows.origin + fitted.half, fitted.duration, windows.noise / np.sqrt(fitted.steepness))
    misfit = fitted.misfit - windows.noise**2
    has_shape = (fitted.duration >= SHAPELESS) & (misfit <= MISFIT**2)
    for group in np.flatnonzero(~has_shape):
        _time_by_area(windows, int(group), times)
    return times


def _time_by_area(windows: _Windows, group: int, times: _Times) -> None:
    """Put the times of one group by area in `times`."""
    chosen = windows.columns(group)
    share = windows.share[:, chosen]
    centroid = centroids(share)
    t10, t50, t90 = (_crossing(share, level) for level in (0.1, 0.5, 0.9))
    duration = float(np.mean(t90 - t10))
    times.sample[chosen] = windows.origin[chosen] + centroid + float(np.mean(t50 - centroid))
    times.transition[group] = duration
    times.time_noise[group] = np.hypot(windows.noise[group] * np.sqrt(share.shape[0]),
                                       SAMPLING_FLOOR if duration < SHAPELESS else 0.0)


def _crossing(share: Floats, level: float) -> Floats:
    """Signed mean of all crossings of `level`, (k,) samples from the window's start.

    Crossings down count negative, so that chatter in the middle of an edge cancels.
    """
    above = (share > level).astype(np.int64)
    sign = np.diff(above, axis=0)
    rise = np.diff(share, axis=0)
    part = np.divide(level - share[:-1], rise, out=np.zeros_like(rise), where=sign != 0)
    times: Floats = (sign * (np.arange(rise.shape[0])[:, None] + part)).sum(axis=0)
    return times
