"""Which exchange or inversion of Hall leads explains the angles at which the sensors switch."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations, product

from station.motor import SENSORS, HallLayout

CLOSE_DEG = 25.0   # a map explains a sensor that lies this near; maps are 60 degrees apart


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

    def words(self) -> str:
        """Return the map in words."""
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
    key=lambda each: (sum(each.inverted) + sum(each.carries[x] != x for x in range(3)), sum(each.inverted),
                      each.carries, each.inverted)))


def matching_maps(rises_deg: Sequence[float], layout: HallLayout) -> tuple[LeadMap, ...]:
    """Return the maps under which every lead goes high near its place, the plainest first.

    Parameters
    ----------
    rises_deg : per lead a, b, c: mean of the rise and of the fall less 180 degrees

    Notes
    -----
    Several maps can predict the same angles (three sensors 120 degrees apart: all inverted and
    moved round are a rotation of the board too); then edges alone cannot tell them apart.
    """
    return tuple(each for each in MAPS if _distance(rises_deg, each.rises(layout)) < CLOSE_DEG)


def motor_lead_exchange(rises_deg: Sequence[float], layout: HallLayout) -> str | None:
    """Return the two motor leads ("A and B") whose exchange explains the angles, or None.

    The rotor angle still grows with the shaft, but from another zero: what is measured as v_ab is
    -v_ab, -v_ca or -v_bc, whose rising zeros lie at 180, 60 and 300 degrees.
    Source: derived from v_ab = e_a - e_b with b lagging a by 120 degrees.
    """
    for leads, zero in (("A and B", 180.0), ("B and C", 60.0), ("A and C", 300.0)):
        if _distance(rises_deg, [rise - zero for rise in layout.rise_deg]) < CLOSE_DEG:
            return leads
    return None


def _distance(found: Sequence[float], expected: Sequence[float]) -> float:
    return max(abs((x - y + 180.0) % 360.0 - 180.0) for x, y in zip(found, expected, strict=True))


def _letter(sensor: int) -> str:
    return SENSORS[sensor].upper()
