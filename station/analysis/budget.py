"""Combining the rows of an uncertainty budget."""

from collections.abc import Sequence
from dataclasses import replace
from math import inf, isfinite, sqrt

from station.characteristic import unit_of
from station.measurement import BudgetRow, Measurement

# Sources that several measurements share, by the one name that every budget gives them.
DIGITIZER_GAIN = "gain of the digitizer"
TIMEBASE = "timebase"
TEMPERATURE = "temperature of the motor"


def combine(rows: Sequence[BudgetRow]) -> tuple[float, float]:
    """Return the combined standard uncertainty and its effective degrees of freedom.

    Rows are independent of each other and already multiplied by their sensitivities.

    Source: JCGM 100:2008, 5.1.2 and the Welch-Satterthwaite formula of G.4.1; not truncated here.
    """
    variance = sum(row.u**2 for row in rows)
    spread = sum(row.u**4 / row.dof for row in rows if row.dof > 0 and isfinite(row.dof))
    return sqrt(variance), variance**2 / spread if spread > 0 else inf


def measurement(name: str, value: float, rows: Sequence[BudgetRow]) -> Measurement:
    """Return the measurement `name` in the unit of its characteristic, rows without effect left out."""
    kept = tuple(row for row in rows if row.u > 0)
    u, dof = combine(kept)
    return Measurement(name, float(value), unit_of(name), u, dof, kept)


def type_a(source: str, u: float, dof: float) -> BudgetRow:
    """Return a row evaluated from repeated observations."""
    return BudgetRow(source, "A", "normal", float(abs(u)), float(dof))


def limit_of_error(source: str, half_width: float, shared: str = "") -> BudgetRow:
    """Return a row for a limit of error: rectangular, half width a, u = a / sqrt(3).

    Source: JCGM 100:2008, 4.3.7.
    """
    return BudgetRow(source, "B", "rectangular", float(abs(half_width)) / sqrt(3), inf, shared)


def weighted_sum(parts: Sequence[tuple[float, Sequence[BudgetRow]]]) -> list[BudgetRow]:
    """Return the rows of sum w y, for `parts` of a weight w and the rows of its y.

    A shared source moves all of them at once, so its parts add with their signs before they are
    squared: it cancels in a difference and stays whole in a mean. Every other row stands alone.

    Source: JCGM 100:2008, F.1.2.3: inputs are correlated by the sources they have in common, and
    taking these as the inputs leaves no correlation.
    """
    alone: list[BudgetRow] = []
    common: dict[str, BudgetRow] = {}
    for weight, rows in parts:
        for row in rows:
            if not row.shared:
                alone.append(replace(row, u=abs(weight) * row.u))
                continue
            before = common[row.shared].u if row.shared in common else 0.0
            common[row.shared] = replace(row, u=before + weight * row.u)
    return [*alone, *(replace(row, u=abs(row.u)) for row in common.values())]
