"""Two captures of one motor at one speed, stitched in electrical angle on the line they have in common."""

from collections.abc import Sequence
from dataclasses import replace
from math import hypot, pi

import numpy as np

from station.analysis.analyse import FittedLines, analyse_capture, fit_capture, with_hall
from station.analysis.angle_track import AngleTrack
from station.analysis.back_emf import usable_orders
from station.analysis.gate import refuse_settings, refuse_speed
from station.analysis.hall import analyse_hall
from station.analysis.integrity import count_bad, find_bad_samples
from station.analysis.known_wave import (
    KnownTrack,
    first_line_motion,
    known_wave,
    line_frequency,
    track_known,
    with_orders_of,
)
from station.analysis.line_voltages import LineVoltages, read_lines
from station.analysis.motion import refuse_motion
from station.analysis.result import CaptureAnalysis
from station.analysis.stitch_checks import (
    REFERENCE,
    Agreement,
    check_sensor,
    refuse_amplitude,
    refuse_jump,
    refuse_misfit,
    refuse_pair,
    refuse_shape,
    refuse_speed_change,
    refuse_switch,
)
from station.capture import Capture
from station.measurement import Refusal
from station.motor import MotorType


def analyse_captures(captures: Sequence[Capture], motor_type: MotorType) -> CaptureAnalysis:
    """Return the analysis of one capture, or of the two parts of a stitched one in any order."""
    parts = sorted(captures, key=lambda capture: capture.part)
    if len(parts) == 2:
        return analyse_stitched(parts[0], parts[1], motor_type)
    if len(parts) == 1 and parts[0].part[1] == 1:
        return analyse_capture(parts[0], motor_type)
    label, asked = (parts[0].label, parts[0].part[1]) if parts else ("", 1)
    return CaptureAnalysis(label, refused=Refusal(
        "stitch_count", f"There are {len(parts)} of {asked} captures; two can be stitched: one with all three lines, "
        f"one with {REFERENCE} and the sensors."), stitched=asked)


def parts_together(captures: Sequence[Capture]) -> list[tuple[int, ...]]:
    """Return the places of the captures that belong together, in order; whole ones stand alone.

    Parts are told by their numbers and label: each waits for the next of its label.
    """
    groups: list[list[int]] = []
    for place, capture in enumerate(captures):
        number, count = capture.part
        waiting = [group for group in groups if count > 1 and len(group) < count
                   and captures[group[0]].label == capture.label and captures[group[0]].part[1] == count
                   and number not in {captures[index].part[0] for index in group}]
        if waiting:
            waiting[0].append(place)
        else:
            groups.append([place])
    return [tuple(group) for group in groups]


def analyse_stitched(first: Capture, second: Capture, motor_type: MotorType) -> CaptureAnalysis:
    """Return all measurements of two captures taken one after the other, or by two digitizers at once.

    Parameters
    ----------
    first : v_ab, v_bc, v_ca, and h_a as a check
    second : v_ab and the sensors; its own rate, channels and times

    Notes
    -----
    Everything of the lines comes from `first`. The rotor angle of `second` is the one on which the
    wave of v_ab known from `first` fits v_ab of `second`; time is never carried over. Both must agree on
    speed, on volts per speed and shape of v_ab, and on the angles of h_a. What is left of the last, or
    of the zero of v_ab where that is more, is the row "stitching" of everything that rests on that angle.
    """
    fitted = refuse_pair(first, second) or fit_capture(first, motor_type)
    if isinstance(fitted, Refusal):
        return CaptureAnalysis(first.label, refused=fitted, stitched=2)
    carried = _carry_over(fitted, first, second, motor_type)
    if isinstance(carried, Refusal):
        return CaptureAnalysis(first.label, refused=carried, stitched=2)
    hall = analyse_hall(second, motor_type, carried) if motor_type.sensors is not None else None
    return replace(with_hall(first.label, fitted, hall, motor_type), stitched=2)


