"""What a refused capture says of the motor: open and shorted leads, no back-EMF, another rotor, a slipping coupling."""

import re
from collections.abc import Iterator, Mapping

from station.analysis.phase_fault import SHARED_LEAD
from station.analysis.suspicion import Suspicion
from station.measurement import Finding, Measurement, Refusal
from station.motor import LINES

Ohms = Mapping[str, float]

SHORTED_SHARE = 0.05     # of the mean of the other lines, below which two leads are joined
WHOLE = 6e-3             # relative: drive and back-EMF agree far better on speed, two decimals of pole pairs do not
_POLE_PAIRS = re.compile(r"motor has (\d+(?:\.\d+)?) pole pairs")
# Refusals that a contact opening now and then causes, beside troubles of the drive and of the digitizer.
_UNSTEADY = frozenset({"flux_disagrees", "speed_not_stable", "samples_missing"})


def refusal_causes(refusal: Refusal, ohms: Ohms) -> Iterator[Finding]:
    """Yield what a refusal points to; `ohms` is the resistance between the leads, as far as measured."""
    if refusal.code in {"open_phase", "shorted_leads"}:
        yield _no_voltage(refusal, ohms)
    elif refusal.code == "no_emf":
        yield Finding("no_back_emf", refusal.text)
    elif refusal.code == "speed_disagrees" and (seen := _POLE_PAIRS.search(refusal.text)) is not None:
        pairs = float(seen[1])
        whole = pairs > 0.9 and abs(pairs / round(pairs) - 1) < WHOLE
        yield Finding("wrong_pole_count" if whole else "coupling_slips", f"{refusal.text} Turned by hand through one "
                      "revolution, the motor shows its pole pairs in the pulses of a Hall sensor.")
    elif refusal.code in {"lines_do_not_close", "line_reversed"}:
        yield Finding("channel_wrong", f"{refusal.text} This speaks of the bench, not of the motor: another motor in "
                      "the same fixture shows it too.")
    elif refusal.code == "wave_disturbed":
        yield Finding("loose_contact", f"{refusal.text} If it comes again, a lead of the motor opens now and then: "
                      "move the leads one by one at rest while watching the resistance.")
    elif refusal.code in _UNSTEADY:
        yield Finding("unsteady_capture", f"{refusal.text} If the drive held its speed, a lead of the motor opens now "
                      "and then, the coupling slips, or a magnet is reversed. Move the leads one by one at rest while "
                      "watching the resistance; look at the Hall edges in a revolution, which a magnet changes alone.")


def closing_causes(measurements: Mapping[str, Measurement], suspicion: Suspicion) -> Iterator[Finding]:
    """Yield a channel that reads wrong, from lines that close less well than their limit asks for."""
    found = measurements.get("line_sum")
    if found is not None and suspicion.any("line_sum", unjudged=False):
        yield Finding("channel_wrong", f"The three lines do not add up to zero ({found.value:.2f} % of their mean): a "
                      "channel of the digitizer or a probe is wrong by about as much, not the motor; another motor in "
                      "the same fixture shows it too.")


def joined_line(ohms: Ohms) -> str | None:
    """Return the line between whose leads next to nothing is left of the resistance, or None."""
    if len(ohms) < len(LINES):
        return None
    line = min(ohms, key=lambda each: ohms[each])
    others = sum(ohms[each] for each in LINES if each != line) / 2
    return line if ohms[line] < SHORTED_SHARE * others else None


def shorted_between(line: str, ohms: Ohms) -> Finding:
    """Return the finding of two leads joined: in a delta a phase from end to end, in a star its two leads."""
    listed = ", ".join(f"{each} {ohms[each]:.4g} ohm" for each in LINES)
    return Finding("shorted_phase", f"No voltage and next to no resistance are left across {line} ({listed}): the "
                   f"phase across {line} is shorted from end to end, or leads {line[0].upper()} and {line[1].upper()} "
                   "touch. With the leads parted at the motor, a short between them is gone.")


def _no_voltage(refusal: Refusal, ohms: Ohms) -> Finding:
    """An open lead leaves half of the voltage on two lines; joined leads leave none on one, and no resistance."""
    line = joined_line(ohms)
    if line is not None:
        return shorted_between(line, ohms)
    if refusal.code == "shorted_leads":
        listed = ", ".join(f"{each} {ohms[each]:.4g} ohm" for each in LINES if each in ohms) or "not measured"
        return Finding("shorted_phase", f"{refusal.text} The resistance ({listed}) does not bear that out: look at the "
                       "leads of the voltage inputs first.")
    missing = [each for each in LINES if each not in ohms]
    if ohms and len(missing) == len(LINES) - 1:
        closed = next(each for each in LINES if each in ohms)
        return Finding("open_phase", f"{refusal.text} No resistance can be measured across {', '.join(missing)} "
                       f"either: lead {SHARED_LEAD[closed]} or its phase is open.")
    if len(ohms) == len(LINES):
        listed = ", ".join(f"{each} {ohms[each]:.4g} ohm" for each in LINES)
        return Finding("open_phase", f"{refusal.text} At rest all lines had resistance ({listed}): the contact opened "
                       "after that, or the contact of the voltage inputs is open.")
    return Finding("open_phase", refusal.text)
