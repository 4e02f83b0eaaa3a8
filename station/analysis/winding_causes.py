"""Signatures of faults in winding and magnets, from back-EMF, resistance and what failed its limits."""

from collections.abc import Iterator, Mapping
from math import inf, isfinite
from typing import Literal

from station.measurement import Finding, Measurement
from station.motor import LINES, MotorType

Side = Literal["low", "high", "missing"]
Measurements = Mapping[str, Measurement]
Failed = Mapping[str, Side]

UNBALANCE = 1.5           # %, negative over positive sequence; common practice is 1 to 2, no source
PHASE_LOST_UNBALANCE = 30.0   # %; a whole phase reversed or shorted gives 50 and more (derived)
POLE_SPREAD = 5.0         # %, half-cycle gains of a sound motor lie closer; common practice, no source
REVERSED_POLE_SPREAD = 18.0
RESISTANCE_SPREAD = 4.0   # %
OPEN_OHM = 1e6            # a winding above this is open, however the meter says so
LINE_SUM = 1.0            # %

# the lead that two lines have in common, by the line that is left over
SHARED_LEAD = {"ab": "C", "bc": "A", "ca": "B"}


def emf_causes(measurements: Measurements) -> Iterator[Finding]:
    """Yield what the back-EMF of one capture points to; nothing for a good motor."""
    line_sum = _value(measurements, "line_sum")
    if line_sum is not None and line_sum > LINE_SUM:
        yield Finding("channel_gain", f"The three lines do not add up to zero ({line_sum:.2f} % of their mean): a "
                      "channel of the digitizer or a probe is wrong, not the motor. Check the bench first.")
    spreads = [value for line in LINES if (value := _value(measurements, f"pole_spread.{line}")) is not None]
    if spreads and max(spreads) > REVERSED_POLE_SPREAD:
        yield Finding("reversed_magnet", f"Half cycles differ by {max(spreads):.0f} % within a revolution: a "
                      "magnet is reversed or missing.")
    elif spreads and max(spreads) > POLE_SPREAD:
        yield Finding("weak_pole", f"Half cycles differ by {max(spreads):.1f} % within a revolution: one pole "
                      "is weak, or the rotor runs out of centre. Some windings average a weak pole out, so its "
                      "size cannot be told from this.")


def winding_causes(measurements: Measurements, rest: Measurements, motor_type: MotorType, failed: Failed
                   ) -> Iterator[Finding]:
    """Yield what the back-EMF of one capture together with the motor at rest points to.

    Parameters
    ----------
    measurements : of one capture, possibly empty
    rest : resistance, insulation, supply current, drag
    failed : plain names of failed characteristics with the side on which they failed
    """
    ohms = {line: each.value for line in LINES if (each := rest.get(f"winding_resistance.{line}")) is not None}
    opened = list(_open_phase(ohms, motor_type))
    yield from opened
    if not opened:
        yield from _uneven(measurements, ohms)
        yield from _all_lines(ohms, failed)
    yield from _poles(measurements, failed)
    yield from _at_rest(rest, failed)


def _poles(measurements: Measurements, failed: Failed) -> Iterator[Finding]:
    """A spread between poles that is only wide for its limit; the wide ones are named without."""
    spreads = [value for line in LINES if failed.get(f"pole_spread.{line}", failed.get("pole_spread")) == "high"
               and (value := _value(measurements, f"pole_spread.{line}")) is not None]
    if spreads and max(spreads) <= POLE_SPREAD:
        yield Finding("weak_pole", f"Half cycles differ by {max(spreads):.2f} % within a revolution: one pole is weak, "
                      "or the rotor runs out of centre.")


def _open_phase(ohms: Mapping[str, float], motor_type: MotorType) -> Iterator[Finding]:
    if len(ohms) < len(LINES):
        return
    opened = [line for line in LINES if not isfinite(ohms[line]) or ohms[line] > OPEN_OHM]
    if opened:
        closed = [line for line in LINES if line not in opened]
        where = f"lead {SHARED_LEAD[closed[0]]}" if len(closed) == 1 else "more than one lead"
        yield Finding("open_phase", f"No resistance can be measured across {', '.join(opened)}: {where} or its "
                      "phase is open.")
        return
    low, middle, high = sorted(ohms.values())
    # a delta with one phase open: 2R across it and R across the others
    if motor_type.winding == "delta" and abs(high / middle - 2.0) < 0.1 and abs(middle / low - 1.0) < 0.1:
        line = max(ohms, key=lambda each: ohms[each])
        yield Finding("open_phase", f"Resistance across {line} is twice that of the other lines "
                      f"({_list(ohms)}): the phase across {line} of the delta is open. Back-EMF cannot show this.")


def _uneven(measurements: Measurements, ohms: Mapping[str, float]) -> Iterator[Finding]:
    """Two lines that differ from the third share one phase (star) or lead."""
    volts = {line: value for line in LINES
             if (value := _value(measurements, f"back_emf_constant_fundamental.{line}")) is not None}
    unbalance = _value(measurements, "back_emf_unbalance")
    odd_ohm = _odd_line(ohms, RESISTANCE_SPREAD)
    if unbalance is not None and unbalance > UNBALANCE and len(volts) == len(LINES):
        yield _unbalanced(volts, unbalance, _value(measurements, "phase_order"), ohms, odd_ohm)
    elif odd_ohm is not None and _above(ohms, odd_ohm):
        yield Finding("joint_resistance", f"Resistance is higher on the two lines of lead {SHARED_LEAD[odd_ohm]} "
                      f"({_list(ohms)}) while the back-EMF is balanced: a bad joint or terminal in lead "
                      f"{SHARED_LEAD[odd_ohm]}.")
    elif odd_ohm is not None:
        yield Finding("resistance_uneven", f"Resistance differs between the lines ({_list(ohms)}) while the "
                      "back-EMF does not say why; measure again after checking the contacts.")


