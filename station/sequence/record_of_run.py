"""Assembling the record of a run from what the steps left, in the shape that `record` stores."""

import platform
from collections.abc import Sequence as Ordered
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

import numpy as np

import station
from station.analysis.conversion import touch_voltage_speed
from station.analysis.findings import find_motor_causes
from station.analysis.result import CaptureAnalysis, WavePlot
from station.clock import stamp
from station.judgement.judge import JudgedRow, Judgement
from station.judgement.limit_file import LimitFile
from station.measurement import Finding
from station.motor import MotorType
from station.sequence.ongoing_test import OngoingTest
from station.sequence.sequence_file import InsulationStep, Sequence
from station.sequence.written import finite
from station.units import RPM, VOLT_PER_KRPM

RECORD_FORMAT = 1


@dataclass(frozen=True, slots=True)
class Heading:
    """Who tests where, with which bench: the same for every run of a shift."""

    station_id: str
    place: str
    operator: str
    bench_file: str
    bench_sha256: str
    simulated: bool
    pace: float
    instruments: tuple[dict[str, Any], ...]
    purpose: str = ""                               # empty for a motor of the production
    reference_check: dict[str, Any] | None = None   # the check that covers the run


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a run came to before it is written down."""

    analyses: Ordered[CaptureAnalysis]
    judgement: Judgement
    steps: Ordered[dict[str, str]]
    started: datetime
    ended: datetime
    trouble: BaseException | None
    unsafe: Ordered[str]


def known_at_start(heading: Heading, limits: LimitFile, sequence: Sequence) -> dict[str, Any]:
    """Return what the record says whatever becomes of the run: kept durable before anything moves."""
    rule, guard_factor = limits.decision.rule, limits.decision.guard_factor
    return {
        "format": RECORD_FORMAT, "runs_allowed": limits.runs_allowed,
        "station": {"id": heading.station_id, "place": heading.place}, "operator": heading.operator,
        "motor_type": _motor_type(limits.motor_type), "limit_file": _limit_file(limits),
        "sequence": {"name": sequence.name, "revision": sequence.revision, "sha256": sequence.sha256},
        "bench": {"file": heading.bench_file, "sha256": heading.bench_sha256, "simulated": heading.simulated,
                  "pace": heading.pace, "instruments": list(heading.instruments)},
        "software": {"station": station.__version__, "python": platform.python_version(),
                     "numpy": np.__version__},
        "decision": {"rule": rule, "guard_factor": guard_factor, "sentence": decision_sentence(rule, guard_factor)},
        "hazards": _hazards(limits, sequence),
        **({"purpose": heading.purpose} if heading.purpose else {}),
        **({"reference_check": heading.reference_check} if heading.reference_check else {}),
    }


def assemble(test: OngoingTest, outcome: Outcome) -> dict[str, Any]:
    """Return the rest of the record; a run that met trouble is NO RESULT whatever its values say."""
    verdict, reason = _verdict(outcome)
    return {
        "serial": test.serial, "started": stamp(outcome.started), "ended": stamp(outcome.ended),
        "conditions": dict(test.conditions),
        "steps": list(outcome.steps), "captures": _captures(test, outcome.analyses),
        "measurements": [test.written(m, label) for (_, label), m in test.measurements.items()],
        "judged": [_judged(row) for row in outcome.judgement.rows],
        "findings": [{"code": f.code, "text": f.text} for f in _findings(test, outcome)],
        "verdict": verdict, "reason": reason,
        "plots": [_plot(a.label, a.plot) for a in outcome.analyses if a.plot is not None],
    }


def decision_sentence(rule: str, guard_factor: float) -> str:
    """Return the decision rule in one sentence, as the certificate prints it."""
    if rule == "simple":
        return "A value conforms when it lies within its tolerance limits; its uncertainty is not deducted."
    return (f"A value conforms when it lies within its acceptance limits, which are the tolerance limits "
            f"drawn in by {guard_factor:g} standard uncertainties.")


def _verdict(outcome: Outcome) -> tuple[str, str]:
    unsafe = "The bench did not reach its safe state: " + "; ".join(outcome.unsafe) if outcome.unsafe else ""
    if outcome.trouble is not None:
        cause = str(outcome.trouble) or "interrupted from the keyboard"
        return "NO RESULT", f"The test could not finish: {cause} {unsafe}".rstrip()
    if unsafe:
        return "NO RESULT", unsafe
    return str(outcome.judgement.verdict), outcome.judgement.reason


def _findings(test: OngoingTest, outcome: Outcome) -> tuple[Finding, ...]:
    # Drag belongs to a capture, yet no analysis of a capture holds it.
    rest = {name if not label else f"{name}@{label}": m for (name, label), m in test.measurements.items()
            if not label or name == "drag_torque"}
    rows = outcome.judgement.rows
    return find_motor_causes(outcome.analyses, rest, test.limits.motor_type, failed_sides(rows),
                             {row.name: (row.lower, row.upper) for row in rows})


def failed_sides(rows: Ordered[JudgedRow]) -> dict[str, Literal["low", "high", "missing"]]:
    """Return which values failed and on which side of their limits, by name and, in a capture, "@label"."""
    return {f"{row.name}@{row.label}" if row.label else row.name: _side(row)
            for row in rows if row.result == "FAIL"}


def _side(row: JudgedRow) -> Literal["low", "high", "missing"]:
    if row.value is None:
        return "missing"
    if row.lower is None or row.upper is None:
        return "high" if row.lower is None else "low"
    return "high" if abs(row.value - row.upper) < abs(row.value - row.lower) else "low"


def _motor_type(kind: MotorType) -> dict[str, Any]:
    return {"name": kind.name, "pole_pairs": kind.pole_pairs, "winding": kind.winding,
            "rated_voltage_V": kind.rated_voltage, "forward": kind.forward, "viewed_from": kind.viewed_from,
            "spacing_deg": kind.sensors.spacing_deg if kind.sensors else None}


def _limit_file(limits: LimitFile) -> dict[str, Any]:
    revision = limits.revision
    return {"name": limits.name, "revision": revision.number, "sha256": limits.sha256, "note": revision.note,
            "released_by": revision.released_by, "released_on": revision.released_on}


def _captures(test: OngoingTest, analyses: Ordered[CaptureAnalysis]) -> list[dict[str, Any]]:
    return [{"label": capture.label, "drive_speed_rpm": capture.drive_speed / RPM,
             "temperature_degC": capture.temperature_c, "refused": _refused(analysis),
             **({"part": list(capture.part)} if len(parts) > 1 else {})}
            for parts, analysis in zip(test.taken, analyses, strict=True) for capture in parts]


def _refused(analysis: CaptureAnalysis) -> dict[str, str] | None:
    return {"code": analysis.refused.code, "text": analysis.refused.text} if analysis.refused else None


def _judged(row: JudgedRow) -> dict[str, Any]:
    return {"key": row.key, "name": row.name, "label": row.label, "unit": row.unit, "value": finite(row.value),
            "u": finite(row.u), "dof": finite(row.dof), "lower": row.lower, "upper": row.upper,
            "acceptance_lower": finite(row.acceptance_lower), "acceptance_upper": finite(row.acceptance_upper),
            "result": str(row.result), "zone": row.zone, "margin": finite(row.margin)}


def _plot(label: str, plot: WavePlot) -> dict[str, Any]:
    return {"label": label, "angle_deg": [round(a, 3) for a in plot.angle_deg],
            "volts_per_krpm": {line: [round(v, 6) for v in wave] for line, wave in plot.volts_per_krpm.items()},
            "hall_high": {s: [round(r, 3), round(f, 3)] for s, r, f in _intervals(plot)}}


def _intervals(plot: WavePlot) -> list[tuple[str, float, float]]:
    return [(sensor, *interval) for sensor, interval in (plot.hall_high or {}).items() if interval is not None]


def _hazards(limits: LimitFile, sequence: Sequence) -> dict[str, float | None]:
    peaks = [limit.upper for limit in limits.limits
             if limit.name.startswith("back_emf_constant_peak") and limit.upper is not None]
    speed = touch_voltage_speed(max(peaks) * VOLT_PER_KRPM) / RPM if peaks else None
    volts = [step.voltage_V for step in sequence.steps if isinstance(step, InsulationStep)]
    return {"speed_at_25_V_rms_rpm": speed, "insulation_test_V": max(volts, default=None)}
