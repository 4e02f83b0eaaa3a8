"""May a capture be trusted at all: its codes, before anything is computed from them."""

from collections.abc import Sequence
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from station.analysis.budget import measurement
from station.capture import VOLTAGE_CHANNELS, Capture
from station.measurement import Measurement, Refusal
from station.units import RPM

MIN_SAMPLES = 256
CLIPPED_SAMPLES = 3  # on one line; fewer codes at a rail are a disturbance, not a clipped wave

Indices = NDArray[np.intp]


def find_bad_samples(capture: Capture, lines: Sequence[str] = VOLTAGE_CHANNELS) -> Indices | Refusal:
    """Return which samples (k,) no number may rest on, or why the whole capture cannot be used.

    A sample is bad where any of the `lines` stands at a rail of its converter. Three or more on
    one line are a clipped wave. Lines that touch no rail cost one look at their extremes.
    """
    refusal = _refuse_contents(capture, lines)
    if refusal is not None:
        return refusal
    bad = np.zeros(0, dtype=np.intp)
    for name in lines:
        codes, channel = capture.codes[name], capture.channels[name]
        if int(codes.max()) < channel.code_max and int(codes.min()) > channel.code_min:
            continue
        at_rail = np.flatnonzero((codes >= channel.code_max) | (codes <= channel.code_min))
        if at_rail.size >= CLIPPED_SAMPLES:
            return Refusal("clipped", f"{name} is clipped: {at_rail.size} samples at the end of the range. "
                           "Take the capture again on a wider range.")
        bad = np.union1d(bad, at_rail)
    return bad


def count_bad(bad: Indices) -> Measurement:
    """Return how many samples were left out; a count has no uncertainty."""
    return measurement("bad_samples", float(bad.size), [])


def _refuse_contents(capture: Capture, lines: Sequence[str]) -> Refusal | None:
    missing = [name for name in lines if name not in capture.codes]
    if missing:
        needed = "all three line-to-line voltages are" if len(lines) > 1 else "it is"
        return Refusal("channel_missing", f"Channels {', '.join(missing)} are not in the capture; {needed} needed.")
    if len({codes.size for codes in capture.codes.values()}) > 1:
        return Refusal("lengths_differ", "The channels have different numbers of samples.")
    if capture.size < MIN_SAMPLES:
        return Refusal("too_short", f"The capture has {capture.size} samples; at least {MIN_SAMPLES} are needed.")
    if not (isfinite(capture.drive_speed) and isfinite(capture.temperature_c)) or capture.drive_speed == 0:
        return Refusal("conditions_missing", f"The capture needs the drive's speed, other than zero, and the motor's "
                       f"temperature; it has {capture.drive_speed:g} rad/s and {capture.temperature_c:g} °C.")
    if capture.declared_speed * capture.drive_speed < 0:
        return Refusal("direction_contradicts", f"The capture was to be taken at {capture.declared_speed / RPM:+.4g} "
                       f"r/min, and the drive turned at {capture.drive_speed / RPM:+.4g} r/min: the other way. See "
                       "which way it was told to turn, and which sign its speed is read with.")
    return None
