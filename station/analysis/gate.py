"""Is there a back-EMF that can be tracked: its frequency, its sequence, and which lead is open."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import pi, sin
from statistics import median

import numpy as np
from numpy.typing import NDArray

from station.analysis.hall_rate import count_edges
from station.analysis.line_voltages import ORDERS, TURN, LineVoltages
from station.capture import Capture
from station.measurement import Refusal
from station.motor import LINES, MotorType
from station.units import RPM

STRETCHES = 3               # looked at: the start, the middle and the end of the capture
MAX_POINTS = 1024           # of a stretch; the tracker refines the frequency afterwards
POINTS_PER_PERIOD = 32      # an alias of the tone would need 31 times the poles
PEAK_OVER_MEDIAN = 10.0     # below it there is no tone to track; white noise reaches 4
COLLINEAR = 0.9             # weaker over stronger sequence; an open lead gives 1, the worst motor 0.5
MAX_WIDTH = 0.2             # short over long axis of the space vector's path; the worst motor has 0.33
MAX_IDLE_RPM = 5e5          # at rated voltage; the fastest small spindles reach it; common practice, no source
SILENT, ALIKE = 0.05, 0.8   # of the largest line: shows nothing, and as much
MAX_SPEED_CHANGE = 0.1      # between stretches
MIN_PERIODS, MIN_REVOLUTIONS = 12.0, 3.0
MIN_SAMPLES_PER_PERIOD = 2 * ORDERS + 2  # below it the highest orders fold onto lower ones
ORDERS_PER_SAMPLE = 0.4     # highest order that samples per period can tell
MAX_DISAGREEMENT = 0.01     # between drive and back-EMF

FIRST_BIN = 2               # of a spectrum; the window spreads a direct voltage over those below
SEQUENCE = np.array([1, TURN, TURN**2])  # of the lines, with the rotor going forward

# the lead that a line does not touch
OPPOSITE_LEAD = {"ab": "c", "bc": "a", "ca": "b"}

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Tone:
    """Electrical frequency (Hz, positive), way of the shaft (+1, -1) and order of the lines (+1, -1)."""

    frequency: float
    direction: int
    phase_order: int


@dataclass(frozen=True, slots=True)
class _Look:
    """What one stretch shows of the tone."""

    frequency: float  # Hz
    sense: int        # way in which the space vector turns; 0 if as much each way
    on_a_line: bool   # the space vector keeps to one line, so that it turns neither way
    sizes: Floats     # (3,) V, amplitudes of the lines at the tone


def expected_frequency(capture: Capture, motor_type: MotorType) -> float:
    """Return the electrical frequency, Hz, that the drive's own speed and the declared poles call for."""
    return abs(capture.drive_speed) * motor_type.pole_pairs / (2 * np.pi)


def find_tone(lines: LineVoltages, capture: Capture, motor_type: MotorType) -> Tone | Refusal:
    """Return the tone of the fundamental, or why the capture cannot be tracked.

    Three stretches are looked at, each for itself, because a shaft that turns both ways, stops, or
    changes its speed shows in their differences. Length and sampling are held against the drive's
    speed, before anything is looked for: a tone further than 1 % from it is refused anyway.
    """
    expected = expected_frequency(capture, motor_type)
    refusal = refuse_settings(expected, capture, motor_type)
    if refusal is not None:
        return refusal
    looks = _looks(*_stretches(lines, expected))
    seen = [look for look in looks if look is not None]
    refusal = (_refuse_remnant(seen, capture, motor_type)
               or _refuse_looks(seen, len(looks), abs(capture.drive_speed) / RPM))
    if refusal is not None:
        return refusal
    frequency = median(look.frequency for look in seen)
    direction = 1 if capture.drive_speed > 0 else -1
    return refuse_speed(frequency, capture, motor_type) or Tone(frequency, direction, seen[0].sense * direction)


def _refuse_remnant(seen: Sequence[_Look], capture: Capture, motor_type: MotorType) -> Refusal | None:
    """Return why what is left of the tone cannot be a motor's back-EMF, or None.

    Shorted leads leave what falls off across the short, open ones what leaks into the inputs. Either is a tone.
    """
    if not seen:
        return None
    volts, rpm = max(float(look.sizes.max()) for look in seen), abs(capture.drive_speed) / RPM
    idle = motor_type.rated_voltage * rpm / volts
    if idle <= MAX_IDLE_RPM:
        return None
    return Refusal("no_emf", f"No back-EMF: {1e3 * volts:.2g} mV at {rpm:.4g} r/min are a remnant, for at its rated "
                   f"{motor_type.rated_voltage:g} V this motor would idle at {idle:.2g} r/min. Either all leads of the "
                   "motor touch each other, or two or three have no contact; the winding resistance tells which.")


