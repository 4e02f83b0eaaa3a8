"""Which exchange or inversion of Hall leads explains the angles at which the sensors switch."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import permutations, product

import numpy as np
from numpy.typing import NDArray

from station.motor import SENSORS, HallLayout

CLOSE_DEG = 30.0   # a map explains a sensor that lies nearer than this: half way to where another lead would switch


@dataclass(frozen=True, slots=True)
class LeadMap:
    """Lead x carries the signal of sensor `carries[x]`, turned over where `inverted[x]`."""

    carries: tuple[int, int, int]
    inverted: tuple[bool, bool, bool]

    @property
    def is_straight(self) -> bool:
        """True for every lead in its place."""
        return self.carries == (0, 1, 2) and not any(self.inverted)

    @property
    def moves_round(self) -> bool:
        """True when the three leads are moved round by one or two places, which keeps the order."""
        return self.carries in {(1, 2, 0), (2, 0, 1)}

    def rises(self, layout: HallLayout) -> tuple[float, ...]:
        """Return the angle (deg) at which each lead would go high, declared placement assumed."""
        return tuple((layout.rise_deg[sensor] + 180.0 * turned) % 360.0
                     for sensor, turned in zip(self.carries, self.inverted, strict=True))

    @property
    def changes(self) -> int:
        """How many leads are in another place or turned over."""
        return sum(self.inverted) + sum(self.carries[x] != x for x in range(3))

    def turned(self, deg: int, layout: HallLayout) -> "LeadMap":
        """Return the map whose leads all switch `deg`, a multiple of 60, later than those of this one."""
        wanted = [rise + deg for rise in self.rises(layout)]
        return next(each for each in MAPS if _distance(wanted, each.rises(layout)) < CLOSE_DEG)

    def plainer(self, layout: HallLayout) -> "tuple[LeadMap, int] | None":
        """Return a map of fewer changes that reads as this one when all sensors switch so many degrees later."""
        mates = [(self.turned(-deg, layout), deg) for deg in (120, 240, 180, 60, 300)]
        mate, deg = min(mates, key=lambda each: each[0].changes)
        return (mate, deg) if mate.changes < self.changes else None

    def words(self) -> str:
        """Return the map in words; nothing for every lead in its place."""
        parts = []
        moved = [x for x in range(3) if self.carries[x] != x]
        if len(moved) == 2:
            parts.append(f"Hall leads {_letter(moved[0])} and {_letter(moved[1])} are exchanged")
        elif moved:
            parts.append("the Hall leads are moved round ("
                         + ", ".join(f"{_letter(x)} carries {_letter(self.carries[x])}" for x in range(3)) + ")")
        turned = [_letter(x) for x in range(3) if self.inverted[x]]
        if len(turned) == 3:
            parts.append("all three Hall signals are inverted")
        elif turned:
            parts.append(f"Hall signal {' and '.join(turned)} {'is' if len(turned) == 1 else 'are'} inverted")
        return " and ".join(parts)


# all 48: fewest inversions first, then fewest leads moved, so that the plainest of equals wins
MAPS = tuple(sorted(
    (LeadMap((a, b, c), (x, y, z)) for a, b, c in permutations(range(3))
     for x, y, z in product((False, True), repeat=3)),
    key=lambda each: (each.changes, sum(each.inverted), each.carries, each.inverted)))


def matching_maps(rises_deg: Sequence[float | None], layout: HallLayout) -> tuple[LeadMap, ...]:
    """Return the maps under which every lead goes high near its place, the plainest first.

    Parameters
    ----------
    rises_deg : per lead a, b, c: mean of the rise and of the fall less 180 degrees; None for a lead
        that does not switch, which then may carry anything; one at least is known

    Notes
    -----
    The six angles at which three sensors and their inversions switch are 60 degrees apart, so no two
    maps predict the same three. But a map may be another one seen from a turned rotor angle; see
    `LeadMap.turned`.
    """
    seen = [lead for lead, rise in enumerate(rises_deg) if rise is not None]
    away = np.array([rises_deg[lead] for lead in seen]) - _all_rises(layout)[:, seen]
    close = np.abs((away + 180.0) % 360.0 - 180.0).max(axis=1) < CLOSE_DEG
    return tuple(MAPS[number] for number in np.flatnonzero(close))


@lru_cache(maxsize=8)
def _all_rises(layout: HallLayout) -> NDArray[np.float64]:
    """Return (48, 3): the angles at which the leads of each map go high, degrees."""
    return np.array([each.rises(layout) for each in MAPS])


# What is measured as v_ab after exchanging two leads is -v_ab, -v_bc or -v_ca, whose rising zeros lie here.
EXCHANGES = (("A and B", 180.0), ("B and C", 60.0), ("A and C", 300.0))


def motor_lead_exchange(rises_deg: Sequence[float], layout: HallLayout) -> tuple[str, float] | None:
    """Return the two motor leads ("A and B") whose exchange explains the angles, with the rotor's new zero, or None.

    The rotor angle still grows with the shaft, but from another zero, in degrees.
    Source: derived from v_ab = e_a - e_b with b lagging a by 120 degrees.
    """
    for leads, zero in EXCHANGES:
        if _distance(rises_deg, [rise - zero for rise in layout.rise_deg]) < CLOSE_DEG:
            return leads, zero
    return None


def _distance(found: Sequence[float | None], expected: Sequence[float]) -> float:
    return max(abs((x - y + 180.0) % 360.0 - 180.0) for x, y in zip(found, expected, strict=True) if x is not None)


def _letter(sensor: int) -> str:
    return SENSORS[sensor].upper()
