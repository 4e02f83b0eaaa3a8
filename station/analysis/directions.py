"""What only captures in both directions can tell: true sensor position, and hysteresis with delay."""

from math import inf

from station.analysis.budget import measurement
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
    """Half of both budgets; a channel's time error turns its sign with the direction.

    So it cancels in the position (all but the difference of its size at the two speeds) and
    adds up in the hysteresis.
    """
    rows, shared = [], {row.shared: row for row in reverse.budget if row.shared}
    for row in forward.budget:
        other = shared.pop(row.shared, None) if row.shared else None
        if other is not None:
            rows.append(BudgetRow(row.source, row.kind, row.distribution, 0.5 * abs(row.u - sign * other.u),
                                  row.dof, row.shared))
        else:
            rows.append(_half(row, "forward"))
    rows += [_half(row, "reverse") for row in reverse.budget if not row.shared or row.shared in shared]
    return rows or [BudgetRow("none stated", "B", "rectangular", 0.0, inf)]


def _half(row: BudgetRow, direction: str) -> BudgetRow:
    return BudgetRow(f"{row.source}, {direction}", row.kind, row.distribution, 0.5 * row.u, row.dof, row.shared)
