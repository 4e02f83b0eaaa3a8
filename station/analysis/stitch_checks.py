"""May two captures be stitched: what they have in common must be the same in both."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, isnan, nan, sqrt

import numpy as np
from numpy.typing import NDArray

from station.analysis.analyse import FittedLines
from station.analysis.angle_track import AngleTrack
from station.analysis.hall_levels import HallLevels, sensor_levels
from station.analysis.hall_sensor import angle_errors, locate_edges
from station.analysis.known_wave import KnownTrack, known_wave, misfit
from station.analysis.line_voltages import read_lines
from station.analysis.motion import MAX_STEP
from station.capture import HALL_CHANNELS, Capture
from station.measurement import Refusal
from station.motor import LINES, MotorType

Floats = NDArray[np.float64]
REFERENCE, CHECK = "v_ab", "a"      # the line that carries the angle over, the sensor that checks it
MAX_SPEED_CHANGE = 0.01     # relative
MAX_AMPLITUDE_CHANGE = 0.01 # relative, of the reference line's volts per speed, beyond the digitizers' own limits
MAX_SHAPE_CHANGE = 0.01     # of the fundamental: rms of what the reference line's orders differ by
MAX_MISFIT = 0.003          # of the fundamental: what no motion of the shaft explains; a quarter degree of angle
UNLIKE_POLES = 1.5          # what they leave in one capture over that in another, which begins and ends with others
MAX_ANGLE_CHANGE = 0.5      # degrees, of the check sensor's edges
NOISE_REACH = 3.0           # standard deviations of noise that shape and angle may differ by besides
RAIL_SHARE = 0.01           # of a sensor's samples at the ends of its range, from which on it is cut off
SAME_WAVE = 0.98            # correlation above which a sensor's channel shows a line; a square wave has 0.95 at most
SAME_SIZE = 0.1             # relative, of such a line


@dataclass(frozen=True, slots=True)
class Agreement:
    """By how much an angle that two captures have in common differs, and the standard uncertainty of that."""

    shift_deg: float
    shift_u_deg: float

    @property
    def stitch_u(self) -> float:
        """Standard uncertainty (rad) of an angle carried over.

        The difference, and what noise may hide of it (2 u), are the half width of a limit of error.
        """
        return float(np.deg2rad((abs(self.shift_deg) + 2 * self.shift_u_deg) / sqrt(3)))


def refuse_pair(first: Capture, second: Capture) -> Refusal | None:
    """Return why two captures do not even claim to belong together, or None."""
    if REFERENCE not in second.codes:
        return Refusal("stitch_reference", f"The second capture has no {REFERENCE}, on which it must be stitched to "
                       "the first.")
    if first.label != second.label or first.declared_speed != second.declared_speed:
        return Refusal("stitch_speed", f"Captures of {first.label or 'no label'} and {second.label or 'no label'} do "
                       "not belong together.")
    return None


def refuse_speed_change(frequency: float, direction: int, first: AngleTrack) -> Refusal | None:
    """Return why the second capture's electrical `frequency` (Hz) or way of turning is too far from the first's."""
    change = frequency / first.mean_electrical_frequency - 1
    if direction == first.direction and abs(change) <= MAX_SPEED_CHANGE:
        return None
    turned = "" if direction == first.direction else " and the shaft turned the other way"
    return Refusal("stitch_speed", f"Between the two captures the speed changed by {100 * change:+.2f} %{turned}; at "
                   f"most {100 * MAX_SPEED_CHANGE:g} % can be stitched. Let the drive settle and take both again.")


def refuse_amplitude(fitted: FittedLines, tracked: KnownTrack, captures: Sequence[Capture]) -> Refusal | None:
    """Return why the reference line's volts per speed are not those of the first capture, or None.

    The mean of poles of unlike strength depends on where in a revolution a capture begins.
    """
    change = tracked.gain - 1
    allowed = (MAX_AMPLITUDE_CHANGE + misfit_of_poles(fitted, tracked)
               + sum(each.accuracy.gain_common + each.accuracy.gain for each in captures))
    if abs(change) <= allowed:
        return None
    return Refusal("stitch_amplitude", f"Between the two captures the volts per speed of {REFERENCE} changed by "
                   f"{100 * change:+.2f} %; at most {100 * allowed:.2f} % can be stitched. Check that it is the same "
                   "motor, that it keeps its temperature, and its contacts.")


def refuse_shape(fitted: FittedLines, tracked: KnownTrack) -> Refusal | None:
    """Return why the reference line has another shape than in the first capture, order by order, or None.

    As for its size, poles of unlike strength have another mean from another beginning.
    """
    orders = tracked.own_orders()
    share = float(np.sqrt(np.sum(np.abs(orders) ** 2) / 2))
    noise = NOISE_REACH * tracked.order_u * sqrt(orders.size)
    allowed = MAX_SHAPE_CHANGE + noise + misfit_of_poles(fitted, tracked)
    if share <= allowed:
        return None
    return Refusal("stitch_shape", f"The wave of {REFERENCE} differs between the two captures by {100 * share:.2f} % "
                   f"of its fundamental; at most {100 * allowed:.2f} % can be stitched. Check that it is the same "
                   "motor and that the same leads reach the digitizer.")


def misfit_of_poles(fitted: FittedLines, tracked: KnownTrack) -> float:
    """Return what the reference line leaves in the first capture, as a share of its fundamental."""
    size = tracked.wave.fundamental * float(np.abs(fitted.tracked.speed).mean())
    return misfit(fitted.tracked.fit.residual[0], size)


def refuse_jump(fitted: FittedLines, tracked: KnownTrack) -> Refusal | None:
    """Return why samples must be missing in the second capture; poles of unlike strength pass for jumps too."""
    if tracked.step <= MAX_STEP + 2 * misfit_of_poles(fitted, tracked):
        return None
    return Refusal("samples_missing", f"The rotor angle jumps by {np.rad2deg(tracked.step):.1f}° inside the second "
                   "capture: samples are missing, a contact opened, or the coupling slipped. Take both again.")


def refuse_misfit(fitted: FittedLines, tracked: KnownTrack) -> Refusal | None:
    """Return why the motion of the second capture cannot be told from one line alone, or None.

    Poles of unlike strength leave something in the first capture too, about as much, which is no motion.
    """
    allowed = MAX_MISFIT + UNLIKE_POLES * misfit_of_poles(fitted, tracked)
    if tracked.misfit <= allowed:
        return None
    return Refusal("stitch_motion", f"One line does not tell how the shaft moved in the second capture: "
                   f"{100 * tracked.misfit:.2f} % of its fundamental stay unexplained, at most {100 * allowed:.2g} % "
                   "can be stitched. Take more revolutions, or look for ripple as fast as the electrical period.")


def refuse_switch(fitted: FittedLines, second: Capture, tracked: KnownTrack, pole_pairs: int) -> Refusal | None:
    """Return why a sensor's channel carries a line or is cut off: the inputs were not changed over."""
    names = [name for name in HALL_CHANNELS if name in second.codes]
    for name in names:
        codes, channel = second.codes[name], second.channels[name]
        if np.count_nonzero((codes >= channel.code_max) | (codes <= channel.code_min)) > RAIL_SHARE * codes.size:
            return Refusal("stitch_switch", f"{name} stands at the ends of its range in the second capture, as a line "
                           "of the motor on its channel would. Check the switch of the inputs.")
    shown = read_lines(second, fitted.track.mean_electrical_frequency, fitted.emf.orders, names=names)
    angle = np.interp(shown.times, tracked.times, tracked.angle)
    for line, volts in enumerate(_waves(fitted, angle, pole_pairs)):
        for name, seen in zip(names, shown.volts, strict=True):
            alike = abs(float(np.corrcoef(volts, seen)[0, 1])) if seen.any() else 0.0
            size = float(seen.std() / (volts.std() * abs(tracked.speed.mean())))
            if alike > SAME_WAVE and abs(size - 1) < SAME_SIZE:
                return Refusal("stitch_switch", f"{name} shows v_{LINES[line]} in the second capture: the inputs were "
                               "not changed over. Check their switch.")
    return None


