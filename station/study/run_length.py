"""Run lengths of control charts: how many points until a rule signals, on average, at a given shift of the mean."""

from functools import lru_cache
from math import inf, sqrt

import numpy as np
from scipy.special import ndtr

from station.judgement.decision_rule import normal_cdf

STATES = 401        # of the chain: twice as many change none of the published digits


def shewhart_run_length(shift: float, limit: float = 3.0) -> float:
    """Return the average run length of one point beyond `limit`, both in standard deviations of a point.

    Points are independent and normal: 1 / P(signal).
    """
    return 1.0 / (normal_cdf(-limit - shift) + normal_cdf(-limit + shift))


@lru_cache(maxsize=64)
def ewma_run_length(shift: float, smoothing: float = 0.2, limit: float = 2.962, beyond: float = inf) -> float:
    """Return the average run length of a two-sided EWMA chart with limits as they are after many points.

    Parameters
    ----------
    shift : of the mean, in standard deviations of a point, from the first point on
    smoothing : weight of the newest point, above 0 up to 1
    limit : width of the limits, in standard deviations of the average
    beyond : a single point further off than so many standard deviations signals too

    Source: the Markov chain of Brook and Evans, as used for the EWMA by Lucas and Saccucci, Technometrics 32 (1990),
    from memory. Where the range is cut in m states the error falls with m².
    """
    edge = limit * sqrt(smoothing / (2.0 - smoothing))
    bounds = np.linspace(-edge, edge, STATES + 1)
    centres = (bounds[1:] + bounds[:-1]) / 2.0
    # the point that takes the average from each state to each bound
    needed = (bounds[None, :] - (1.0 - smoothing) * centres[:, None]) / smoothing
    reached = ndtr(np.clip(needed, -beyond, beyond) - shift)
    lengths = np.linalg.solve(np.eye(STATES) - np.diff(reached, axis=1), np.ones(STATES))
    return float(lengths[STATES // 2])

