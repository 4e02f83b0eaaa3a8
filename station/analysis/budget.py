"""Combining the rows of an uncertainty budget."""

from collections.abc import Iterable, Sequence
from math import inf, sqrt

from station.characteristic import unit_of
from station.measurement import BudgetRow, Measurement

# Sources that several measurements share, by the one name that every budget gives them.
DIGITIZER_GAIN = "gain of the digitizer"
TIMEBASE = "timebase"
TEMPERATURE = "temperature of the motor"
SLOT_RIPPLE = "speed ripple of slot order"  # six per electrical revolution and multiples

# Rms of slot ripple at all multiples together, of that at six: a multiple k has 1/k of it, as the same torque
# moves an inertia less the faster it changes; sqrt(sum of 1/k² / 2) for k up to 4 (derived).
SLOT_RMS = 0.84
# Of order 2: what differs from line to line passes for speed ripple in step with the lines (`electrical_ripple`).
# An assumption about windings, no source.
UNLIKE_LINES = 0.03
VECTOR_95 = 2.486  # noise alone keeps a length of two parts, each with u 1, below this in 95.45 % (Rayleigh)
FADED = 3.0        # times that reach, above which a size is no longer near zero: less than 1 % of u


def channel_gain(channel: str) -> str:
    """Return the name that every budget gives to the gain of a channel, such as "v_ab"."""
    return f"gain of channel {channel}"


def channel_offset(channel: str) -> str:
    """Return the name that every budget gives to the offset of a channel, such as "v_ab"."""
    return f"offset of channel {channel}"


def channel_time(channel: str) -> str:
    """Return the name that every budget gives to the skew and lag of a channel, such as "v_ab"."""
    return f"time of channel {channel}"


def combine(rows: Iterable[BudgetRow]) -> tuple[float, float]:
    """Return the combined standard uncertainty and its effective degrees of freedom.

    Rows are independent of each other and already multiplied by their sensitivities.

    Source: JCGM 100:2008, 5.1.2 and the Welch-Satterthwaite formula of G.4.1; not truncated here.
    """
    variance = spread = 0.0
    for row in rows:
        square = row.u * row.u
        variance += square
        if 0 < row.dof < inf:
            spread += square * square / row.dof
    return sqrt(variance), variance * variance / spread if spread > 0 else inf


def measurement(name: str, value: float, rows: Iterable[BudgetRow]) -> Measurement:
    """Return the measurement `name` in the unit of its characteristic, rows without effect left out."""
    kept = tuple([row for row in rows if row.u != 0])  # NaN stays, and spoils u, as it must
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


def near_zero(rows: Sequence[BudgetRow], value: float, reach: float = VECTOR_95) -> list[BudgetRow]:
    """Return `rows`, and one more for a size that cannot be negative and so reads high near zero.

    Without it the interval of a size whose truth is zero would miss the truth too often: errors
    alone make it read up to `reach` times u in 95.45 % of all cases. The row brings 2u to that where
    the value is as small, and fades with the fourth power of the value where it is larger. Derived
    for the ends, the way between them chosen; checked by trials.
    """
    u, _ = combine(rows)
    if not abs(value) < FADED * reach * u:
        return list(rows)
    share = (reach * reach / 4 - 1) * 2 / (1 + (value / (reach * u)) ** 4)
    return [*rows, BudgetRow("reads high near zero", "B", "normal", u * sqrt(max(share, 0.0)), inf)]


def weighted_sum(parts: Iterable[tuple[float, Iterable[BudgetRow]]]) -> list[BudgetRow]:
    """Return the rows of sum w y, for `parts` of a weight w and the rows of its y.

    A shared source moves all of them at once, so its parts add with their signs before they are
    squared: it cancels in a difference and stays whole in a mean. Every other row stands alone.

    Source: JCGM 100:2008, F.1.2.3: inputs are correlated by the sources they have in common, and
    taking these as the inputs leaves no correlation.
    """
    alone: list[BudgetRow] = []
    together: dict[str, tuple[BudgetRow, float]] = {}
    for weight, rows in parts:
        for row in rows:
            if row.shared:
                first, before = together.get(row.shared, (row, 0.0))
                together[row.shared] = first, before + weight * row.u
            else:
                alone.append(_with_u(row, abs(weight) * row.u))
    return [*alone, *(_with_u(row, abs(total)) for row, total in together.values())]


def _with_u(row: BudgetRow, u: float) -> BudgetRow:
    """Return `row` with another uncertainty; `dataclasses.replace` takes twice as long."""
    return row if u == row.u else BudgetRow(row.source, row.kind, row.distribution, u, row.dof, row.shared)
