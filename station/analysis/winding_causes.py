"""Signatures of faults in the winding: open, shorted, reversed and uneven phases, bad joints, wrong turns."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import isfinite, sqrt

from station.analysis.phase_deviation import braking_phase
from station.analysis.phase_fault import (
    SHARED_LEAD,
    PhaseFault,
    fault_of_voltages,
    odd_line,
    share_of_resistance,
    sound_resistance,
)
from station.analysis.suspicion import Suspicion
from station.measurement import Finding, Measurement
from station.motor import LINES, MotorType, Winding

Measurements = Mapping[str, Measurement]

UNBALANCE = 1.5               # %, negative over positive sequence; common practice is 1 to 2, no source
PHASE_LOST_UNBALANCE = 30.0   # %; a whole phase reversed or shorted gives 50 and more (derived)
RESISTANCE_SPREAD = 4.0       # %
OPEN_OHM = 1e6                # a winding above this is open, however the meter says so
# With a limit failed: what the three phases of a sound motor may differ by, too little to be the reason of it
SOUND_SHARE = 0.015
BALANCE = ("back_emf_unbalance", "back_emf_spread", "phase_angle", "back_emf_constant_fundamental",
           "back_emf_constant_peak", "back_emf_constant_rms", "flux_linkage")
CONSTANT = "back_emf_constant_fundamental"


@dataclass(frozen=True, slots=True)
class WindingEvidence:
    """What speaks of the winding: volts and ohms by line as far as measured, unbalance (%) and order."""

    volts: Mapping[str, float]
    ohms: Mapping[str, float]
    unbalance: float | None
    order: float | None
    winding: Winding
    suspicion: Suspicion

    @property
    def is_unbalanced(self) -> bool:
        """Whether one phase has another voltage than the others."""
        if self.unbalance is None or len(self.volts) < len(LINES):
            return False
        if not self.suspicion.any(*BALANCE, "drag_torque", unjudged=self.unbalance > UNBALANCE):
            return False
        fault = fault_of_voltages(self.volts, self.winding)
        if abs(1 - fault.left) <= 2 * SOUND_SHARE:
            return False
        # Shorted turns may brake too much before their voltage fails; then the resistance must bear it out.
        share = share_of_resistance(self.ohms, fault, self.winding)
        return self.suspicion.any(*BALANCE, unjudged=True) or (
            share is not None and 1 - share > max((1 - fault.left) / 2, 2 * SOUND_SHARE))


def evidence_of(measurements: Measurements, rest: Measurements, motor_type: MotorType, suspicion: Suspicion
                ) -> WindingEvidence:
    """Return what one capture and the measurements at rest say of the winding."""
    volts = {line: each.value for line in LINES if (each := measurements.get(f"{CONSTANT}.{line}")) is not None}
    ohms = {line: each.value for line in LINES if (each := rest.get(f"winding_resistance.{line}")) is not None}
    unbalance, order = measurements.get("back_emf_unbalance"), measurements.get("phase_order")
    return WindingEvidence(volts, ohms, unbalance.value if unbalance else None, order.value if order else None,
                           motor_type.winding, suspicion)


def open_causes(evidence: WindingEvidence) -> Iterator[Finding]:
    """Yield a winding without a way through, from the resistance; a line that has none is left out of it."""
    ohms = evidence.ohms
    opened = [line for line in LINES if line not in ohms or not isfinite(ohms[line]) or ohms[line] > OPEN_OHM]
    if opened and ohms:
        closed = [line for line in LINES if line not in opened]
        where = f"lead {SHARED_LEAD[closed[0]]}" if len(closed) == 1 else "more than one lead"
        yield Finding("open_phase", f"No resistance can be measured across {', '.join(opened)}: {where} or its "
                      "phase is open, or the contact to it. Measured at the motor's own leads, a contact drops out.")
        return
    if evidence.winding == "delta" and len(ohms) == len(LINES):
        low, middle, high = sorted(ohms.values())
        # a delta with one phase open: 2R across it and R across the others (derived)
        if abs(high / middle - 2.0) < 0.1 and abs(middle / low - 1.0) < 0.1:
            line = max(ohms, key=lambda each: ohms[each])
            yield Finding("open_phase", f"Resistance across {line} is {high / middle:.2f} times that of the other "
                          f"lines ({_list(ohms)}): the phase across {line} of the delta is open. Back-EMF cannot show "
                          "this.")


def uneven_causes(evidence: WindingEvidence) -> Iterator[Finding]:
    """Yield what makes one phase or lead unlike the others."""
    if evidence.is_unbalanced:
        yield from _unbalanced(evidence)
    else:
        yield from _uneven_ohms(evidence)


def _unbalanced(e: WindingEvidence) -> Iterator[Finding]:
    fault = fault_of_voltages(e.volts, e.winding)
    two = [line for line in LINES if line != fault.line]
    ratio = sum(e.volts[line] for line in two) / 2 / e.volts[fault.line]
    phase, unbalance = fault.name(e.winding), e.unbalance or 0.0
    evidence = (f"Lines {two[0]} and {two[1]} have {100 * abs(1 - ratio):.1f} % "
                f"{'less' if ratio < 1.0 else 'more'} back-EMF than {fault.line}, with {unbalance:.1f} % unbalance")
    braking = braking_phase(e.volts, e.ohms, e.winding)
    if unbalance > PHASE_LOST_UNBALANCE:
        yield from _phase_lost(e, fault, evidence)
    elif braking is not None and braking[0] != phase and braking[1] > 2 * SOUND_SHARE:
        yield Finding("shorted_turns", f"{evidence}, and phase {braking[0]} has {100 * braking[1]:.1f} % less "
                      f"resistance than the others ({_list(e.ohms)}): about as many turns of phase {braking[0]} are "
                      "shorted, and their current turns its voltage. At higher speed drag grows.")
    elif fault.left > 1.0:
        yield Finding("winding_uneven", f"{evidence}: phase {phase} has {100 * (fault.left - 1):.1f} % more turns than "
                      f"the others, or both others have less ({_list(e.ohms)}). The resistance of each coil tells.")
    else:
        yield _fewer_turns(e, fault, evidence, phase)


def _phase_lost(e: WindingEvidence, fault: PhaseFault, evidence: str) -> Iterator[Finding]:
    """Reversed, a phase turns the order of the lines over and keeps its resistance; shorted, neither."""
    share, phase = share_of_resistance(e.ohms, fault, e.winding), fault.name(e.winding)
    turned_over = e.order == -1
    is_reversed = turned_over if share is None else share > 0.5
    order = "the lines in reversed order" if turned_over else "the lines in their order"
    if is_reversed:
        yield Finding("reversed_phase", f"{evidence} and {order} ({_list(e.ohms)}): phase {phase} is reversed.")
    else:
        yield Finding("shorted_phase", f"{evidence} and {order} ({_list(e.ohms)}): phase {phase} is shorted from end "
                      "to end.")
    if is_reversed != turned_over:
        yield Finding("motor_leads_exchanged", f"With phase {phase} {'reversed' if is_reversed else 'shorted'} the "
                      f"lines would run in {'reversed' if is_reversed else 'their'} order, and they do not: two motor "
                      "leads are exchanged as well, or the motor turned backwards; look at the shaft.")


def _fewer_turns(e: WindingEvidence, fault: PhaseFault, evidence: str, phase: str) -> Finding:
    """Shorted turns take their resistance with them, a reversed coil keeps it: the nearer of both."""
    lost, share = 1 - fault.left, share_of_resistance(e.ohms, fault, e.winding)
    if share is None:
        return Finding("shorted_turns", f"{evidence}: {100 * lost:.0f} % of the turns of phase {phase} are shorted, or "
                       f"a coil with {50 * lost:.0f} % of them is reversed. The winding resistance tells them apart; "
                       "it was not measured.")
    side = "below" if share < 1 else "above"
    measured = f"its resistance is {100 * abs(1 - share):.1f} % {side} the others ({_list(e.ohms)})"
    if 1 - share > lost / 2:
        return Finding("shorted_turns", f"{evidence}, and {measured}: about {100 * lost:.0f} % of the turns of phase "
                       f"{phase} are shorted. At higher speed drag grows.")
    return Finding("coil_group_reversed", f"{evidence} while {measured}, not {100 * lost:.0f} %: a coil with about "
                   f"{50 * lost:.0f} % of the turns of phase {phase} is reversed, or as many turns short through a "
                   "resistance of their own. The drag torque at two speeds tells: only shorted turns brake.")


def _uneven_ohms(e: WindingEvidence) -> Iterator[Finding]:
    """Two lines that differ from the third share a lead or, in star, a phase."""
    if len(e.ohms) < len(LINES):
        return
    odd, apart = odd_line(e.ohms), _uneven_share(e.ohms)
    others = sum(e.ohms[line] for line in LINES if line != odd) / 2
    if not e.suspicion.any("winding_resistance", "winding_resistance_spread",
                           unjudged=100 * apart > RESISTANCE_SPREAD) or apart < SOUND_SHARE:
        return
    balance = "" if not e.volts else " while the back-EMF is balanced"
    if others > e.ohms[odd]:
        lead = SHARED_LEAD[odd]
        also = f", or in phase {lead} itself" if e.winding == "star" else ""
        yield Finding("joint_resistance", f"Resistance is {1000 * (others - e.ohms[odd]):.3g} mohm higher on the two "
                      f"lines of lead {lead} ({_list(e.ohms)}){balance}: a bad joint or terminal in lead {lead}{also}. "
                      "Measured at the motor's own leads, the contacts of the fixture drop out.")
        return
    less = f"phase {SHARED_LEAD[odd]} has turns shorted" if e.winding == "star" else "two phases have turns shorted"
    yield Finding("resistance_uneven", f"Resistance is higher across {odd} than across the other lines "
                  f"({_list(e.ohms)}){balance}: two of the leads have bad joints, or {less}, which the back-EMF "
                  "shows as well. Measure again after checking the contacts.")


def common_causes(e: WindingEvidence) -> Iterator[Finding]:
    """Yield what all three lines have in common: magnets, turns, wire; a fault of one phase allowed for."""
    emf, ohm = _emf_side(e), _ohm_side(e)
    turns, square = _over_middle(e)
    if (emf or ohm) and _is_turns(emf, ohm, turns, square):
        many = (emf or ohm) == "high"
        yield Finding("wrong_winding", f"Back-EMF and resistance are both {'high' if many else 'low'} on all lines "
                      f"({_volts(e.volts)}; {_list(e.ohms)}): the winding has too {'many' if many else 'few'} turns, "
                      "or is of another motor type.")
        return
    if emf == "low":
        yield Finding("weak_magnets", f"All three lines have too little back-EMF ({_volts(e.volts)}) and no line "
                      "stands out beyond that: the magnets are weak, under-magnetised or hot. Repeat at a known "
                      "temperature to rule heat out. One very weak pole reads the same in a winding that averages the "
                      "poles out; a field probe around the rotor tells.")
    elif emf == "high":
        yield Finding("strong_magnets", f"All three lines have too much back-EMF ({_volts(e.volts)}) and no line "
                      "stands out: another magnet grade, too small an air gap, or a colder motor than recorded.")
    if ohm is not None:
        yield Finding(f"resistance_{ohm}", f"Resistance is too {ohm} on all lines ({_list(e.ohms)}) and the back-EMF "
                      "does not go with it as turns would: another wire gauge, the temperature of the winding, or the "
                      "fixture. Repeat at rest with a known temperature.")


def _emf_side(e: WindingEvidence) -> str | None:
    """The side on which all lines failed, unless one faulty phase is reason enough."""
    uneven = e.is_unbalanced
    side = next((found for name in BALANCE[3:]
                 if (found := e.suspicion.side_of(name, LINES, every=uneven)) is not None), None)
    if side is None or not uneven:
        return side
    if (e.unbalance or 0.0) > PHASE_LOST_UNBALANCE:
        return None
    return _beyond(fault_of_voltages(e.volts, e.winding).sound, e.suspicion.limits(*(f"{CONSTANT}.{n}" for n in LINES)))


def _ohm_side(e: WindingEvidence) -> str | None:
    uneven = e.is_unbalanced
    side = e.suspicion.side_of("winding_resistance", LINES, every=uneven or _uneven_share(e.ohms) > SOUND_SHARE)
    if side is None or not uneven:
        return side
    if (e.unbalance or 0.0) > PHASE_LOST_UNBALANCE:
        return None
    sound = sound_resistance(e.ohms, fault_of_voltages(e.volts, e.winding), e.winding)
    return None if sound is None else _beyond(sound, e.suspicion.limits(*(f"winding_resistance.{n}" for n in LINES)))


def _uneven_share(ohms: Mapping[str, float]) -> float:
    """How far the line that differs most lies from the two others, over the mean of all."""
    if len(ohms) < len(LINES):
        return 0.0
    odd = odd_line(ohms)
    others = sum(ohms[line] for line in LINES if line != odd) / 2
    return abs(others - ohms[odd]) / (sum(ohms.values()) / 3)


def _beyond(value: float, limits: tuple[float, float]) -> str | None:
    """Side on which a value lies beyond its limits; nan compares false."""
    return "low" if value < limits[0] else "high" if value > limits[1] else None


def _over_middle(e: WindingEvidence) -> tuple[float, float]:
    """Means of back-EMF and resistance over the middle of their limits; nan where unknown."""
    if len(e.volts) < len(LINES) or len(e.ohms) < len(LINES):
        return float("nan"), float("nan")
    volts, ohms = (sum(each.values()) / 3 for each in (e.volts, e.ohms))
    return (e.suspicion.over_middle(volts, *(f"{CONSTANT}.{line}" for line in LINES)),
            e.suspicion.over_middle(ohms, *(f"winding_resistance.{line}" for line in LINES)))


def _is_turns(emf: str | None, ohm: str | None, turns: float, ohms: float) -> bool:
    """Whether resistance goes with the square of the back-EMF, as turns in a full slot make it.

    Without the middles of the limits, both failing on one side must do.
    """
    if not (isfinite(turns) and isfinite(ohms)):
        return emf is not None and emf == ohm
    if emf is not None and ohm is not None:
        return emf == ohm
    if emf is not None:
        return abs(ohms - turns**2) < abs(ohms - 1)
    return abs(turns - sqrt(ohms)) < abs(turns - 1)


def _volts(volts: Mapping[str, float]) -> str:
    return ", ".join(f"{line} {value:.4g} V/krpm" for line, value in volts.items()) or "not measured"


def _list(ohms: Mapping[str, float]) -> str:
    return ", ".join(f"{line} {value:.4g} ohm" for line, value in ohms.items()) or "resistance not measured"