def _carry_over(fitted: FittedLines, first: Capture, second: Capture, motor_type: MotorType) -> AngleTrack | Refusal:
    """Return the rotor angle of `second`, or why it cannot be had from `fitted`."""
    tracked = _follow(fitted, second, motor_type)
    if isinstance(tracked, Refusal):
        return tracked
    refusal = (refuse_amplitude(fitted, tracked, (first, second)) or refuse_shape(fitted, tracked)
               or refuse_misfit(fitted, tracked) or refuse_switch(fitted, second, tracked, motor_type.pole_pairs))
    if refusal is not None:
        return refusal
    track, zero = _track(tracked, second, fitted.track)
    checked = check_sensor((first, second), (fitted.track, track), motor_type)
    if isinstance(checked, Refusal):
        return checked
    stitch_u = max(each.stitch_u for each in (checked, zero) if each is not None)
    return (refuse_speed(track.mean_electrical_frequency, second, motor_type)
            or replace(track, stitch_u=stitch_u))


def _follow(fitted: FittedLines, second: Capture, motor_type: MotorType) -> KnownTrack | Refusal:
    """Return the reference line of `second` fitted by its wave in the first capture."""
    expected = fitted.track.mean_electrical_frequency
    bad = find_bad_samples(second, (REFERENCE,))
    if isinstance(bad, Refusal):
        return bad
    refusal = refuse_settings(expected, second, motor_type)
    if refusal is not None:
        return refusal
    counted = int(fitted.measurements["bad_samples"].value) + bad.size
    fitted.measurements["bad_samples"] = count_bad(np.zeros(counted, dtype=np.intp))
    orders = usable_orders(second, expected, fitted.emf.orders)
    lines = read_lines(second, expected, orders, bad, (REFERENCE,))
    frequency = line_frequency(lines)
    if frequency is None:
        return Refusal("stitch_reference", f"{REFERENCE} shows nothing in the second capture: its lead or channel is "
                       "dead, or the shaft has stopped.")
    direction = 1 if second.drive_speed > 0 else -1
    return (refuse_speed_change(frequency, direction, fitted.track)
            or _tracked(fitted, second, lines, frequency * direction, motor_type))


def _tracked(fitted: FittedLines, second: Capture, lines: LineVoltages, turning: float, motor_type: MotorType
             ) -> KnownTrack | Refusal:
    """Return the known wave fitted to `lines`, the shaft `turning` at so many electrical Hz, signed."""
    pole_pairs, reference = motor_type.pole_pairs, motor_type.reference
    motion, rest = first_line_motion(lines, turning, pole_pairs)
    refusal = refuse_motion(motion, lines, rest, 1 if turning > 0 else -1)
    if refusal is not None:
        return refusal
    to_reference = 1 / (1 + reference.magnet_per_k * (second.temperature_c - reference.temperature_c))
    wave = known_wave(fitted.emf, 0, pole_pairs, to_reference, 1 / (abs(turning) * second.sample_interval), lines.block)
    tracked = track_known(lines, wave, with_orders_of(motion, fitted.tracked.motion), pole_pairs)
    return refuse_jump(fitted, tracked) or tracked


def _track(tracked: KnownTrack, second: Capture, first: AngleTrack) -> tuple[AngleTrack, Agreement]:
    """Return the angle of the second capture, and how far its own fundamental and all that is left lie from it.

    A sample taken late by `skew` from a front end that lags by `lag` shows the rotor at t + skew - lag.
    """
    times, angle = tracked.times, tracked.angle
    speed = float(angle[-1] - angle[0]) / float(times[-1] - times[0])
    channel = second.channels[REFERENCE]
    turned = float(tracked.own_orders()[0].real)
    zero = Agreement(float(np.rad2deg(abs(turned) + 2 * tracked.misfit)), float(np.rad2deg(tracked.order_u)))
    track = AngleTrack(times, angle - speed * (channel.skew - channel.lag), 1 if speed > 0 else -1,
                       hypot(tracked.order_u, first.angle_u), abs(speed) / (2 * pi))
    return track, zero
