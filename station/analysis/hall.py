"""Hall sensors of one capture: levels, edges, rotor angles, codes, and what they measure."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from station.analysis import hall_measurements as measured
from station.analysis.angle_track import AngleTrack
from station.analysis.hall_budget import AngleErrors, common_shift_u, edge_u
from station.analysis.hall_codes import CodeInterval, CodeLine, CodeWalk, intervals, walk_codes
from station.analysis.hall_flaws import Bounces, Gaps, bounces_of, gaps_of
from station.analysis.hall_levels import HallLevels, NoLevels, sensor_levels
from station.analysis.hall_sensor import SensorAngles, angle_errors, locate_edges
from station.capture import Accuracy, Capture
from station.measurement import Finding, Measurement
from station.motor import SENSORS, HallLayout, MotorType


@dataclass(frozen=True, slots=True)
class HallAnalysis:
    """What one capture tells about the Hall sensors.

    `edges` holds the sensors that switch, `stuck` those that do not. `code_widths` and the sectors
    are empty unless all three switch.
    """

    measurements: dict[str, Measurement]
    findings: tuple[Finding, ...]
    edges: dict[str, SensorAngles]
    stuck: dict[str, NoLevels]
    code_widths: tuple[CodeInterval, ...]
    hall_high: dict[str, tuple[float, float]]   # rise and fall, degrees; only sensors that switch
    edge_u: dict[str, float]        # deg, of a sensor's edges without that of the zero
    zero_u: float                   # deg, of the rotor angle's zero
    accuracy: Accuracy
    walk: CodeWalk | None           # None for a motor type without sensors
    bounces: dict[str, Bounces] = field(default_factory=dict)   # of sensors that bounce
    gaps: dict[str, Gaps] = field(default_factory=dict)         # of sensors that miss edges


def analyse_hall(capture: Capture, motor_type: MotorType, track: AngleTrack) -> HallAnalysis:
    """Measure the Hall sensors of one capture.

    A sensor without two valid levels, or without a channel, gives no edges and a finding, and
    leaves the others alone. Nothing here raises on a bad motor.

    Parameters
    ----------
    capture : codes of h_a, h_b, h_c
    motor_type : pole pairs and sensor layout; without a layout nothing is measured
    track : rotor electrical angle of this capture

    Notes
    -----
    Edge times are those at which the signal passes half of its swing, less the channel's skew and
    lag; see `hall_timing`.
    """
    layout = motor_type.sensors
    if layout is None:
        return HallAnalysis({}, (), {}, {}, (), {}, {}, 0.0, capture.accuracy, None)
    levels = {sensor: sensor_levels(capture, sensor) for sensor in SENSORS}
    located = locate_edges(capture, {sensor: each for sensor, each in levels.items() if isinstance(each, HallLevels)},
                           track, motor_type.pole_pairs)
    errors = {sensor: angle_errors(capture, sensor, each, track) for sensor, each in located.items()}
    stuck = {sensor: each for sensor, each in levels.items() if isinstance(each, NoLevels)}
    walk, widths = _walk(located, stuck, layout), _code_intervals(located)
    frame = measured.Frame(capture, layout, motor_type.pole_pairs, _span(capture, track),
                           360.0 * abs(track.mean_electrical_frequency))
    missing = {sensor: each.missing(frame.span) for sensor, each in located.items()}
    numbers = _measure(frame, located, errors, walk, widths, sum(each.size for each in missing.values()))
    return HallAnalysis(
        numbers, tuple(_stuck_finding(sensor, each) for sensor, each in stuck.items()), located, stuck, widths,
        {sensor: high for sensor in SENSORS if (high := _high_range(located.get(sensor))) is not None},
        {sensor: edge_u(each) for sensor, each in errors.items()},
        common_shift_u(list(errors.values())), capture.accuracy, walk,
        {sensor: found for sensor, each in located.items()
         if (found := bounces_of(each.edges, capture.sample_interval)) is not None},
        {sensor: gap for sensor, cycles in missing.items()
         if (gap := gaps_of(cycles, frame.span, motor_type.pole_pairs)) is not None})


def _measure(frame: measured.Frame, located: Mapping[str, SensorAngles], errors: Mapping[str, AngleErrors],
             walk: CodeWalk, widths: tuple[CodeInterval, ...], missing: int) -> dict[str, Measurement]:
    cycles = int(abs(frame.span[1] - frame.span[0]) / (2 * np.pi))
    missing += 2 * cycles * (len(SENSORS) - len(located))   # a stuck sensor misses every edge
    found = measured.count_measurements(frame, located, walk, missing)
    found += measured.sector_measurements(widths, _edge_sensors(widths), errors)
    for sensor, each in located.items():
        found += measured.sensor_measurements(frame, sensor, each, errors[sensor])
    return {each.name: each for each in found}


def _span(capture: Capture, track: AngleTrack) -> tuple[float, float]:
    """Rotor angles (rad, growing) from the first to the last sample."""
    ends = track.rotor_angle(np.array([0.0, (capture.size - 1) * capture.sample_interval]))
    return float(ends.min()), float(ends.max())


def _code_intervals(located: Mapping[str, SensorAngles]) -> tuple[CodeInterval, ...]:
    """The six code intervals, if every sensor goes both high and low."""
    ranges = [_high_range(located.get(sensor)) for sensor in SENSORS]
    a, b, c = ranges
    if a is None or b is None or c is None:
        return ()
    return intervals((a[0], b[0], c[0]), (a[1], b[1], c[1]))


def _edge_sensors(widths: tuple[CodeInterval, ...]) -> list[str]:
    """The sensor whose edge starts each interval: the bit in which it differs from the one before."""
    names = []
    for number, interval in enumerate(widths):
        before = widths[number - 1].code
        names.append(SENSORS[next(bit for bit in range(3) if interval.code[bit] != before[bit])])
    return names


def _walk(located: Mapping[str, SensorAngles], stuck: Mapping[str, NoLevels], layout: HallLayout) -> CodeWalk:
    """Follow the codes; a stuck line is high above the middle of the other sensors' swing."""
    middles = [0.5 * (each.edges.levels.low + each.edges.levels.high) for each in located.values()]
    middle = sum(middles) / len(middles) if middles else 1.0
    lines = []
    for sensor in SENSORS:
        each = located.get(sensor)
        if each is None:
            lines.append(CodeLine(np.zeros(0), np.zeros(0, dtype=np.bool_), stuck[sensor].mean > middle))
        else:
            rising = each.edges.rising
            lines.append(CodeLine(each.time, rising, bool(rising.size) and not rising[0]))
    return walk_codes(lines, layout)


def _high_range(located: SensorAngles | None) -> tuple[float, float] | None:
    if located is None or located.rise is None or located.fall is None:
        return None
    return located.rise.mean_deg, located.fall.mean_deg


def _stuck_finding(sensor: str, level: NoLevels) -> Finding:
    if np.isnan(level.mean):
        return Finding("hall_channel_missing", f"Hall sensor {sensor.upper()} has no channel in this capture.")
    return Finding("hall_sensor_stuck",
                   f"Hall sensor {sensor.upper()} does not switch: its line stays at {level.mean:.2f} V "
                   f"within {level.peak_to_peak:.2f} V.")
