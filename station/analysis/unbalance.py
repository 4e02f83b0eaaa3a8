"""Symmetrical components and unbalance of three phasors or magnitudes."""

from collections.abc import Sequence
from math import inf, nan

import numpy as np
from numpy.typing import NDArray

Phasors = NDArray[np.complex128]
TURN = np.exp(2j * np.pi / 3)


def symmetrical_components(phasors: Phasors) -> tuple[complex, complex, complex]:
    """Return the zero, positive and negative sequence of three phasors (3,), b lagging a.

    Any unit; the result has the same. Source: Fortescue's components as textbooks give
    them, from memory: V0 = (A+B+C)/3, V1 = (A+aB+a²C)/3, V2 = (A+a²B+aC)/3 with a = exp(j 120°).
    """
    a, b, c = phasors
    zero, positive, negative = (a + b + c, a + TURN * b + TURN**2 * c, a + TURN**2 * b + TURN * c)
    return complex(zero / 3), complex(positive / 3), complex(negative / 3)


def negative_over_positive(phasors: Phasors) -> float:
    """Return the magnitude of the negative over that of the positive sequence, as a ratio.

    Infinite for a purely negative set, NaN for one without either: never a ratio that could pass.
    """
    _zero, positive, negative = symmetrical_components(phasors)
    if positive == 0:
        return inf if negative else nan
    return abs(negative) / abs(positive)


def unbalance_of_magnitudes(magnitudes: Sequence[float]) -> float:
    """Return negative over positive sequence, as a ratio, from three line-to-line magnitudes alone.

    Line-to-line phasors close a triangle, so the magnitudes fix the angles; which sequence is the
    stronger they cannot tell. Source: the formula of IEC 61000-4-30, from memory.
    """
    squares = np.asarray(magnitudes, dtype=np.float64) ** 2
    beta = float((squares**2).sum() / squares.sum() ** 2)
    root = np.sqrt(max(3 - 6 * beta, 0.0))
    return float(np.sqrt((1 - root) / (1 + root)))


def largest_deviation(magnitudes: Sequence[float]) -> float:
    """Return the largest deviation from the mean over the mean, as a ratio.

    Source: the definition of NEMA MG-1, from memory, as quoted by the pages in the tests.
    """
    values = np.asarray(magnitudes, dtype=np.float64)
    return float(np.abs(values - values.mean()).max() / values.mean())
