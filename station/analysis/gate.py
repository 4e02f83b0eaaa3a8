"""Is there a back-EMF that can be tracked: its frequency, its sequence, and which lead is open."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.analysis.line_voltages import ORDERS, TURN
from station.capture import VOLTAGE_CHANNELS, Capture
from station.measurement import Refusal
from station.motor import LINES, MotorType

MAX_POINTS = 1 << 16        # of the coarse spectrum; the peak is refined afterwards
PEAK_OVER_MEDIAN = 30.0     # below it there is no tone to track
COLLINEAR = 0.9             # weaker over stronger sequence; an open lead gives 1, the worst motor 0.5
MAX_WIDTH = 0.2             # short over long axis of the space vector's path; the worst motor has 0.33
MIN_PERIODS, MIN_REVOLUTIONS = 12.0, 3.0
MIN_SAMPLES_PER_PERIOD = 2 * ORDERS + 2  # below it the highest orders fold onto lower ones
MAX_DISAGREEMENT = 0.02     # between drive and back-EMF

# the lead that a line does not touch
OPPOSITE_LEAD = {"ab": "c", "bc": "a", "ca": "b"}


@dataclass(frozen=True, slots=True)
class Tone:
    """Electrical frequency (Hz, positive), way of the shaft (+1, -1) and order of the lines (+1, -1)."""

    frequency: float
    direction: int
    phase_order: int


def find_tone(capture: Capture, motor_type: MotorType) -> Tone | Refusal:
    """Return the tone of the fundamental, or why the capture cannot be tracked."""
    volts, interval = _thinned(capture)
    window = np.hanning(volts.shape[1])
    spectrum = np.fft.fft((volts - volts.mean(axis=1, keepdims=True)) * window, axis=1)
    positive = np.abs(spectrum[0] + TURN * spectrum[1] + TURN**2 * spectrum[2])
    magnitude = np.sqrt((np.abs(spectrum) ** 2).sum(axis=0))
    half = slice(2, volts.shape[1] // 2)
    peak = int(np.argmax(magnitude[half])) + half.start
    if not magnitude[peak] > PEAK_OVER_MEDIAN * float(np.median(magnitude[half])):  # all codes equal give 0 and 0
        return Refusal("no_emf", "No back-EMF: nothing in the three voltages stands out of the noise. Either the "
                       "shaft does not turn, or no lead of the motor is connected.")
    frequency = _refined(magnitude, peak) / (volts.shape[1] * interval)
    strengths = positive[peak], positive[-peak]
    collinear = _open_lead(spectrum[:, peak], min(strengths) / max(strengths))
    if collinear is not None:
        return collinear if _lie_on_a_line(volts) else Refusal(
            "speed_not_stable", "The shaft turned both ways during the capture, or stopped: as much back-EMF turns "
            "forward as backward. Let the drive settle first.")
    direction = 1 if capture.drive_speed > 0 else -1
    tone = Tone(frequency, direction, direction if strengths[0] > strengths[1] else -direction)
    return _refuse_tone(capture, motor_type, tone) or tone


def _thinned(capture: Capture) -> tuple[NDArray[np.float64], float]:
    """Return means over enough samples that the spectrum stays small, and their interval."""
    step = max(1, capture.size // MAX_POINTS)
    count = capture.size // step
    volts = [capture.codes[name][:count * step].reshape(count, step).sum(axis=1, dtype=np.int64)
             * (capture.channels[name].scale / step) for name in VOLTAGE_CHANNELS]
    return np.array(volts), step * capture.sample_interval


def _refined(magnitude: NDArray[np.float64], peak: int) -> float:
    """Return the peak's place between bins: a parabola on the logarithm, good for a Hann window."""
    left, middle, right = np.log(np.maximum(magnitude[peak - 1:peak + 2], 1e-300))
    return peak + 0.5 * float((left - right) / (left - 2 * middle + right))


def _lie_on_a_line(volts: NDArray[np.float64]) -> bool:
    """Say whether the space vector keeps to one line at every instant, not only on average."""
    weak, strong = np.linalg.eigvalsh(np.cov(volts))[1:]  # the smallest is the sum of the lines
    return bool(weak < MAX_WIDTH**2 * strong)


def _open_lead(phasors: NDArray[np.complex128], ratio: float) -> Refusal | None:
    if ratio < COLLINEAR:
        return None
    sizes = np.abs(phasors)
    line = LINES[int(np.argmax(sizes))]
    shares = ", ".join(f"v_{name} {size / sizes.max():.2f}" for name, size in zip(LINES, sizes, strict=True))
    return Refusal("open_phase", f"Lead {OPPOSITE_LEAD[line]} has no contact with the winding: the three voltages lie "
                   f"on one line ({shares} of the largest). A broken phase of a star winding and an open lead "
                   "or test contact read the same; the winding resistance with the lead pressed on tells them apart.")


def _refuse_tone(capture: Capture, motor_type: MotorType, tone: Tone) -> Refusal | None:
    duration = capture.size * capture.sample_interval
    periods, revolutions = duration * tone.frequency, duration * tone.frequency / motor_type.pole_pairs
    if periods < MIN_PERIODS or revolutions < MIN_REVOLUTIONS:
        return Refusal("too_short", f"The capture covers {periods:.1f} electrical periods and {revolutions:.1f} "
                       f"revolutions; {MIN_PERIODS:g} and {MIN_REVOLUTIONS:g} are needed. Take at least "
                       f"{10 * motor_type.pole_pairs / tone.frequency:.2g} s.")
    samples = 1 / (tone.frequency * capture.sample_interval)
    if samples < MIN_SAMPLES_PER_PERIOD:
        return Refusal("sampled_too_slowly", f"There are {samples:.0f} samples in an electrical period; order {ORDERS} "
                       f"needs {MIN_SAMPLES_PER_PERIOD}. Sample faster or turn slower.")
    speed = 2 * np.pi * tone.frequency / motor_type.pole_pairs
    disagreement = speed / abs(capture.drive_speed) - 1
    if not abs(disagreement) <= MAX_DISAGREEMENT:
        seen = 2 * np.pi * tone.frequency / abs(capture.drive_speed)
        return Refusal("speed_disagrees", f"Back-EMF and drive disagree on speed by {100 * disagreement:+.1f} %: with "
                       f"the drive's speed the motor has {seen:.2f} pole pairs, its type {motor_type.pole_pairs}. "
                       "A whole number speaks for another rotor, anything else for a slipping coupling.")
    return None
