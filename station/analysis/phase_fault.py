"""Which phase differs from the two others, and by how much, seen from the leads."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite, sqrt

from station.analysis.winding import phase_resistances
from station.motor import LINES, Winding

# the lead that two lines have in common, by the line that is left over
SHARED_LEAD = {"ab": "C", "bc": "A", "ca": "B"}


@dataclass(frozen=True, slots=True)
class PhaseFault:
    """One phase at `left` of the voltage of the two others; `sound` is what a line has without the fault."""

    line: str          # the line that differs: in star the one without the phase, in delta the one across it
    left: float        # 1 for a sound phase
    sound: float       # in the unit of the lines

    def name(self, winding: Winding) -> str:
        """Return the phase's name: its lead in star, its line in delta."""
        return SHARED_LEAD[self.line] if winding == "star" else self.line


def fault_of_voltages(volts: Mapping[str, float], winding: Winding) -> PhaseFault:
    """Return the one phase whose voltage explains the three line fundamentals best.

    Star, phase a at q: ab = ca = sqrt((1 + q + q²)/3), bc = 1. Delta: the sum of the three voltages
    drives a current that each equal winding drops a third of; with d = (1 - q)/3, ab = 1 - 2 d,
    bc = ca = sqrt(1 - d + d²). Source: derived; checked with the simulated windings of the tests.
    """
    line = odd_line(volts)
    others = sum(volts[each] for each in LINES if each != line) / 2
    if winding == "star":
        ratio = others / volts[line]
        return PhaseFault(line, (sqrt(max(12 * ratio**2 - 3, 0.0)) - 1) / 2, volts[line])
    square = (volts[line] / others) ** 2
    dropped = (1 - sqrt(max(1 - 4 * (1 - square) / (4 - square), 0.0))) / 2 if square < 4 else 0.0
    return PhaseFault(line, 1 - 3 * dropped, others / sqrt(1 - dropped + dropped**2))


def share_of_resistance(ohms: Mapping[str, float], fault: PhaseFault, winding: Winding) -> float | None:
    """Return the resistance of the faulty phase over the mean of the two others; None without all three lines."""
    phases = _phases(ohms, winding)
    name = fault.name(winding).lower()
    if phases is None:
        return None
    return phases[name] / (sum(each for key, each in phases.items() if key != name) / 2)


def sound_resistance(ohms: Mapping[str, float], fault: PhaseFault, winding: Winding) -> float | None:
    """Return what a line would have if the faulty phase were like the two others."""
    phases = _phases(ohms, winding)
    if phases is None:
        return None
    name = fault.name(winding).lower()
    phase = sum(each for key, each in phases.items() if key != name) / 2
    return 2 * phase if winding == "star" else 2 * phase / 3


def odd_line(values: Mapping[str, float]) -> str:
    """Return the line that differs from the two that agree best."""
    low, middle, high = sorted(values, key=lambda line: values[line])
    return low if values[middle] - values[low] > values[high] - values[middle] else high


def _phases(ohms: Mapping[str, float], winding: Winding) -> dict[str, float] | None:
    if len(ohms) < len(LINES) or not all(isfinite(each) and each > 0 for each in ohms.values()):
        return None
    phases = phase_resistances(ohms, winding)
    return phases if all(isfinite(each) and each > 0 for each in phases.values()) else None
