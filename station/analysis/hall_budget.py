"""Uncertainty of Hall angles: scatter, channel timing, reference level, and the rotor angle's zero."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import hypot, inf, sqrt

from station.analysis.budget import SLOT_RIPPLE, channel_time, combine, type_a, weighted_sum
from station.capture import Accuracy
from station.measurement import BudgetRow


@dataclass(frozen=True, slots=True)
class AngleErrors:
    """What makes the angle of one sensor's edges unsure: standard uncertainties in degrees.

    A reference level too high makes an edge that rises in time late and one that falls early, so
    the two parts of the level stand with their signs, as an angle that grows.
    """

    sensor: str
    scatter_deg: float        # of the mean of one polarity, and not less than noise and sampling give
    scatter_dof: float
    channel_deg: float        # from skew and lag of the Hall channel
    level_deg: tuple[float, float]  # from the reference level: of rise and of fall as the angle grows, signed
    unseen_deg: float         # from the reference level, on an edge too fast for its shape to be seen
    zero_deg: float           # type A, of the rotor angle's zero
    zero_channel_deg: float   # from skew and lag of the voltage channel
    slot_ripple_deg: float = 0.0    # of the tracked angle, from speed ripple that passes for harmonics
    stitch_deg: float = 0.0         # of an angle that follows the waves of another capture


def channel_time_u(accuracy: Accuracy) -> float:
    """Return the standard uncertainty (s) of a channel's time: limits of skew and lag, rectangular."""
    return hypot(accuracy.skew, accuracy.lag) / sqrt(3)


def slot_ripple_u(accuracy: Accuracy) -> float:
    """Return the standard uncertainty (rad) of the tracked angle from speed ripple of slot order.

    Ripple r at electrical order m moves the angle by r / m, and m is at least 6. All edges lie a
    multiple of a sixth of the period apart, so that it moves them alike. Source: derived.
    """
    return accuracy.slot_ripple / 6 / sqrt(3)


def threshold_time_u(accuracy: Accuracy, transition: float) -> float:
    """Return the standard uncertainty (s) from the reference level, for a 10-90 % `transition` in s.

    On a ramp the level passes the whole swing in transition / 0.8.
    """
    return accuracy.threshold * transition / 0.8 / sqrt(3)


def edge_rows(errors: AngleErrors, *, goes_high: bool) -> list[BudgetRow]:
    """Rows of the mean angle of one polarity."""
    return [*weighted_sum([(1.0, _edge(errors, goes_high=goes_high))]), *_zero_of(errors)]


def placement_rows(errors: AngleErrors) -> list[BudgetRow]:
    """Rows of a placement, the mean of rise and fall: the level cancels but for unlike edges, timing stays."""
    return [*weighted_sum([(0.5, _edge(errors, goes_high=True)), (0.5, _edge(errors, goes_high=False))]),
            *_zero_of(errors)]


def duty_rows(errors: AngleErrors) -> list[BudgetRow]:
    """Rows of the duty, %: timing and zero cancel; a wrong level moves both edges apart."""
    share = 100.0 / 360.0
    return weighted_sum([(share, _edge(errors, goes_high=False)), (-share, _edge(errors, goes_high=True))])


def sector_rows(first: tuple[AngleErrors, bool], second: tuple[AngleErrors, bool]) -> list[BudgetRow]:
    """Rows of the width between two edges, each given with whether it goes high as the angle grows.

    The rotor angle's zero cancels, and between edges of one sensor also the time of its channel.
    """
    (before, rises), (after, goes_high) = first, second
    return weighted_sum([(1.0, _edge(after, goes_high=goes_high)), (-1.0, _edge(before, goes_high=rises))])


def edge_u(errors: AngleErrors) -> float:
    """Return the standard uncertainty (deg) of an edge of a sensor without that of the rotor angle's zero."""
    return max(combine(_edge(errors, goes_high=goes_high))[0] for goes_high in (True, False))


def common_shift_u(errors: Sequence[AngleErrors]) -> float:
    """Return the standard uncertainty (deg) common to all sensors: that of the rotor angle's zero."""
    return max((hypot(each.zero_deg, each.zero_channel_deg, each.slot_ripple_deg, each.stitch_deg)
                for each in errors), default=0.0)


@lru_cache(maxsize=16)   # each edge's rows stand in up to six budgets
def _edge(errors: AngleErrors, *, goes_high: bool) -> tuple[BudgetRow, ...]:
    """Rows of an edge's mean angle but for the zero; shared ones signed."""
    polarity = "rise" if goes_high else "fall"
    time, level = channel_time(f"h_{errors.sensor}"), f"reference level of sensor {errors.sensor}"
    return (
        type_a(f"scatter of edges, sensor {errors.sensor}, {polarity}", errors.scatter_deg, errors.scatter_dof),
        BudgetRow(time, "B", "rectangular", errors.channel_deg, inf, shared=time),
        BudgetRow(level, "B", "rectangular", errors.level_deg[0 if goes_high else 1], inf, shared=level),
        BudgetRow(f"edge within a sample, sensor {errors.sensor}, {polarity}", "B", "rectangular",
                  errors.unseen_deg, inf),
    )


def _zero_of(errors: AngleErrors) -> tuple[BudgetRow, ...]:
    return _zero(errors.zero_deg, errors.zero_channel_deg, errors.slot_ripple_deg, errors.stitch_deg)


@lru_cache(maxsize=8)   # all sensors and edges of a capture have the same
def _zero(zero: float, channel: float, slot_ripple: float, stitch: float) -> tuple[BudgetRow, ...]:
    """Rows of the rotor angle's zero, degrees each."""
    name = channel_time("v_ab")
    return (BudgetRow("zero of the rotor angle", "A", "normal", zero, inf),
            BudgetRow(name, "B", "rectangular", channel, inf, shared=name),
            BudgetRow(SLOT_RIPPLE, "B", "rectangular", slot_ripple, inf),
            BudgetRow("stitching", "B", "rectangular", stitch, inf))
