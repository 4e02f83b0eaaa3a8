"""Uncertainty of Hall angles: scatter, channel timing, threshold, and the rotor angle's zero."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, inf, sqrt

from station.capture import Accuracy
from station.measurement import BudgetRow


@dataclass(frozen=True, slots=True)
class AngleErrors:
    """What makes the angle of one sensor's edges unsure, in degrees."""

    sensor: str
    scatter_deg: float      # of the mean of one polarity
    scatter_dof: float
    sampling_deg: float     # of the mean of one polarity, from noise and sampling
    channel_deg: float      # standard uncertainty from skew and lag of the Hall channel
    threshold_deg: float    # standard uncertainty from the reference level
    zero_deg: float         # type A, of the rotor angle's zero
    zero_channel_deg: float  # from skew and lag of the voltage channels


def channel_time_u(accuracy: Accuracy) -> float:
    """Return the standard uncertainty (s) of a channel's time: limits of skew and lag, rectangular."""
    return hypot(accuracy.skew, accuracy.lag) / sqrt(3)


def threshold_time_u(accuracy: Accuracy, transition: float) -> float:
    """Return the standard uncertainty (s) from the reference level, for a 10-90 % `transition` in s.

    On a ramp the level passes the whole swing in transition / 0.8.
    """
    return accuracy.threshold * transition / 0.8 / sqrt(3)


def edge_rows(errors: AngleErrors) -> list[BudgetRow]:
    """Rows of the mean angle of one polarity."""
    return [*_scatter(errors, 1.0), *_channel(errors), *_threshold(errors, 1.0), *_zero(errors)]


def placement_rows(errors: AngleErrors) -> list[BudgetRow]:
    """Rows of a placement, the mean of rise and fall: scatter and level halve in square, timing stays."""
    return [*_scatter(errors, sqrt(0.5)), *_channel(errors), *_threshold(errors, sqrt(0.5)), *_zero(errors)]


def duty_rows(errors: AngleErrors) -> list[BudgetRow]:
    """Rows of the duty, %: timing and zero cancel; a wrong level moves both edges apart."""
    share = 100.0 / 360.0
    rows = [*_scatter(errors, sqrt(2.0)), *_threshold(errors, 2.0)]
    return [BudgetRow(r.source, r.kind, r.distribution, share * r.u, r.dof, r.shared) for r in rows]


def sector_rows(first: AngleErrors, second: AngleErrors) -> list[BudgetRow]:
    """Rows of the width between edges of two sensors: the rotor angle's zero cancels."""
    rows: list[BudgetRow] = []
    for errors in (first, second):
        rows += [*_scatter(errors, 1.0), *_threshold(errors, 1.0)]
        if first.sensor != second.sensor:
            rows += _channel(errors)
    return rows


def common_shift_u(errors: Sequence[AngleErrors]) -> float:
    """Return the standard uncertainty (deg) common to all sensors: that of the rotor angle's zero."""
    return max((hypot(each.zero_deg, each.zero_channel_deg) for each in errors), default=0.0)


def _scatter(errors: AngleErrors, factor: float) -> list[BudgetRow]:
    name = f"sensor {errors.sensor}"
    return [
        BudgetRow(f"scatter of edges, {name}", "A", "normal", factor * errors.scatter_deg, errors.scatter_dof),
        BudgetRow(f"sampling and noise, {name}", "B", "rectangular", factor * errors.sampling_deg, inf),
    ]


def _channel(errors: AngleErrors) -> list[BudgetRow]:
    name = f"time of channel h_{errors.sensor}"
    return [BudgetRow(name, "B", "rectangular", errors.channel_deg, inf, shared=name)]


def _threshold(errors: AngleErrors, factor: float) -> list[BudgetRow]:
    return [BudgetRow(f"reference level, sensor {errors.sensor}", "B", "rectangular",
                      factor * errors.threshold_deg, inf)]


def _zero(errors: AngleErrors) -> list[BudgetRow]:
    name = "time of channel v_ab"
    return [BudgetRow("zero of the rotor angle", "A", "normal", errors.zero_deg, inf),
            BudgetRow(name, "B", "rectangular", errors.zero_channel_deg, inf, shared=name)]
