"""May a capture be trusted at all: its codes, before anything is computed from them."""

from math import isfinite

import numpy as np

from station.capture import VOLTAGE_CHANNELS, Capture
from station.measurement import Refusal

MIN_SAMPLES = 256
CLIPPED_SAMPLES = 3  # a single code at a rail is a disturbance, not a clipped wave


def refuse_codes(capture: Capture) -> Refusal | None:
    """Return why the codes of a capture cannot be used, or None."""
    missing = [name for name in VOLTAGE_CHANNELS if name not in capture.codes]
    if missing:
        return Refusal("channel_missing", f"Channels {', '.join(missing)} are not in the capture; all three "
                       "line-to-line voltages are needed.")
    if len({codes.size for codes in capture.codes.values()}) > 1:
        return Refusal("lengths_differ", "The channels have different numbers of samples.")
    if capture.size < MIN_SAMPLES:
        return Refusal("too_short", f"The capture has {capture.size} samples; at least {MIN_SAMPLES} are needed.")
    if not (isfinite(capture.drive_speed) and isfinite(capture.temperature_c)) or capture.drive_speed == 0:
        return Refusal("conditions_missing", f"The capture needs the drive's speed, other than zero, and the motor's "
                       f"temperature; it has {capture.drive_speed:g} rad/s and {capture.temperature_c:g} °C.")
    for name in VOLTAGE_CHANNELS:
        codes, channel = capture.codes[name], capture.channels[name]
        if int(codes.max()) < channel.code_max and int(codes.min()) > channel.code_min:
            continue
        at_rail = int(np.count_nonzero((codes >= channel.code_max) | (codes <= channel.code_min)))
        if at_rail >= CLIPPED_SAMPLES:
            return Refusal("clipped", f"{name} is clipped: {at_rail} samples at the end of the range. "
                           "Take the capture again on a wider range.")
    return None
