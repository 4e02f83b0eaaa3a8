"""Conversions between the ways in which catalogues state a back-EMF or torque constant, SI throughout."""

from math import pi, sqrt

TOUCH_VOLTAGE = 25.0  # V rms; scope of EN 50191 as quoted in its public abstract


def flux_linkage_of_phase(peak_constant: float, pole_pairs: int) -> float:
    """Return the peak flux linkage (V s) of an equivalent star phase of a sine machine.

    `peak_constant` is the line-to-line peak over mechanical speed, V s/rad. Derived.
    """
    return peak_constant / (sqrt(3) * pole_pairs)


def peak_of_rms(rms_constant: float) -> float:
    """Return the peak constant of a sine machine from its rms constant, both line to line, V s/rad.

    Only for a sine: the same factor on a trapezoid is 5 % off, which is why nothing here applies it silently.
    """
    return sqrt(2) * rms_constant


def star_equivalent(delta_phase: float) -> float:
    """Return the phase quantity (V, V s or V s/rad) of the star with the same terminals as a delta. Derived."""
    return delta_phase / sqrt(3)


def torque_constant_rms(peak_constant: float) -> float:
    """Return torque per rms ampere (N m/A) of a sine machine fed with sine currents. Derived."""
    return sqrt(1.5) * peak_constant


def torque_constant_peak(peak_constant: float) -> float:
    """Return torque per peak ampere (N m/A) of a sine machine fed with sine currents. Derived."""
    return sqrt(3) / 2 * peak_constant


def torque_constant_six_step(peak_constant: float) -> float:
    """Return mean torque per dc ampere (N m/A) of a sine machine in six-step commutation: 3/pi of it. Derived."""
    return 3 / pi * peak_constant


def speed_constant(torque_constant: float) -> float:
    """Return no-load speed per volt (rad/s/V): the reciprocal of torque per ampere. Derived."""
    return 1 / torque_constant


def touch_voltage_speed(peak_constant: float, rms_limit: float = TOUCH_VOLTAGE) -> float:
    """Return the speed (rad/s, mechanical) at which the terminals of a sine machine reach `rms_limit` V."""
    return sqrt(2) * rms_limit / peak_constant