def refuse_settings(expected: float, capture: Capture, motor_type: MotorType) -> Refusal | None:
    """Return why a capture is too short or sampled too slowly at an electrical frequency of `expected` Hz, or None."""
    return _refuse_length(expected, capture, motor_type) or _refuse_sampling(expected, capture)


def refuse_speed(frequency: float, capture: Capture, motor_type: MotorType) -> Refusal | None:
    """Return why an electrical `frequency`, Hz, does not fit the drive's speed, or None.

    Nothing else can tell a wrong number of poles: all that is electrical stays the same.
    """
    ratio = frequency / expected_frequency(capture, motor_type)
    if abs(ratio - 1) <= MAX_DISAGREEMENT:
        return None
    edges = count_edges(capture, frequency)
    told = "" if edges is None else (f" The Hall sensors show {edges:.2f} edges in a revolution of the drive, where "
                                     f"the type has {6 * motor_type.pole_pairs}.")
    return Refusal("speed_disagrees", f"Back-EMF and drive disagree on speed by {100 * (ratio - 1):+.1f} %: with "
                   f"the drive's speed the motor has {ratio * motor_type.pole_pairs:.2f} pole pairs, its type "
                   f"{motor_type.pole_pairs}.{told} A whole number speaks for another rotor, anything else for a "
                   "slipping coupling.")