def _waves(fitted: FittedLines, angle: Floats, pole_pairs: int) -> list[Floats]:
    """Return volts per electrical speed of the three lines at `angle` (n,)."""
    return [known_wave(fitted.emf, line, pole_pairs, 1.0).at(angle)[0] for line in range(len(LINES))]


def check_sensor(captures: tuple[Capture, Capture], tracks: tuple[AngleTrack, AngleTrack], motor_type: MotorType
                 ) -> Agreement | Refusal | None:
    """Return how far the check sensor's edges lie apart, why that is too far, or None where nothing can tell.

    Nothing can where one capture is without that sensor's channel, or where the sensor switches in
    neither, which is a fault of the motor.
    """
    name = f"h_{CHECK}"
    if motor_type.sensors is None or any(name not in capture.codes for capture in captures):
        return None
    here, there = (_edges(capture, track, motor_type.pole_pairs)
                   for capture, track in zip(captures, tracks, strict=True))
    if here is None and there is None:
        return None
    if here is None or there is None:
        return Refusal("stitch_check", f"{name} switches in one capture and not in the other: check its lead and the "
                       "switch of the inputs.")
    u = hypot(here[2], there[2], *(float(np.rad2deg(track.angle_u)) for track in tracks))
    apart = [_wrapped(other - one) for one, other in zip(here[:2], there[:2], strict=True)]
    worst = max((each for each in apart if not isnan(each)), key=abs, default=nan)
    if abs(worst) <= MAX_ANGLE_CHANGE + NOISE_REACH * u:
        return Agreement(worst, u)
    return Refusal("stitch_angle", f"The edges of {name} lie {worst:+.2f}° apart in the two captures; at most "
                   f"{MAX_ANGLE_CHANGE + NOISE_REACH * u:.2f}° can be stitched. Something moved between them: take "
                   "both again.")


def _edges(capture: Capture, track: AngleTrack, pole_pairs: int) -> tuple[float, float, float] | None:
    """Return the mean angles (deg) of rise and fall of the check sensor, and their uncertainty; None without edges."""
    levels = sensor_levels(capture, CHECK)
    if not isinstance(levels, HallLevels):
        return None
    located = locate_edges(capture, {CHECK: levels}, track, pole_pairs)[CHECK]
    if located.rise is None and located.fall is None:
        return None
    rise, fall = (nan if each is None else each.mean_deg for each in (located.rise, located.fall))
    return rise, fall, angle_errors(capture, CHECK, located, track).scatter_deg


def _wrapped(angle: float) -> float:
    return (angle + 180.0) % 360.0 - 180.0
