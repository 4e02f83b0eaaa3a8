"""Type-1 study: one known motor measured many times, its spread and bias held against the tolerance."""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy import stats

from station.errors import UsageError
from station.study.anova import Floats
from station.study.capability import Estimate, Spread, nearest_index, spread_index

SHARE = 0.2         # of the tolerance that the gauge may use up; common practice, constants from memory
CAPABLE = 1.33      # least Cg and Cgk; common practice, from memory
LEAST = 10          # runs below which nothing is said
ENOUGH = 25         # runs below which it comes with a warning; 50 are better (common practice, from memory)


@dataclass(frozen=True, slots=True)
class TypeOne:
    """One characteristic of one known motor; `p_bias` is how likely chance alone makes such a bias.

    Cg and Cgk are None without two limits that differ.
    """

    n: int
    reference: float
    mean: float
    s: float
    bias: float
    p_bias: float | None
    cg: Estimate | None
    cgk: Estimate | None

    @property
    def capable(self) -> bool | None:
        """Whether both indices reach 1.33; None where there are none."""
        return None if self.cg is None or self.cgk is None else min(self.cg.value, self.cgk.value) >= CAPABLE


def type_one(values: Floats, reference: float, lower: float | None, upper: float | None) -> TypeOne:
    """Return the type-1 study of one characteristic.

    Cg = 0.2 T / (6 s), Cgk = (0.1 T - |bias|) / (3 s); the intervals are those of Cp and Cpk, as these are Cp and
    Cpk of the gauge in a tolerance of 0.2 T around the reference value.

    Parameters
    ----------
    values : (n,) of repeated runs, all finite
    reference : the value that the motor is known to have
    lower, upper : tolerance limits of the characteristic; None where there is none

    Raises
    ------
    UsageError
        Fewer than 10 values.

    Source: formulas as published at docs.originlab.com (gauge study, type 1); constants common practice.
    """
    n = values.size
    if n < LEAST:
        raise UsageError("too few runs for a type-1 study", where="type-1 study", expected=f"{LEAST} or more", got=n,
                         remedy=f"Test the reference motor more often; {ENOUGH} runs or more say something.")
    mean, spread = float(values.mean()), Spread(float(np.std(values, ddof=1)), n - 1)
    bias = mean - reference
    p = 2 * float(stats.t.sf(abs(bias) / (spread.s / sqrt(n)), n - 1)) if spread.s else None
    if lower is None or upper is None or upper <= lower:
        return TypeOne(n, reference, mean, spread.s, bias, p, None, None)
    width = SHARE * (upper - lower)
    return TypeOne(n, reference, mean, spread.s, bias, p, spread_index(width, spread),
                   nearest_index(mean, spread, n, reference - width / 2, reference + width / 2))
