"""What only captures in both directions can tell: true sensor position, and hysteresis with delay."""

from station.analysis.budget import measurement, weighted_sum
from station.analysis.hall_measurements import wrapped
from station.analysis.result import CaptureAnalysis
from station.measurement import BudgetRow, Measurement
from station.motor import SENSORS


def combine_directions(forward: CaptureAnalysis, reverse: CaptureAnalysis) -> dict[str, Measurement]:
    """Return hall_position.x and hall_hysteresis.x from captures at equal speed, degrees.

    Hysteresis and delay put an edge later in time: at a larger rotor angle forward, at a smaller
    one in reverse. So the mean of both placements is the position and half their difference the
    hysteresis plus delay. A sensor that either capture lacks is left out.

    Source: lag forward = phi + h + 360 f tau, in reverse -phi + h + 360 f tau (derived).
    """
    found: dict[str, Measurement] = {}
    for sensor in SENSORS:
        name = f"hall_placement.{sensor}"
        if name not in forward.measurements or name not in reverse.measurements:
            continue
        first, second = forward.measurements[name], reverse.measurements[name]
        half = 0.5 * wrapped(first.value - second.value)
        for target, value, sign in (("hall_position", wrapped(second.value + half), 1.0),
                                    ("hall_hysteresis", half, -1.0)):
            full = f"{target}.{sensor}"
            found[full] = measurement(full, value, _rows(first, second, sign))
    return found


def _rows(forward: Measurement, reverse: Measurement, sign: float) -> list[BudgetRow]:
    """Rows of half the sum (`sign` 1) or difference (-1); a channel's time error turns its sign in reverse.

    So it cancels in the position (all but the difference of its size at the two speeds) and
    adds up in the hysteresis.
    """
    return weighted_sum([(0.5, _named(forward, "forward")), (-0.5 * sign, _named(reverse, "reverse"))])


def _named(placement: Measurement, direction: str) -> list[BudgetRow]:
    return [row if row.shared else row._replace(source=f"{row.source}, {direction}") for row in placement.budget]
