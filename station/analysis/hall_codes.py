"""The codes of three Hall sensors: their declared cycle, and the codes a capture went through."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from station.motor import HallLayout

Code = tuple[int, int, int]   # states of a, b, c

FORBIDDEN: dict[int, frozenset[Code]] = {
    120: frozenset({(0, 0, 0), (1, 1, 1)}),
    60: frozenset({(0, 1, 0), (1, 0, 1)}),
}


@dataclass(frozen=True, slots=True)
class CodeInterval:
    """One of the intervals between edges of any sensor, by growing rotor angle."""

    code: Code
    start_deg: float   # rotor angle, 0 ... 360
    width_deg: float


def code_text(code: Code) -> str:
    """Return the states of a, b, c as three digits."""
    return "".join(str(bit) for bit in code)


def intervals(rise_deg: tuple[float, float, float], fall_deg: tuple[float, float, float]
              ) -> tuple[CodeInterval, ...]:
    """Return the six code intervals of one cycle, the first starting where sensor a goes high.

    Widths add up to 360. Two edges at one angle give an interval of no width.
    """
    first = rise_deg[0]
    edges = sorted(
        [((rise - first) % 360.0, sensor, 1) for sensor, rise in enumerate(rise_deg)]
        + [((fall - first) % 360.0, sensor, 0) for sensor, fall in enumerate(fall_deg)]
    )
    state = [_is_high(first, rise, fall) for rise, fall in zip(rise_deg, fall_deg, strict=True)]
    found = []
    for number, (start, sensor, level) in enumerate(edges):
        state[sensor] = level
        end = edges[number + 1][0] if number + 1 < len(edges) else 360.0
        found.append(CodeInterval((state[0], state[1], state[2]), (first + start) % 360.0, end - start))
    return tuple(found)


def declared_intervals(layout: HallLayout) -> tuple[CodeInterval, ...]:
    """Return the six intervals that the layout declares, each sensor high for half the cycle."""
    a, b, c = layout.rise_deg
    return intervals(layout.rise_deg, (a + 180.0, b + 180.0, c + 180.0))


@dataclass(frozen=True, slots=True)
class CodeWalk:
    """What the codes did in time."""

    forbidden: int     # occurrences of a forbidden code
    changes: int       # code changes in all
    order: int         # +1 the declared cycle, -1 it backwards, 0 neither; in time, not in rotor angle


@dataclass(frozen=True, slots=True)
class CodeLine:
    """What one sensor's line did: edges (k,) in order of time, and its state before the first of them."""

    times: NDArray[np.float64]     # s
    rising: NDArray[np.bool_]
    high_at_first: bool


def walk_codes(lines: Sequence[CodeLine], layout: HallLayout) -> CodeWalk:
    """Follow the codes of sensors a, b, c through a capture."""
    when = np.sort(np.concatenate([each.times for each in lines]))
    # after each edge: a line's state after its last edge until then
    states = [np.append(each.high_at_first, each.rising)[np.searchsorted(each.times, when, side="right")]
              for each in lines]
    start = tuple(int(each.high_at_first) for each in lines)
    codes = np.append(4 * start[0] + 2 * start[1] + start[2], 4 * states[0] + 2 * states[1] + states[2])
    place, is_forbidden = _places(layout)
    before, after = place[codes[:-1]], place[codes[1:]]
    step = np.where((before >= 0) & (after >= 0), (after - before) % 6, 0)
    votes = np.bincount(step, minlength=6).tolist()
    return CodeWalk(int(is_forbidden[codes[1:]].sum()), when.size, _order(votes[1], votes[5], when.size))


@lru_cache(maxsize=8)
def _places(layout: HallLayout) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return the place of each of eight codes in the declared cycle, -1 for none, and which are forbidden."""
    place, is_forbidden = np.full(8, -1), np.zeros(8, dtype=np.bool_)
    for number, interval in enumerate(declared_intervals(layout)):
        place[_number(interval.code)] = number
    is_forbidden[[_number(code) for code in FORBIDDEN[layout.spacing_deg]]] = True
    return place, is_forbidden


def _number(code: Code) -> int:
    return 4 * code[0] + 2 * code[1] + code[2]


def _is_high(angle: float, rise: float, fall: float) -> int:
    """State just before the edge at `angle`: the sensor whose own rise is there is still low."""
    return int(0.0 < (angle - rise) % 360.0 <= (fall - rise) % 360.0)


def _order(forward: int, backward: int, changes: int) -> int:
    """Order by vote; a sensor inverted or dead leaves too few steps between allowed codes."""
    if forward > 0.6 * changes:
        return 1
    return -1 if backward > 0.6 * changes else 0
