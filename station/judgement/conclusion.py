"""What the captures and indications of a run come to: values of both directions, judgement, likely causes.

A pure function, so that an audit draws the same conclusion years later from what was stored.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from station.analysis.directions import combine_directions
from station.analysis.findings import find_motor_causes
from station.analysis.result import CaptureAnalysis
from station.judgement.judge import MOTOR_FAULTS, JudgedRow, Judgement, judge
from station.judgement.limit_file import LimitFile
from station.measurement import Finding, Measurement

# A capture without any back-EMF may as well be a lead that is not connected: no verdict on the motor.
REFUSALS_OF_THE_MOTOR = MOTOR_FAULTS - {"no_emf"}

Measured = Mapping[tuple[str, str], Measurement]    # by full name and capture label, "" for none


@dataclass(frozen=True, slots=True)
class Conclusion:
    """Every value of a run, how each limit judged it, and the likely causes of what failed."""

    measurements: dict[tuple[str, str], Measurement]
    judgement: Judgement
    findings: tuple[Finding, ...]


def conclude(analyses: Sequence[CaptureAnalysis], indicated: Measured, labels: Sequence[str], limits: LimitFile
             ) -> Conclusion:
    """Return what a run comes to.

    Parameters
    ----------
    analyses : of every capture, in the order of capture
    indicated : what instruments indicated outside captures: at rest, and the drag at each speed
    labels : the captures that the sequence asks for
    """
    measurements = {**indicated, **from_captures(analyses)}
    refused = {analysis.label: analysis.refused for analysis in analyses if analysis.refused}
    judgement = judge(measurements, labels, limits, refused, motor_faults=REFUSALS_OF_THE_MOTOR)
    return Conclusion(measurements, judgement, _findings(analyses, measurements, judgement.rows, limits))


def from_captures(analyses: Sequence[CaptureAnalysis]) -> dict[tuple[str, str], Measurement]:
    """Return every value that the captures of one motor give, each alone and both directions together."""
    alone = {(m.name, analysis.label): m for analysis in analyses for m in analysis.measurements.values()}
    return {**alone, **{(m.name, ""): m for m in both_directions(analyses)}}


def both_directions(analyses: Sequence[CaptureAnalysis]) -> list[Measurement]:
    """Return what only both directions tell, from the highest speed captured and trusted in both."""
    trusted = {analysis.label: analysis for analysis in analyses if analysis.refused is None}
    speeds = sorted((float(label.split()[1]) for label in trusted if label.startswith("forward ")), reverse=True)
    for speed in speeds:
        pair = trusted.get(f"forward {speed:g}"), trusted.get(f"reverse {speed:g}")
        if pair[0] is not None and pair[1] is not None:
            return list(combine_directions(pair[0], pair[1]).values())
    return []


def failed_sides(rows: Sequence[JudgedRow]) -> dict[str, Literal["low", "high", "missing"]]:
    """Return which values failed and on which side of their limits, by name and, in a capture, "@label"."""
    return {f"{row.name}@{row.label}" if row.label else row.name: _side(row)
            for row in rows if row.result == "FAIL"}


def _findings(analyses: Sequence[CaptureAnalysis], measurements: Measured, rows: Sequence[JudgedRow],
              limits: LimitFile) -> tuple[Finding, ...]:
    # Drag belongs to a capture, yet no analysis of a capture holds it.
    rest = {name if not label else f"{name}@{label}": m for (name, label), m in measurements.items()
            if not label or name == "drag_torque"}
    return find_motor_causes(analyses, rest, limits.motor_type, failed_sides(rows),
                             {row.name: (row.lower, row.upper) for row in rows})


def _side(row: JudgedRow) -> Literal["low", "high", "missing"]:
    if row.value is None:
        return "missing"
    if row.lower is None or row.upper is None:
        return "high" if row.lower is None else "low"
    return "high" if abs(row.value - row.upper) < abs(row.value - row.lower) else "low"
