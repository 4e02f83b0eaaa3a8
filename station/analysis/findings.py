"""Likely causes in words: fault signatures over one capture, and over a whole motor."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

from station.analysis.directions import combine_directions
from station.analysis.hall import HallAnalysis
from station.analysis.hall_causes import hall_causes
from station.analysis.result import CaptureAnalysis
from station.analysis.winding_causes import Side, emf_causes, winding_causes
from station.measurement import Finding, Measurement, Refusal
from station.motor import SENSORS, MotorType

HYSTERESIS_DEG = 4.0   # half of forward minus reverse; common latches give 1 to 3 degrees, no source

_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")


def find_causes(measurements: dict[str, Measurement], motor_type: MotorType, hall: HallAnalysis | None
                ) -> tuple[Finding, ...]:
    """Return what one capture points to; nothing for a good motor.

    Each finding names a cause with its evidence, and where several causes fit, what would tell
    them apart. Source of the signatures: derived from the machine's equations, one by one.
    """
    found = list(emf_causes(measurements))
    if hall is not None:
        found += hall_causes(measurements, motor_type, hall)
    return _distinct(found)


def find_motor_causes(captures: Sequence[CaptureAnalysis], rest: dict[str, Measurement], motor_type: MotorType,
                      failed: Mapping[str, Side] | None = None) -> tuple[Finding, ...]:
    """Return what all captures of a motor and its measurements at rest point to, each cause once.

    Parameters
    ----------
    captures : of one run, with the findings of each
    rest : measurements outside captures: resistance, insulation, supply current, drag
    failed : characteristics outside their limits and the side; keys may carry "@label". Weak
        magnets, low insulation, high drag and the like are judged against limits, so they are named
        only with these
    """
    plain = {key.split("@")[0]: side for key, side in (failed or {}).items()}
    found: list[Finding] = []
    for capture in captures:
        found += capture.findings
        if capture.refused is not None:
            found += _of_refusal(capture.refused)
    usable = [each.measurements for each in captures if each.refused is None]
    first: Mapping[str, Measurement] = usable[0] if usable else {}
    found += winding_causes(first, rest, motor_type, plain)
    found += _hysteresis(captures, rest)
    return _resolve_rotation(_distinct(found), captures, rest)


# refusal codes that say something of the motor; all others speak of the bench or of the capture
_REFUSALS = {"open_phase": "open_phase", "no_emf": "no_back_emf"}
_POLE_PAIRS = re.compile(r"motor has (\d+(?:\.\d+)?) pole pairs")


def _of_refusal(refusal: Refusal) -> Iterator[Finding]:
    poles = _POLE_PAIRS.search(refusal.text) if refusal.code == "speed_disagrees" else None
    if poles is not None:
        seen = float(poles[1])
        whole = seen >= 0.9 and abs(seen - round(seen)) < 0.05
        yield Finding("wrong_pole_count" if whole else "coupling_slips", refusal.text)
    elif refusal.code in _REFUSALS:
        yield Finding(_REFUSALS[refusal.code], refusal.text)


def _hysteresis(captures: Sequence[CaptureAnalysis], rest: Mapping[str, Measurement]) -> Iterator[Finding]:
    both = _both_directions(captures, rest)
    for sensor in SENSORS:
        found = both.get(f"hall_hysteresis.{sensor}")
        if found is not None and abs(found.value) > HYSTERESIS_DEG:
            yield Finding("excess_hysteresis", f"Hall sensor {sensor.upper()} switches {found.value:.1f} "
                          "degrees late in both directions: wide switching hysteresis, a weak sensing field, or "
                          "delay in the sensor line. Delay grows with speed, hysteresis does not: compare two speeds.")


def _both_directions(captures: Sequence[CaptureAnalysis], rest: Mapping[str, Measurement]
                     ) -> Mapping[str, Measurement]:
    """Values of both directions, given or made from the first pair of captures."""
    if any(name.startswith("hall_hysteresis.") for name in rest):
        return rest
    usable = [each for each in captures if each.refused is None and "speed" in each.measurements]
    forward = next((each for each in usable if each.measurements["speed"].value > 0), None)
    if forward is None:
        return {}
    speed = forward.measurements["speed"].value
    reverse = next((each for each in usable if abs(each.measurements["speed"].value + speed) < 0.05 * speed), None)
    return combine_directions(forward, reverse) if reverse is not None else {}


def _resolve_rotation(found: tuple[Finding, ...], captures: Sequence[CaptureAnalysis],
                      rest: Mapping[str, Measurement]) -> tuple[Finding, ...]:
    """With both directions known, a board that only seemed turned is left out.

    A turned board shifts every sensor the same way in both directions; delay and hysteresis shift
    them opposite ways, and their own finding says so.
    """
    both = _both_directions(captures, rest)
    positions = [each.value for sensor in SENSORS if (each := both.get(f"hall_position.{sensor}")) is not None]
    if len(positions) < len(SENSORS) or max(map(abs, positions)) > 4.0:
        return found
    return tuple(each for each in found if each.code != "hall_board_rotated")


def _distinct(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Each cause once: texts that differ only in their numbers are the same cause."""
    kept: dict[tuple[str, str], Finding] = {}
    for each in found:
        kept.setdefault((each.code, _NUMBER.sub("#", each.text)), each)
    return tuple(kept.values())
