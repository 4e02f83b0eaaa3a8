"""Torque per ampere if the six codes as measured switch the lines."""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from math import hypot, inf, sqrt

from station.analysis.back_emf import BackEmf
from station.analysis.budget import (
    DIGITIZER_GAIN,
    SLOT_RIPPLE,
    SLOT_RMS,
    TEMPERATURE,
    TIMEBASE,
    limit_of_error,
    measurement,
    type_a,
)
from station.analysis.hall import HallAnalysis
from station.analysis.hall_codes import Code, declared_intervals
from station.analysis.six_steps import six_steps
from station.measurement import BudgetRow, Measurement
from station.motor import LINES, HallLayout, MotorType

# (line, sign): current enters the line's first lead for +1, its second for -1; and the rotor angle
# of the crest of that line's voltage per speed, with b lagging a by 120 degrees
CRESTS: dict[tuple[int, int], float] = {
    (LINES.index("ab"), 1): 90.0, (LINES.index("ca"), -1): 150.0, (LINES.index("bc"), 1): 210.0,
    (LINES.index("ab"), -1): 270.0, (LINES.index("ca"), 1): 330.0, (LINES.index("bc"), -1): 30.0,
}

@lru_cache(maxsize=8)
def commutation_table(layout: HallLayout) -> dict[Code, tuple[int, int]]:
    """Return for each declared code the line (index into LINES) and the sense of its current.

    Each code drives the pair of leads whose voltage per speed is at its crest in the middle of the
    code's declared interval; so the declared angles alone say which pair and polarity belong to
    which sensor. Source: six Hall edges at the six line-to-line zero crossings, common to the
    makers' commutation tables.
    """
    table = {}
    for interval in declared_intervals(layout):
        middle = interval.start_deg + 0.5 * interval.width_deg
        table[interval.code] = min(CRESTS, key=lambda pair: (abs(_wrapped(CRESTS[pair] - middle)), pair))
    return table


def commutated_torque(emf: BackEmf, hall: HallAnalysis, motor_type: MotorType) -> dict[str, Measurement]:
    """Return commutated_torque_constant (N m/A) and _ripple (%); empty without all three sensors.

    Torque per ampere is the driven line's voltage per mechanical speed, signed. A forbidden code
    drives no line and gives no torque. The ripple is peak to peak over mean of the ideal rectangular
    current; the ripple of commutation itself cannot be had by back-driving.

    Source: a sine gives 3/pi of the peak constant with 14.03 % ripple, a trapezoid flat for 60
    degrees line-to-line none (derived).
    """
    layout = motor_type.sensors
    if layout is None or not hall.code_widths:
        return {}
    table = commutation_table(layout)
    steps = six_steps(emf, hall.code_widths, table)
    torque = steps.torque()
    edge_u = max(hall.edge_u.values(), default=0.0)
    moved = list(zip(*steps.moved((edge_u, -edge_u)), strict=True))
    turned = [steps.turned(by) for by in (hall.zero_u, -hall.zero_u)]
    relative = _gain_rows(hall, motor_type)
    constant = [row._replace(u=row.u * abs(torque.mean)) for row in relative]
    edges = _edge_rows([_larger(each.mean - torque.mean for each in pair) for pair in moved],
                       [each.mean - torque.mean for each in turned])
    found = [measurement("commutated_torque_constant", torque.mean, [*constant, *edges])]
    # a mean this far below the peaks is no drive at all, and a ripple over it says nothing
    if abs(torque.ripple) < 1e3:
        edges = _edge_rows([_larger(100.0 * (each.ripple - torque.ripple) for each in pair) for pair in moved],
                           [100.0 * (each.ripple - torque.ripple) for each in turned])
        found.append(measurement("commutated_torque_ripple", 100.0 * torque.ripple,
                                 [*edges, *_crest_rows(emf, hall)]))
    return {each.name: each for each in found}


def _larger(changes: Iterable[float]) -> float:
    """Return the larger change: an extreme follows an edge one way and leaves it the other."""
    return max(map(abs, changes))


def _crest_rows(emf: BackEmf, hall: HallAnalysis) -> list[BudgetRow]:
    """Rows, %, of the difference between crest and trough: two points of the waves, on different lines."""
    noise = sqrt(2 * float((emf.amplitude_u**2).sum())) / float(emf.amplitude[:, 0].mean())
    return [type_a("noise of the waves", 100 * noise, emf.dof),
            limit_of_error("gains of the voltage channels", 100 * sqrt(2) * hall.accuracy.gain),
            limit_of_error(SLOT_RIPPLE, 100 * sqrt(2) * SLOT_RMS * hall.accuracy.slot_ripple)]


def _edge_rows(moved: Sequence[float], turned: Sequence[float]) -> list[BudgetRow]:
    """Rows from what a move of each edge by its uncertainty changes, and a turn of all by that of the zero."""
    return [BudgetRow("angles of the edges", "B", "normal", hypot(*moved), inf),
            BudgetRow("zero of the rotor angle", "B", "normal", max(map(abs, turned)), inf,
                      shared="time of channel v_ab")]


def _gain_rows(hall: HallAnalysis, motor_type: MotorType) -> list[BudgetRow]:
    """Relative uncertainties of the voltage per speed; three channels share the torque."""
    accuracy = hall.accuracy
    per_kelvin = abs(motor_type.reference.magnet_per_k)
    limits = ((DIGITIZER_GAIN, accuracy.gain_common, DIGITIZER_GAIN),
              ("gains of the voltage channels", accuracy.gain / sqrt(3), ""),
              (TIMEBASE, accuracy.timebase, TIMEBASE),
              (TEMPERATURE, per_kelvin * accuracy.temperature, TEMPERATURE))
    return [BudgetRow(source, "B", "rectangular", limit / sqrt(3), inf, shared)
            for source, limit, shared in limits]


def _wrapped(angle: float) -> float:
    return (angle + 180.0) % 360.0 - 180.0