def _unbalanced(volts: Mapping[str, float], unbalance: float, order: float | None, ohms: Mapping[str, float],
                odd_ohm: str | None) -> Finding:
    odd = _odd_line(volts, 0.0) or max(volts, key=lambda line: volts[line])
    two = [line for line in LINES if line != odd]
    ratio = sum(volts[line] for line in two) / 2 / volts[odd]
    # star: the two lines of the bad phase are low; delta: the line across it is lowest
    phase = SHARED_LEAD[odd] if ratio < 1.0 else odd
    evidence = (f"Lines {two[0]} and {two[1]} have {100 * abs(1 - ratio):.1f} % "
                f"{'less' if ratio < 1.0 else 'more'} back-EMF than {odd}, with {unbalance:.1f} % unbalance")
    if unbalance > PHASE_LOST_UNBALANCE and order == -1:
        return Finding("reversed_phase", f"{evidence} and the lines in reversed order: phase {phase} is reversed.")
    if unbalance > PHASE_LOST_UNBALANCE:
        return Finding("shorted_phase", f"{evidence} and the lines in their order ({_list(ohms)}): phase {phase} is "
                       "shorted from end to end.")
    if odd_ohm == odd and _above(ohms, odd) == (ratio > 1.0):
        return Finding("shorted_turns", f"{evidence}, and the resistance is uneven in the same way "
                       f"({_list(ohms)}): turns of phase {phase} are shorted. At higher speed drag grows.")
    if len(ohms) == len(LINES):
        return Finding("coil_group_reversed", f"{evidence} while the resistances agree ({_list(ohms)}): a coil of "
                       f"phase {phase} is reversed or has turns missing. Few shorted turns look the same if the "
                       "resistance cannot resolve them; the drag torque at two speeds tells.")
    return Finding("shorted_turns", f"{evidence}: turns of phase {phase} are shorted, or a coil of it is "
                   "reversed. The winding resistance tells them apart; it was not measured.")


def _all_lines(ohms: Mapping[str, float], failed: Failed) -> Iterator[Finding]:
    emf = _side_of_all(failed, ("back_emf_constant_fundamental", "back_emf_constant_peak", "back_emf_constant_rms",
                                "flux_linkage"))
    ohm = _side_of_all(failed, ("winding_resistance",))
    if emf == "low" and ohm == "low":
        yield Finding("wrong_winding", f"Back-EMF and resistance are low on all lines ({_list(ohms)}): the "
                      "winding has too few turns, or is of another motor type.")
    elif emf == "low":
        yield Finding("weak_magnets", "All three lines have too little back-EMF and no line stands out: the "
                      "magnets are weak, under-magnetised or hot. Repeat at a known temperature to rule heat out.")
    elif emf == "high":
        yield Finding("wrong_winding" if ohm == "high" else "strong_magnets",
                      "All three lines have too much back-EMF and no line stands out: "
                      + ("with more resistance too, so too many turns or another motor type."
                         if ohm == "high" else "another magnet grade, too small an air gap, or a colder motor "
                         "than recorded."))
    elif ohm is not None:
        yield Finding(f"resistance_{ohm}", f"Resistance is too {ohm} on all lines ({_list(ohms)}) while the "
                      "back-EMF passes: another wire gauge, the temperature of the winding, or the fixture.")


def _at_rest(rest: Measurements, failed: Failed) -> Iterator[Finding]:
    insulation, drag = rest.get("insulation_resistance"), rest.get("drag_torque")
    if failed.get("insulation_resistance") == "low" and insulation is not None:
        yield Finding("insulation_low", f"Insulation resistance is {insulation.value:.3g} Mohm: damaged "
                      "insulation, moisture or dirt between winding and frame.")
    if failed.get("drag_torque") == "high" and drag is not None:
        yield Finding("drag_high", f"The motor takes {drag.value:.3g} mN m to turn: bearing, seal or rubbing "
                      "rotor; or shorted turns, whose drag grows with speed.")
    current = rest.get("sensor_supply_current")
    if current is not None and "sensor_supply_current" in failed:
        side = failed["sensor_supply_current"]
        cause = "a short in sensors or wires" if side == "high" else "a sensor or its supply lead is open"
        yield Finding(f"sensor_current_{side}", f"The Hall sensors take {current.value:.2f} mA: {cause}.")


def _side_of_all(failed: Failed, names: tuple[str, ...]) -> Side | None:
    """The side on which all three lines failed in one of the characteristics."""
    for name in names:
        sides = {failed.get(f"{name}.{line}", failed.get(name)) for line in LINES}
        if len(sides) == 1 and (side := sides.pop()) in {"low", "high"}:
            return side
    return None


def _odd_line(values: Mapping[str, float], least: float) -> str | None:
    """The line that differs from two that agree, if by more than `least` %."""
    if len(values) < len(LINES) or not all(isfinite(each) for each in values.values()):
        return None
    middle = sorted(values.values())[1]
    odd = max(values, key=lambda line: abs(values[line] - middle))
    mean = sum(values.values()) / len(values)
    return odd if 100.0 * abs(values[odd] - middle) > least * mean else None


def _above(values: Mapping[str, float], odd: str) -> bool:
    """True if the two other lines are higher than the odd one."""
    return min((value for line, value in values.items() if line != odd), default=-inf) > values[odd]


def _list(ohms: Mapping[str, float]) -> str:
    return ", ".join(f"{line} {value:.4g} ohm" for line, value in ohms.items()) or "not measured"


def _value(measurements: Measurements, name: str) -> float | None:
    found = measurements.get(name)
    return None if found is None else found.value
