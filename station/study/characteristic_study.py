"""What a study says of one characteristic in one capture, in numbers; pure."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.study.capability import (
    LEAST,
    Capability,
    Estimate,
    Spread,
    capability,
    proportion,
    without_measurement,
)
from station.study.distribution import Normality, Shape, TwoHeaps, at_rails, far_outside, normality, shape, two_heaps
from station.study.lots import Between, Drift, between_groups, drifts
from station.study.magnitude_fit import Fit, fit_magnitude, index_of_fit, index_of_quantiles
from station.study.population import Population, Sample
from station.study.tolerance_interval import one_sided_factor, two_sided_factor

Floats = NDArray[np.float64]

SHARE, CONFIDENCE = 0.9973, 0.95    # of the tolerance interval: what a normal distribution has within 3 s
FOR_QUANTILES = 1000                # values from which on far quantiles of the data themselves mean something


@dataclass(frozen=True, slots=True)
class Beyond:
    """How many motors lie outside the tolerance, and their share."""

    count: int
    share: Estimate


@dataclass(frozen=True, slots=True)
class CharacteristicStudy:
    """One sample studied; what does not apply to it, or needs more motors, is None.

    `capability` takes the values as normal, and is None for magnitudes and counts. `index` is what the characteristic
    is ranked by: Ppk of a value, that of the fit for a magnitude, none for a count. `of_quantiles` is the same from
    the quantiles of many data. `holds` is the tolerance interval, an end None where the tolerance has none. `true_s` is
    the spread without that of measuring, `measuring` the share of variance that measuring has at most. Motors far
    outside all others count in everything but normality, heaps, lots, stations and drifts: a defect is no property of a
    lot. `rails` counts values that are exactly the least and the largest, where they look like the ends of an
    instrument's range. `usual_index` and `usual_fit` are without motors far outside, `usual_beyond` how many of
    the others lie outside the tolerance.
    """

    sample: Sample
    shape: Shape | None
    beyond: Beyond | None
    rails: tuple[int, int]
    capability: Capability | None
    fit: Fit | None
    usual_fit: Fit | None
    index: Estimate | None
    usual_index: Estimate | None
    usual_beyond: int
    of_quantiles: float | None
    holds: tuple[float | None, float | None] | None
    normality: Normality | None
    heaps: TwoHeaps | None
    heaps_within: TwoHeaps | None
    far: tuple[str, ...]
    far_share: float
    true_s: float | None
    measuring: float | None
    lots: Between | None
    stations: Between | None
    drifts: tuple[Drift, ...]

    @property
    def n(self) -> int:
        """How many motors have a value."""
        return self.sample.values.size


def study(population: Population, sample: Sample) -> CharacteristicStudy:
    """Return the study of one sample; with fewer than LEAST values only its counts and its shape."""
    values, nature = sample.values, sample.nature
    known = shape(values) if values.size > 1 else None
    beyond = _beyond(sample)
    if known is None or values.size < LEAST or nature == "count" or known.least == known.largest:
        return CharacteristicStudy(sample, known, beyond, (0, 0), None, None, None, None, None,
                                   beyond.count if beyond else 0, None, None, None, None, None, (), 0.0, None, None,
                                   None, None, ())
    limited = sample.lower is not None or sample.upper is not None
    lots, stations, cells = (groups[sample.rows] for groups in
                             (population.lots, population.stations, population.cells()))
    far = far_outside(values)
    usual = np.delete(np.arange(values.size), far)
    indices, fit = _models(sample, values, cells)
    index = _index(sample, indices, fit)
    usual_indices, usual_fit = _models(sample, values[usual], cells[usual]) if far.size else (indices, fit)
    without = _index(sample, usual_indices, usual_fit) if far.size else index
    true_s, measuring = _measuring(sample, known)
    return CharacteristicStudy(
        sample, known, beyond, at_rails(values), indices, fit, usual_fit, index, without,
        int(_outside(sample, values[usual]).sum()),
        index_of_quantiles(values, sample.lower, sample.upper) if limited and values.size >= FOR_QUANTILES else None,
        _holds(sample, known) if nature == "value" else None, normality(values[usual]), two_heaps(values),
        two_heaps(values[usual] - _means(values[usual], cells[usual])),
        tuple(population.serials[row] for row in sample.rows[far]), _share_of_variance(values, far), true_s, measuring,
        between_groups(values[usual], lots[usual]), between_groups(values[usual], stations[usual]),
        tuple(drifts(values[usual], lots[usual], population.lot_names)))


def _models(sample: Sample, values: Floats, cells: NDArray[np.int64]) -> tuple[Capability | None, Fit | None]:
    """Return the indices of a value, or the fit of a magnitude."""
    if sample.nature == "magnitude":
        return None, fit_magnitude(values)
    return capability(values, cells, sample.lower, sample.upper), None


def _index(sample: Sample, indices: Capability | None, fit: Fit | None) -> Estimate | None:
    if indices is not None:
        return indices.ppk
    if fit is None or (sample.lower is None and sample.upper is None):
        return None
    return index_of_fit(fit, sample.lower, sample.upper)


def _beyond(sample: Sample) -> Beyond | None:
    if not sample.values.size:
        return None
    count = int(_outside(sample, sample.values).sum())
    return Beyond(count, proportion(count, sample.values.size))


def _outside(sample: Sample, values: Floats) -> NDArray[np.bool_]:
    low = -np.inf if sample.lower is None else sample.lower
    high = np.inf if sample.upper is None else sample.upper
    return np.asarray((values < low) | (values > high))


def _holds(sample: Sample, known: Shape) -> tuple[float | None, float | None]:
    """Return the ends of what holds SHARE of the motors: both, or that on the side of the only limit."""
    if (sample.lower is None) == (sample.upper is None):
        k = two_sided_factor(known.n, SHARE, CONFIDENCE)
        return known.mean - k * known.s, known.mean + k * known.s
    k = one_sided_factor(known.n, SHARE, CONFIDENCE)
    return ((known.mean - k * known.s, None) if sample.upper is None else (None, known.mean + k * known.s))


def _measuring(sample: Sample, known: Shape) -> tuple[float | None, float | None]:
    us = sample.us[np.isfinite(sample.us)]
    return without_measurement(Spread(known.s, known.n - 1), us) if us.size else (None, None)


def _means(values: Floats, groups: NDArray[np.int64]) -> Floats:
    _, place, sizes = np.unique(groups, return_inverse=True, return_counts=True)
    means: Floats = (np.bincount(place, weights=values) / sizes)[place]
    return means


def _share_of_variance(values: Floats, places: NDArray[np.int64]) -> float:
    """Return the share of the squares that some values have: what would go with them."""
    rest = np.delete(values, places)
    left = float(np.sum((rest - rest.mean()) ** 2)) if rest.size else 0.0
    whole = float(np.sum((values - values.mean()) ** 2))
    return 1 - left / whole if whole else 0.0
