"""The codes of three Hall sensors: their declared cycle, and the codes a capture went through."""

from dataclasses import dataclass

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


def walk_codes(times: tuple[NDArray[np.float64], ...], rising: tuple[NDArray[np.bool_], ...],
               initial: Code, layout: HallLayout) -> CodeWalk:
    """Follow the codes through a capture.

    Parameters
    ----------
    times, rising : per sensor (k,) s and direction in time of its edges
    initial : states before the first edge
    """
    when = np.concatenate(times)
    sensor = np.repeat(np.arange(3), [each.size for each in times])
    up = np.concatenate(rising)
    cycle = [interval.code for interval in declared_intervals(layout)]
    place = {code: number for number, code in enumerate(cycle)}
    state, forbidden, votes = list(initial), 0, [0, 0]
    previous = initial
    for index in np.argsort(when, kind="stable"):
        state[sensor[index]] = int(up[index])
        code = (state[0], state[1], state[2])
        forbidden += code in FORBIDDEN[layout.spacing_deg]
        if code in place and previous in place:
            step = (place[code] - place[previous]) % 6
            votes[0] += step == 1
            votes[1] += step == 5
        previous = code
    return CodeWalk(forbidden, when.size, _order(votes[0], votes[1], when.size))


def _is_high(angle: float, rise: float, fall: float) -> int:
    """State just before the edge at `angle`: the sensor whose own rise is there is still low."""
    return int(0.0 < (angle - rise) % 360.0 <= (fall - rise) % 360.0)


def _order(forward: int, backward: int, changes: int) -> int:
    """Order by vote; a sensor inverted or dead leaves too few steps between allowed codes."""
    if forward > 0.6 * changes:
        return 1
    return -1 if backward > 0.6 * changes else 0
