"""Torque per ampere if the six codes as measured switch the lines."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray

from station.analysis.back_emf import BackEmf
from station.analysis.budget import measurement
from station.analysis.hall import HallAnalysis
from station.analysis.hall_codes import Code, CodeInterval, declared_intervals
from station.measurement import BudgetRow, Measurement
from station.motor import LINES, HallLayout, MotorType

# (line, sign): current enters the line's first lead for +1, its second for -1; and the rotor angle
# of the crest of that line's voltage per speed, with b lagging a by 120 degrees
CRESTS: dict[tuple[int, int], float] = {
    (LINES.index("ab"), 1): 90.0, (LINES.index("ca"), -1): 150.0, (LINES.index("bc"), 1): 210.0,
    (LINES.index("ab"), -1): 270.0, (LINES.index("ca"), 1): 330.0, (LINES.index("bc"), -1): 30.0,
}
POINTS = 121   # per code interval, ends included

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Torque:
    """Torque per ampere over one electrical cycle."""

    mean: float     # N m/A
    ripple: float   # peak to peak over mean


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
    torque = six_step_torque(emf, hall.code_widths, table)
    # a mean this far below the peaks is no drive at all, and a ripple over it says nothing
    tells_ripple = abs(torque.ripple) < 1e3
    relative = _gain_rows(hall, motor_type)
    constant = [replace(row, u=row.u * abs(torque.mean)) for row in relative]
    found = [measurement("commutated_torque_constant", torque.mean, [*constant, *_edges(emf, hall, table, 0)])]
    if tells_ripple:
        rows = [replace(row, u=100.0 * row.u) for row in _edges(emf, hall, table, 1)]
        found.append(measurement("commutated_torque_ripple", 100.0 * torque.ripple, rows))
    return {each.name: each for each in found}


def six_step_torque(emf: BackEmf, codes: Sequence[CodeInterval], table: dict[Code, tuple[int, int]]) -> Torque:
    """Return mean and ripple of the torque per ampere over the six intervals."""
    area, low, high = 0.0, inf, -inf
    for interval in codes:
        if interval.width_deg <= 0.0:
            continue
        angle = np.deg2rad(interval.start_deg + np.linspace(0.0, interval.width_deg, POINTS))
        line, sense = table.get(interval.code, (0, 0))
        wave = sense * _wave(emf, line, angle)
        area += interval.width_deg * float(np.trapezoid(wave) / (POINTS - 1))
        low, high = min(low, float(wave.min())), max(high, float(wave.max()))
    mean = area / 360.0
    return Torque(mean, (high - low) / abs(mean) if mean else inf)


def _wave(emf: BackEmf, line: int, angle: Floats) -> Floats:
    """Voltage per mechanical speed (V s/rad) of one line at rotor angles (k,) rad."""
    order = np.arange(1, emf.amplitude.shape[1] + 1)
    wave: Floats = np.sin(angle[:, None] * order + emf.phase[line]) @ emf.amplitude[line]
    return wave


def _edges(emf: BackEmf, hall: HallAnalysis, table: dict[Code, tuple[int, int]], which: int) -> list[BudgetRow]:
    """What moving the edges by their uncertainty does to the mean (0) or the ripple (1)."""
    def value(codes: Sequence[CodeInterval]) -> float:
        torque = six_step_torque(emf, codes, table)
        return torque.ripple if which else torque.mean

    nominal = value(hall.code_widths)
    step = max(hall.edge_u.values(), default=0.0)
    moved = [value(_move_edge(hall.code_widths, number, step)) - nominal for number in range(6)]
    turned = [value([replace(each, start_deg=each.start_deg + sign * hall.zero_u) for each in hall.code_widths])
              - nominal for sign in (1.0, -1.0)]
    return [BudgetRow("angles of the edges", "B", "normal", sqrt(sum(change**2 for change in moved)), inf),
            BudgetRow("zero of the rotor angle", "B", "normal", max(map(abs, turned)), inf,
                      shared="time of channel v_ab")]


def _move_edge(codes: tuple[CodeInterval, ...], number: int, by: float) -> list[CodeInterval]:
    """The intervals with the edge that starts interval `number` moved by `by` degrees."""
    moved = list(codes)
    this, before = codes[number], codes[number - 1]
    by = min(by, this.width_deg)
    moved[number] = replace(this, start_deg=this.start_deg + by, width_deg=this.width_deg - by)
    moved[number - 1] = replace(before, width_deg=before.width_deg + by)
    return moved


def _gain_rows(hall: HallAnalysis, motor_type: MotorType) -> list[BudgetRow]:
    """Relative uncertainties of the voltage per speed; three channels share the torque."""
    accuracy = hall.accuracy
    per_kelvin = abs(motor_type.reference.magnet_per_k)
    limits = (("gain of the digitizer", accuracy.gain_common, "gain of the digitizer"),
              ("gain of the voltage channels", accuracy.gain / sqrt(3), ""),
              ("timebase", accuracy.timebase, "timebase"),
              ("temperature of the motor", per_kelvin * accuracy.temperature, "temperature of the motor"))
    return [BudgetRow(source, "B", "rectangular", limit / sqrt(3), inf, shared)
            for source, limit, shared in limits]


def _wrapped(angle: float) -> float:
    return (angle + 180.0) % 360.0 - 180.0
