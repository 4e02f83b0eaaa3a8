"""Three windings joined in star or delta: what their voltages and resistances look like at the leads."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.motor import Winding

# Line voltages from the potentials of the three leads: ab, bc, ca.
_LINES = np.array([[1.0, -1.0, 0.0], [0.0, 1.0, -1.0], [-1.0, 0.0, 1.0]])
_ENDS = ((0, 1), (1, 2), (2, 0))


@dataclass(frozen=True, slots=True)
class Windings:
    """Three windings a, b, c. In star each runs from a lead to the neutral; in delta from a lead to the next.

    `gain` multiplies the voltage of each winding (negative: connected the wrong way round). `impedance`
    shares out a circulating voltage in a delta (1 each; 0 for a winding bridged from end to end).
    """

    kind: Winding
    resistance: tuple[float, float, float]            # ohm at 20 °C
    gain: tuple[float, float, float] = (1.0, 1.0, 1.0)
    impedance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    open_phase: int | None = None
    joints: tuple[float, float, float] = (0.0, 0.0, 0.0)  # ohm in series with each lead
    leads: tuple[int, int, int] = (0, 1, 2)           # lead k of the plug is node leads[k] of the winding

    def line_matrix(self, floating: int | None = None) -> NDArray[np.float64]:
        """Return the (3, 3) matrix from winding voltages to v_ab, v_bc, v_ca.

        A lead that floats (an open star phase, or `floating`: a lead without contact) takes the mean
        potential of the other two, through the equal input resistances of the instrument.
        """
        nodes = self._star_nodes() if self.kind == "star" else self._delta_nodes()
        plug = nodes[list(self.leads)]
        if floating is not None:
            plug = _float(plug, floating)
        return np.asarray(_LINES @ plug)

    def _star_nodes(self) -> NDArray[np.float64]:
        nodes = np.diag(self.gain)
        return nodes if self.open_phase is None else _float(nodes, self.open_phase)

    def _delta_nodes(self) -> NDArray[np.float64]:
        voltages = np.diag(self.gain)
        if self.open_phase is None:
            # The sum of the three drives a current around the loop; each winding drops its share.
            share = np.array(self.impedance) / sum(self.impedance)
            voltages = voltages - np.outer(share, voltages.sum(axis=0))
        else:
            others = [k for k in range(3) if k != self.open_phase]
            voltages[self.open_phase] = -voltages[others].sum(axis=0)
        return np.stack([np.zeros(3), -voltages[0], voltages[2]])

    def circulating_gain(self) -> complex:
        """Return the sum of the winding voltages around a delta as a multiple of one, as a phasor."""
        if self.kind == "star" or self.open_phase is not None:
            return 0j
        turns = np.exp(-2j * np.pi * np.arange(3) / 3)
        return complex(np.dot(self.gain, turns))

    def pair_resistances(self) -> tuple[float, float, float]:
        """Return the resistance ab, bc, ca at the plug at 20 °C, ohm; inf where no current can flow."""
        values = []
        for first, second in _ENDS:
            pair = (self.leads[first], self.leads[second])
            values.append(self._between(*pair) + self.joints[first] + self.joints[second])
        return values[0], values[1], values[2]

    def _between(self, first: int, second: int) -> float:
        ohms = [float("inf") if k == self.open_phase else r for k, r in enumerate(self.resistance)]
        if self.kind == "star":
            return ohms[first] + ohms[second]
        direct = next(k for k, ends in enumerate(_ENDS) if set(ends) == {first, second})
        around = sum(ohms) - ohms[direct] if np.isfinite(ohms[direct]) else sum(
            r for k, r in enumerate(ohms) if k != direct)
        if np.isinf(ohms[direct]):
            return around
        return ohms[direct] if np.isinf(around) else ohms[direct] * around / (ohms[direct] + around)


def _float(nodes: NDArray[np.float64], lead: int) -> NDArray[np.float64]:
    floated = nodes.copy()
    floated[lead] = (nodes[(lead + 1) % 3] + nodes[(lead + 2) % 3]) / 2
    return floated
