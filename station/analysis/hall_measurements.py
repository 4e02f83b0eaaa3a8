"""The characteristics of Hall sensors as measurements with budgets."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import hypot, inf, sqrt

import numpy as np

from station.analysis.budget import measurement
from station.analysis.hall_budget import AngleErrors, duty_rows, edge_rows, placement_rows, sector_rows
from station.analysis.hall_codes import CodeInterval, CodeWalk
from station.analysis.hall_levels import HallLevels
from station.analysis.hall_pattern import edges_per_revolution
from station.analysis.hall_sensor import SensorAngles
from station.capture import Capture
from station.measurement import BudgetRow, Measurement
from station.motor import SENSORS, HallLayout

# With fewer, a movement once per revolution cannot be told from unlike poles.
MIN_PAIRS_FOR_ECCENTRICITY = 3


@dataclass(frozen=True, slots=True)
class Frame:
    """What all sensors of a capture share."""

    capture: Capture
    layout: HallLayout
    pole_pairs: int
    span: tuple[float, float]       # rad, rotor angle over which edges can be told
    degrees_per_second: float       # electrical, unsigned


def wrapped(angle_deg: float) -> float:
    """Return an angle in -180 ... 180."""
    return (angle_deg + 180.0) % 360.0 - 180.0


def count_measurements(frame: Frame, located: Mapping[str, SensorAngles], walk: CodeWalk, missing: int
                       ) -> list[Measurement]:
    """Counts and order; a count has no uncertainty."""
    turning = frame.capture.drive_speed or frame.capture.declared_speed
    edges = edges_per_revolution([each.angle for each in located.values()], frame.pole_pairs, frame.span)
    bounce = sum(each.edges.extra_crossings for each in located.values())
    values = {"hall_order": walk.order * (1 if turning >= 0 else -1), "hall_edges_per_revolution": edges,
              "hall_forbidden": walk.forbidden, "hall_bounce": bounce, "hall_missing": missing}
    return [measurement(name, float(value), [_exact()]) for name, value in values.items()]


def sector_measurements(widths: Sequence[CodeInterval], edge_sensors: Sequence[str],
                        errors: Mapping[str, AngleErrors]) -> list[Measurement]:
    """Widths of the six codes, and the narrowest and widest of them; none unless all sensors switch.

    `edge_sensors` names the sensor of the edge that starts each interval.
    """
    edges = [(errors[sensor], interval.code[SENSORS.index(sensor)] == 1)
             for interval, sensor in zip(widths, edge_sensors, strict=True)]
    sectors = [
        (interval.width_deg, sector_rows(start, end))
        for interval, start, end in zip(widths, edges, [*edges[1:], *edges[:1]], strict=True)
    ]
    if not sectors:
        return []
    rows = [measurement(f"hall_sector_{number}", *each) for number, each in enumerate(sectors, start=1)]
    narrow, wide = min(sectors, key=lambda each: each[0]), max(sectors, key=lambda each: each[0])
    return [*rows, measurement("hall_sector_min", *narrow), measurement("hall_sector_max", *wide)]


def sensor_measurements(frame: Frame, sensor: str, located: SensorAngles, errors: AngleErrors
                        ) -> list[Measurement]:
    """Everything about one sensor that switches."""
    found = _level_measurements(frame, sensor, located.edges.levels)
    if np.isfinite(located.edges.transition):    # no edge without bounce, no duration
        found.append(_transition(frame, sensor, located))
    if located.edges.sample.size:
        found.append(_jitter(frame, sensor, located))
        if frame.pole_pairs >= MIN_PAIRS_FOR_ECCENTRICITY:
            found.append(_eccentricity(sensor, located))
    return [*found, *_angles(frame, sensor, located, errors)]


def _angles(frame: Frame, sensor: str, located: SensorAngles, errors: AngleErrors) -> Iterable[Measurement]:
    rise, fall = located.rise, located.fall
    if rise is not None:
        yield measurement(f"hall_angle_rise.{sensor}", rise.mean_deg, edge_rows(errors, goes_high=True))
    if fall is not None:
        yield measurement(f"hall_angle_fall.{sensor}", fall.mean_deg, edge_rows(errors, goes_high=False))
    if rise is None or fall is None:
        return
    declared = frame.layout.rise_deg[SENSORS.index(sensor)]
    placement = 0.5 * (wrapped(rise.mean_deg - declared) + wrapped(fall.mean_deg - declared - 180.0))
    yield measurement(f"hall_placement.{sensor}", placement, placement_rows(errors))
    yield measurement(f"hall_duty.{sensor}", ((fall.mean_deg - rise.mean_deg) % 360.0) / 3.6, duty_rows(errors))


def _jitter(frame: Frame, sensor: str, located: SensorAngles) -> Measurement:
    """Spread of both polarities together, less what noise and sampling alone give.

    The floor of sampling stands in the uncertainty: below it, jitter cannot be told.
    """
    patterns = [each for each in (located.rise, located.fall) if each is not None]
    dof = sum(each.dof for each in patterns)
    variance = sum(each.dof * each.spread_deg**2 for each in patterns) / max(dof, 1)
    floor = frame.degrees_per_second * frame.capture.sample_interval * located.edges.time_noise
    value = sqrt(max(0.0, variance - floor**2))
    scatter = sqrt(variance / (2 * max(dof, 1)))
    rows = [BudgetRow("scatter of edges", "A", "normal", scatter, max(1.0, float(dof))),
            BudgetRow("sampling and noise", "B", "rectangular",
                      floor**2 / hypot(value, floor) if floor else 0.0, inf)]
    return measurement(f"hall_jitter.{sensor}", value, rows)


def _eccentricity(sensor: str, located: SensorAngles) -> Measurement:
    """Amplitude of the once-per-revolution movement, the larger of both polarities.

    The movement leaves every mean where it is, so only this characteristic limits a ring out of centre.
    """
    patterns = [each for each in (located.rise, located.fall) if each is not None]
    larger = max(patterns, key=lambda each: each.eccentricity_deg)
    row = BudgetRow("scatter of edges", "A", "normal", sqrt(2) * larger.mean_u_deg, max(1.0, float(larger.dof)))
    return measurement(f"hall_eccentricity.{sensor}", larger.eccentricity_deg, [row])


def _transition(frame: Frame, sensor: str, located: SensorAngles) -> Measurement:
    """10-90 % duration of the slower polarity; edges faster than a sample read as about one sample."""
    interval = frame.capture.sample_interval
    duration = located.edges.transition
    rows = [BudgetRow("sample interval", "B", "rectangular", 1e6 * interval / sqrt(12), inf)]
    return measurement(f"hall_transition.{sensor}", 1e6 * interval * duration, rows)


def _level_measurements(frame: Frame, sensor: str, levels: HallLevels) -> list[Measurement]:
    accuracy, scale = frame.capture.accuracy, abs(frame.capture.channels[f"h_{sensor}"].scale)
    found = []
    for name, value in (("hall_high", levels.high), ("hall_low", levels.low)):
        rows = [
            BudgetRow(f"gain of channel h_{sensor}", "B", "rectangular",
                      abs(value) * accuracy.gain / sqrt(3), inf, shared=f"gain of channel h_{sensor}"),
            BudgetRow("gain of the digitizer", "B", "rectangular",
                      abs(value) * accuracy.gain_common / sqrt(3), inf, shared="gain of the digitizer"),
            BudgetRow(f"offset of channel h_{sensor}", "B", "rectangular", accuracy.offset / sqrt(3), inf,
                      shared=f"offset of channel h_{sensor}"),
            BudgetRow("resolution", "B", "rectangular", scale / sqrt(12), inf),
        ]
        found.append(measurement(f"{name}.{sensor}", value, rows))
    return found


def _exact() -> BudgetRow:
    return BudgetRow("count", "B", "rectangular", 0.0, inf)
