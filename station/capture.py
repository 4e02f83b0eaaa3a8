"""Waveforms taken at one speed and direction: integer codes with their scales."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

VOLTAGE_CHANNELS = ("v_ab", "v_bc", "v_ca")
HALL_CHANNELS = ("h_a", "h_b", "h_c")
CHANNELS = VOLTAGE_CHANNELS + HALL_CHANNELS


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Limits of error of the digitizer and thermometer, from the bench file (half widths).

    `gain_common` is a relative error that all channels share (one reference voltage), the rest
    are independent per channel. The defaults are what a capture file without its own figures is
    given: plain industrial instruments, common practice, no source.
    """

    gain_common: float = 1e-3         # relative
    gain: float = 5e-4                # relative, per channel
    offset: float = 5e-3              # V, per channel
    timebase: float = 50e-6           # relative
    skew: float = 1e-7                # s, per channel
    lag: float = 2e-7                 # s, per channel
    temperature: float = 1.0          # K
    threshold: float = 0.1            # share of the swing by which the Hall reference level is unsure
    # Relative speed ripple of six per electrical revolution and its multiples, which back-EMF alone cannot
    # tell from harmonics 6k ± 1. A cogging torque of 5 mN m on 1e-4 kg m² at 1500 rpm and four pole pairs
    # gives 0.8e-4 (derived); heavy cogging or a light drive gives more.
    slot_ripple: float = 1e-4


@dataclass(frozen=True, slots=True)
class Channel:
    """How the codes of one channel become volts: value = scale x code + offset."""

    scale: float                      # V per code
    offset: float = 0.0               # V
    skew: float = 0.0                 # s; sample k is taken at start + k x interval + skew
    lag: float = 0.0                  # s; delay of the front end, the signal is older than its sample
    code_min: int = -32768            # rails of the converter
    code_max: int = 32767


@dataclass(frozen=True, slots=True)
class Capture:
    """One capture: `codes[name]` is (n,) int16 for each channel present.

    Speeds are mechanical, rad/s, signed: positive is the declared forward direction.
    """

    codes: Mapping[str, NDArray[np.int16]]
    channels: Mapping[str, Channel]
    sample_interval: float            # s
    start: float                      # s
    declared_speed: float             # rad/s, what the sequence asked for
    drive_speed: float                # rad/s, what the drive's own sensor says
    temperature_c: float              # °C, of the motor
    accuracy: Accuracy = Accuracy()
    label: str = ""                   # "forward 1500": direction and declared r/min
    part: tuple[int, int] = (1, 1)    # which of how many captures that belong together, see `analysis.stitch`

    @property
    def size(self) -> int:
        """Samples per channel."""
        return min((codes.size for codes in self.codes.values()), default=0)
