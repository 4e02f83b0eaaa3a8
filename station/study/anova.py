"""Analysis of variance: how much of a spread goes with which source; numbers in, numbers out.

Sums of squares are taken of deviations from means (two passes), never as differences of large sums: with data whose
spread is small against their size, all digits would be lost (NIST StRD, analysis of variance, on stiffness).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Source:
    """One source of spread: its sum of squares and degrees of freedom."""

    ss: float
    dof: int

    @property
    def ms(self) -> float:
        """The mean square."""
        return self.ss / self.dof

    def with_(self, other: "Source") -> "Source":
        """Return both taken together, as sources that cannot be told apart."""
        return Source(self.ss + other.ss, self.dof + other.dof)


@dataclass(frozen=True, slots=True)
class Ratio:
    """The ratio of two mean squares, and the probability of one as large by chance; None where nothing varies."""

    f: float | None
    p: float | None


@dataclass(frozen=True, slots=True)
class Crossed:
    """Sources of p motors, each measured by each of o operators r times."""

    part: Source
    operator: Source
    interaction: Source
    repeatability: Source
    total: Source


def variance_ratio(source: Source, against: Source) -> Ratio:
    """Return F of `source` against `against`, and p."""
    if against.ms == 0:
        return Ratio(None, None)
    f = source.ms / against.ms
    return Ratio(f, float(stats.f.sf(f, source.dof, against.dof)))


def one_way(groups: Sequence[Floats]) -> tuple[Source, Source]:
    """Return the sources between and within groups of any sizes, two groups or more.

    Source: NIST/SEMATECH e-Handbook 7.4.3.
    """
    everything = np.concatenate(groups)
    shift = float(everything.mean())
    centred = [group - shift for group in groups]    # what is left of `shift` is far below the spread
    rest = float(np.concatenate(centred).mean())
    means = [float(group.mean()) for group in centred]
    between = sum(group.size * (mean - rest) ** 2 for group, mean in zip(centred, means, strict=True))
    within = sum(float(np.sum((group - mean) ** 2)) for group, mean in zip(centred, means, strict=True))
    return Source(between, len(groups) - 1), Source(within, everything.size - len(groups))


def crossed(values: Floats) -> Crossed:
    """Return the sources of a crossed study with two factors and their interaction.

    Parameters
    ----------
    values : (p, o, r) of p motors, o operators, r repeats, at least 2 each, all finite

    Values are held against the first of their cell, and cells against the first of their motor, before any mean is
    taken: so that what never varies has no sum of squares at all, rather than one of rounding.

    Source: Montgomery, Design and Analysis of Experiments, two-factor factorial (from memory); AIAG Measurement
    Systems Analysis uses the same table (from memory).
    """
    p, o, r = values.shape
    x = values - values.mean()
    x = x - x.mean()
    within = x - x[:, :, :1]
    parts, cells = x.mean(axis=(1, 2)), within.mean(axis=2) + x[:, :, 0]
    beside = cells - cells[:, :1]
    operators = beside.mean(axis=0) - beside.mean()
    inter = beside - beside.mean(axis=1, keepdims=True) - operators[None, :]
    return Crossed(
        part=Source(o * r * float(np.sum(parts**2)), p - 1),
        operator=Source(p * r * float(np.sum(operators**2)), o - 1),
        interaction=Source(r * float(np.sum(inter**2)), (p - 1) * (o - 1)),
        repeatability=Source(float(np.sum((within - within.mean(axis=2, keepdims=True)) ** 2)), p * o * (r - 1)),
        total=Source(float(np.sum(x**2)), p * o * r - 1))
