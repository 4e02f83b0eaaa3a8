"""Likely causes in words: fault signatures over one capture, and over a whole motor."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from math import isfinite, nan

from station.analysis.hall import HallAnalysis
from station.analysis.hall_causes import count_causes, order_and_place_causes, scattered, stuck_causes
from station.analysis.hall_places import ECCENTRIC_DEG, eccentric_causes
from station.analysis.hall_view import view_of_motor, view_of_one
from station.analysis.magnet_causes import PoleEvidence, pole_causes, spread_of
from station.analysis.refusal_causes import closing_causes, refusal_causes
from station.analysis.rest_causes import rest_causes
from station.analysis.result import CaptureAnalysis
from station.analysis.suspicion import Bounds, Failed, Suspicion, suspicion
from station.analysis.winding_causes import common_causes, evidence_of, open_causes, uneven_causes
from station.measurement import Finding, Measurement
from station.motor import SENSORS, MotorType

_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")
_UNJUDGED = Suspicion()

# What a capture alone shows beyond doubt, whatever the limits.
_CERTAIN = frozenset({"hall_supply_missing", "hall_sensor_stuck", "hall_channel_missing", "hall_bounce",
                      "hall_pulse_missing", "reversed_magnet"})
# Faults of the winding in which currents flow once the shaft turns.
_BRAKES = {"shorted_turns": "the shorted winding", "shorted_phase": "the shorted phase",
           "reversed_phase": "the reversed phase", "coil_group_reversed": "an uneven delta"}


def find_causes(measurements: dict[str, Measurement], motor_type: MotorType, hall: HallAnalysis | None
                ) -> tuple[Finding, ...]:
    """Return what one capture points to; nothing for a good motor.

    Each finding names a cause with its evidence, and where several causes fit, what would tell
    them apart. Source of the signatures: derived from the machine's equations, one by one.
    """
    certain = [*stuck_causes(hall), *count_causes(measurements, motor_type, all_switch=not hall.stuck, hall=hall)] if (
        hall is not None and motor_type.sensors is not None) else []
    found: list[Finding] = list(certain)
    wobble = _wobble(measurements) if hall is not None else {}
    found += pole_causes(PoleEvidence(spread_of(measurements), _names(certain, "reversed_magnet"), bool(wobble),
                                      emf_low=False, deficit=nan, suspicion=_UNJUDGED))
    if hall is not None and motor_type.sensors is not None:
        if not _names(certain, "reversed_magnet"):
            found += order_and_place_causes(view_of_one(measurements), motor_type.sensors, _UNJUDGED)
        found += eccentric_causes(wobble, spread_of(measurements), _UNJUDGED)
    return _distinct(found)


def find_motor_causes(captures: Sequence[CaptureAnalysis], rest: Mapping[str, Measurement], motor_type: MotorType,
                      failed: Failed | None = None, bounds: Bounds | None = None) -> tuple[Finding, ...]:
    """Return what all captures of a motor and its measurements at rest point to, each cause once.

    Parameters
    ----------
    captures : of one run, with the findings of each
    rest : measurements outside captures: resistance, insulation, supply current; drag as
        `drag_torque@label`
    failed : characteristics outside their limits and the side; keys may carry "@label". With these, a
        cause is named only for what failed, and nothing is said against a motor within its limits;
        without, only for what no good motor of common limits shows
    bounds : limits by full name, which tell wrong turns from weak magnets
    """
    suspected = suspicion(failed, bounds)
    refused = [capture.refused for capture in captures if capture.refused is not None]
    usable = [capture.measurements for capture in captures if capture.refused is None]
    ohms = evidence_of({}, rest, motor_type, suspected).ohms
    found = [cause for refusal in refused for cause in refusal_causes(refusal, ohms)]
    if suspected.sides is not None and not suspected.sides and not refused:
        return ()
    first = usable[0] if usable else {}
    certain = [_with_back_emf(each, first, motor_type, suspected) if each.code == "reversed_magnet" else each
               for capture in captures for each in capture.findings if each.code in _CERTAIN]
    found += closing_causes(first, suspected)
    found += _winding(first, rest, motor_type, suspected, [*found, *certain])
    found += certain
    found += _hall(usable, motor_type, suspected, found)
    brakes = next((words for code, words in _BRAKES.items() if _names(found, code)), "")
    found += rest_causes(rest, suspected, brakes)
    return _once(found)


def _with_back_emf(found: Finding, first: Mapping[str, Measurement], motor_type: MotorType, suspected: Suspicion
                   ) -> Finding:
    """Add what the back-EMF says to edges that are missing: a magnet of the rotor costs it 1/p, one of a ring nothing.

    Source: fundamental by 1 - 1/p for phases connected in series (derived).
    """
    left = _left(first, suspected)
    expected = 1 - 1 / motor_type.pole_pairs
    if not isfinite(left):
        return found
    text = f"{found.text} Of the back-EMF {100 * left:.0f} % of the middle of its limits is left"
    if left < (1 + expected) / 2:
        return Finding(found.code, f"{text}, and a reversed magnet of the rotor leaves {100 * expected:.0f} %.")
    return Finding(found.code, f"{text}, where a reversed magnet of the rotor would leave {100 * expected:.0f} %: a "
                   "ring of its own, or a pole too weak for the sensors, is likelier.")


def _left(measurements: Mapping[str, Measurement], suspected: Suspicion) -> float:
    """Return the mean back-EMF over the middle of its limits; nan if unknown."""
    found = measurements.get("back_emf_constant_fundamental.mean")
    return nan if found is None else suspected.over_middle(found.value, "back_emf_constant_fundamental.ab")


def _winding(first: Mapping[str, Measurement], rest: Mapping[str, Measurement], motor_type: MotorType,
             suspected: Suspicion, known: Sequence[Finding]) -> Iterator[Finding]:
    evidence = evidence_of(first, rest, motor_type, suspected)
    opened = [] if _names(known, "open_phase", "shorted_phase") else list(open_causes(evidence))
    yield from opened
    if opened or _names(known, "open_phase", "shorted_phase"):
        return
    yield from uneven_causes(evidence)
    common = tuple(common_causes(evidence))
    low = any(each.code in {"weak_magnets", "wrong_winding"} for each in common)
    reversed_magnet = _names(known, "reversed_magnet")
    poles = PoleEvidence(spread_of(first), reversed_magnet, bool(_wobble(first)), low,
                         100 * (1 - _left(first, suspected)), suspected)
    yield from pole_causes(poles)
    # A pole that is weak or reversed lowers all lines by its share of the flux; that needs no cause of its own.
    explained = reversed_magnet or poles.accounts_for_the_loss
    yield from (each for each in common if each.code != "weak_magnets" or not explained)


def _hall(usable: Sequence[Mapping[str, Measurement]], motor_type: MotorType, suspected: Suspicion,
          known: Sequence[Finding]) -> Iterator[Finding]:
    layout = motor_type.sensors
    if layout is None or not usable or _names(known, "reversed_magnet"):
        return
    view = view_of_motor(usable)
    if _names(known, "hall_pulse_missing"):
        # Edges in the wrong place by chance pull the means of their sensor.
        view = view.without({sensor for each in usable for sensor in scattered(each)})
    if _names(known, "weak_pole", "hall_bounce"):
        view = view.without_lags()   # a weak pole is passed late in both directions, and a bouncing edge ends late
    yield from order_and_place_causes(view, layout, suspected)
    if not _names(known, "weak_pole"):
        yield from eccentric_causes(_wobble(usable[0]), spread_of(usable[0]), suspected)


def _wobble(measurements: Mapping[str, Measurement]) -> dict[str, float]:
    """Once-per-revolution movement of each sensor's edges, degrees; empty unless all of them move."""
    found = {sensor: each.value for sensor in SENSORS
             if (each := measurements.get(f"hall_eccentricity.{sensor}")) is not None}
    return found if len(found) == len(SENSORS) and min(found.values()) > ECCENTRIC_DEG else {}


def _names(found: Iterable[Finding], *codes: str) -> bool:
    return any(each.code in codes for each in found)


def _distinct(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Each cause once: texts that differ only in their numbers are the same cause."""
    kept: dict[tuple[str, str], Finding] = {}
    for each in found:
        kept.setdefault((each.code, _NUMBER.sub("#", each.text)), each)
    return tuple(kept.values())


def _once(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Each cause once, and what one of them explains left to it."""
    kept = _distinct(found)
    for code in ("hall_pulse_missing", "hall_bounce"):   # the capture that names the sensor says more
        fullest = max((each for each in kept if each.code == code), key=lambda each: len(each.text), default=None)
        kept = tuple(each for each in kept if each is fullest or each.code != code)
    if sum(each.code == "hall_supply_missing" for each in kept) > 1:
        lines, current = (each for each in kept if each.code == "hall_supply_missing")
        merged = Finding("hall_supply_missing", f"{current.text} {lines.text}")
        kept = (merged, *(each for each in kept if each.code != "hall_supply_missing"))
    return kept