def _stretches(lines: LineVoltages, expected: float) -> tuple[Floats, float]:
    """Return the lines (s, 3, n) V at the start, the middle and the end, thinned to few points, and their interval."""
    thin = max(1, int(1 / (expected * lines.interval * POINTS_PER_PERIOD)))
    count = min(MAX_POINTS, lines.volts.shape[1] // thin)
    room = lines.volts.shape[1] - count * thin
    starts = sorted({room * part // (STRETCHES - 1) for part in range(STRETCHES)})
    volts = np.array([lines.volts[:, start:start + count * thin] for start in starts])
    return volts.reshape(len(starts), 3, count, thin) @ np.full(thin, 1 / thin), thin * lines.interval


def _looks(volts: Floats, interval: float) -> list[_Look | None]:
    """Return what each stretch shows, None where nothing stands out of its noise."""
    centred = (volts - volts.mean(axis=2, keepdims=True)) * _window(volts.shape[2])
    spectra = np.fft.rfft(centred)
    forward, backward = np.abs(SEQUENCE @ spectra), np.abs(SEQUENCE.conj() @ spectra)
    both = np.hypot(forward, backward)
    peaks = FIRST_BIN + both[:, FIRST_BIN:-1].argmax(axis=1)
    medians = np.sort(both, axis=1)[:, both.shape[1] // 2]
    looks: list[_Look | None] = []
    for index, (peak, middle) in enumerate(zip(peaks.tolist(), medians.tolist(), strict=True)):
        if not both[index, peak] > PEAK_OVER_MEDIAN * middle:  # all codes equal give 0 and 0
            looks.append(None)
            continue
        bins = _refined(both[index, peak - 1:peak + 2].tolist(), peak)
        sense = _sense(float(forward[index, peak]), float(backward[index, peak]))
        looks.append(_Look(bins / (volts.shape[2] * interval), sense, sense == 0 and _lie_on_a_line(centred[index]),
                           np.abs(spectra[index, :, peak]) * _volts_per_size(bins - peak, volts.shape[2])))
    return looks


@lru_cache(maxsize=8)
def _window(points: int) -> Floats:
    """Return a Hann window (points,)."""
    return np.hanning(points)


def _refined(near: Sequence[float], peak: int) -> float:
    """Return the peak's place between bins from its three magnitudes under a Hann window.

    Source: two neighbours of a tone `d` bins off stand as (1 + d) to (2 - d); derived.
    """
    left, middle, right = near
    share = max(left, right) / middle
    return peak + (1 if right > left else -1) * (2 * share - 1) / (share + 1)


def _volts_per_size(away: float, points: int) -> float:
    """Return the amplitude of a tone over its magnitude, `away` bins off in a Hann spectrum of so many points.

    Source: the window's mean is 1/2 and its shape sinc(d) / (1 - d²) (from memory).
    """
    return 4 / (points - 1) / ((sin(pi * away) / (pi * away) if away else 1.0) / (1 - away**2))


def _sense(forward: float, backward: float) -> int:
    """Return the way in which the space vector turns, 0 if about as much of it turns each way."""
    if min(forward, backward) >= COLLINEAR * max(forward, backward):
        return 0
    return 1 if forward > backward else -1


def _lie_on_a_line(volts: Floats) -> bool:
    """Say whether the space vector keeps to one line at every instant, not only on average."""
    weak, strong = np.linalg.eigvalsh(np.cov(volts))[1:]  # the smallest is the sum of the lines
    return bool(weak < MAX_WIDTH**2 * strong)


def _refuse_looks(seen: Sequence[_Look], stretches: int, drive_rpm: float) -> Refusal | None:
    """Return why what was `seen` is not one tone of three lines over all stretches, or None."""
    if not seen:
        return Refusal("no_emf", "No back-EMF: nothing in the three voltages stands out of the noise. Either the "
                       "shaft does not turn, or no lead of the motor is connected.")
    sizes = seen[0].sizes / seen[0].sizes.max()
    if all(look.on_a_line for look in seen):
        return _refuse_line(np.median([look.sizes for look in seen], axis=0), drive_rpm)
    if len(seen) < stretches or not _alike(seen):
        return Refusal("speed_not_stable", "Parts of the capture differ in the way or the frequency of their "
                       "back-EMF: the shaft turned both ways, stopped or changed its speed, or a contact opened. Let "
                       "the drive settle first.")
    if sizes.min() < SILENT:
        return Refusal("line_silent", f"v_{LINES[int(np.argmin(sizes))]} shows nothing of the back-EMF that the two "
                       "other lines show: its channel or one of its leads is dead. Check the digitizer and its leads.")
    return None


def _alike(looks: Sequence[_Look]) -> bool:
    frequencies, senses = [look.frequency for look in looks], {look.sense for look in looks}
    return senses in ({1}, {-1}) and max(frequencies) - min(frequencies) <= MAX_SPEED_CHANGE * min(frequencies)


def _refuse_line(volts: Floats, drive_rpm: float) -> Refusal:
    """Return why all lines lie on one line, from their amplitudes (3,) V."""
    sizes = volts / volts.max()
    shares = ", ".join(f"v_{name} {size:.2f}" for name, size in zip(LINES, sizes, strict=True))
    weak, middle = np.sort(sizes)[:2]
    if weak < SILENT and middle > ALIKE:
        leads = " and ".join(LINES[int(np.argmin(sizes))])
        return Refusal("shorted_leads", f"Leads {leads} are at one voltage ({shares} of the largest): they "
                       "touch each other, or both test leads sit on one lead of the motor. The winding resistance "
                       "between them tells.")
    kept = LINES[int(np.argmax(sizes))]
    lead = OPPOSITE_LEAD[kept]
    return Refusal("open_phase", f"Lead {lead} has no contact with the winding: the three voltages lie "
                   f"on one line ({shares} of the largest). A broken phase of a star winding and an open lead "
                   "or test contact read the same; the winding resistance with the lead pressed on tells them apart. "
                   f"v_{kept} has an amplitude of about {volts.max():.3g} V, {1e3 * volts.max() / drive_rpm:.3g} V at "
                   "1000 r/min: an indication and no measurement.")


def _refuse_length(expected: float, capture: Capture, motor_type: MotorType) -> Refusal | None:
    periods = capture.size * capture.sample_interval * expected
    revolutions = periods / motor_type.pole_pairs
    if periods >= MIN_PERIODS and revolutions >= MIN_REVOLUTIONS:
        return None
    return Refusal("too_short", f"At the drive's {abs(capture.drive_speed) / RPM:.4g} r/min the capture covers "
                   f"{periods:.2g} electrical periods and {revolutions:.2g} revolutions; {MIN_PERIODS:g} and "
                   f"{MIN_REVOLUTIONS:g} are needed. Take at least {10 * motor_type.pole_pairs / expected:.3g} s.")


def _refuse_sampling(expected: float, capture: Capture) -> Refusal | None:
    """Return why orders beyond the sampling would pass for lower ones, or None.

    No lower order is given either: without an analogue filter before the converter, order 13 at ten
    samples a period reads as order 3.
    """
    samples = 1 / (expected * capture.sample_interval)
    if samples >= MIN_SAMPLES_PER_PERIOD:
        return None
    return Refusal("sampled_too_slowly", f"There are {samples:.1f} samples in an electrical period: orders above "
                   f"{ORDERS_PER_SAMPLE * samples:.0f} cannot be told and would pass for lower ones. Orders up to "
                   f"{ORDERS} need {MIN_SAMPLES_PER_PERIOD} samples. Sample faster or turn slower.")
