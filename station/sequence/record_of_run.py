"""Assembling the record of a run from what the steps left, in the shape that `record` stores."""

from collections.abc import Mapping
from collections.abc import Sequence as Ordered
from dataclasses import dataclass
from math import inf
from typing import Any, Protocol

from station.analysis.conversion import touch_voltage_speed
from station.analysis.result import CaptureAnalysis
from station.capture import Capture
from station.clock import Moment, stamp
from station.judgement.cause import Cause
from station.judgement.decision_rule import Decision
from station.judgement.limit_file import LimitFile
from station.judgement.rule_words import decision_sentence
from station.measurement import Measurement
from station.motor import MotorType
from station.record.attempt import Attempt
from station.record.record import Fragment
from station.record.written import written_refusal
from station.sequence.befallen import UNSAFE, cause_of
from station.sequence.concluding import Concluded
from station.sequence.software import software
from station.sequence_file import InsulationStep, Sequence
from station.units import RPM, VOLT_PER_KRPM

RECORD_FORMAT = 1


@dataclass(frozen=True, slots=True)
class Heading:
    """Who tests where, with which bench and files; from `purpose` on it belongs to one run, the rest to a shift."""

    station_id: str
    place: str
    operator: str
    bench_file: str
    bench_sha256: str
    simulated: bool
    pace: float
    instruments: tuple[dict[str, Any], ...]
    maker: dict[str, Any] | None = None             # who makes the motors, as the station file says
    order: dict[str, Any] | None = None             # what they are made for, as the station file says
    purpose: str = ""                               # empty for a motor of the production
    reference_check: dict[str, Any] | None = None   # the check that covers the run
    files: tuple[dict[str, str], ...] = ()          # in force, each kept in the store
    attempts: tuple[Attempt, ...] = ()              # earlier runs of this motor
    further_run: dict[str, str] | None = None       # who allowed a run beyond those of the limit file, and why
    gauge_run: dict[str, Any] | None = None         # the place of the run in a gauge study
    generated: str = ""                             # how the run was made, where no bench was at work


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a run came to before it is written down."""

    concluded: Concluded
    steps: Ordered[dict[str, str]]
    started: Moment
    ended: Moment
    trouble: BaseException | None
    unsafe: Ordered[str]


def known_at_start(heading: Heading, limits: LimitFile, sequence: Sequence, started: Moment, boot_id: str
                   ) -> dict[str, Any]:
    """Return what the record says whatever becomes of the run: kept durable before anything moves."""
    return {
        "format": RECORD_FORMAT, "runs_allowed": limits.runs_allowed,
        "station": {"id": heading.station_id, "place": heading.place}, "operator": heading.operator,
        "motor_type": _motor_type(limits.motor_type), "limit_file": _limit_file(limits),
        "sequence": {"name": sequence.name, "revision": sequence.revision, "sha256": sequence.sha256},
        "bench": {"file": heading.bench_file, "sha256": heading.bench_sha256, "simulated": heading.simulated,
                  "pace": heading.pace, "instruments": list(heading.instruments),
                  **({"generated": heading.generated} if heading.generated else {})},
        "files": list(heading.files), "software": software(), "clock": _clock(boot_id, started, None),
        "attempts": [attempt.as_record() for attempt in heading.attempts],
        "decision": _decision(limits),
        "hazards": _hazards(limits, sequence),
        **{name: part for name in ("maker", "order", "purpose", "reference_check", "further_run", "gauge_run")
           if (part := getattr(heading, name))},
    }


class Tested(Protocol):
    """A test that is over, as far as its record needs it; see `OngoingTest`."""

    @property
    def serial(self) -> str:
        """Of the motor."""

    @property
    def boot_id(self) -> str:
        """Of the clock."""

    @property
    def conditions(self) -> Mapping[str, float]:
        """By name and unit."""

    @property
    def taken(self) -> Ordered[tuple[Capture, ...]]:
        """The captures, in parts where stitched."""

    def written(self, measurement: Measurement, label: str) -> Fragment:
        """Return a measurement as the record holds it."""


def assemble(test: Tested, outcome: Outcome) -> dict[str, Any]:
    """Return the rest of the record; a run that met trouble is NO RESULT whatever its values say."""
    verdict, reason, cause = _verdict(outcome)
    concluded, conclusion = outcome.concluded, outcome.concluded.conclusion
    return {
        "serial": test.serial, "started": stamp(outcome.started.utc), "ended": stamp(outcome.ended.utc),
        "clock": _clock(test.boot_id, outcome.started, outcome.ended),
        "conditions": dict(test.conditions),
        "steps": list(outcome.steps), "captures": _captures(test, concluded.analyses),
        "measurements": [test.written(m, label) for (_, label), m in conclusion.measurements.items()],
        "judged": list(concluded.judged),
        "findings": [{"code": f.code, "text": f.text} for f in conclusion.findings],
        "verdict": verdict, "reason": reason, **({"cause": cause.as_record()} if cause else {}),
        "plots": list(concluded.plots),
    }


def _verdict(outcome: Outcome) -> tuple[str, str, Cause | None]:
    """Return the verdict, its reason in words, and for a NO RESULT its cause as a code."""
    unsafe = "The bench did not reach its safe state: " + "; ".join(outcome.unsafe) if outcome.unsafe else ""
    if outcome.trouble is not None:
        cause = str(outcome.trouble) or "interrupted from the keyboard"
        return "NO RESULT", f"The test could not finish: {cause} {unsafe}".rstrip(), cause_of(outcome.trouble)
    if unsafe:
        return "NO RESULT", unsafe, UNSAFE
    judgement = outcome.concluded.conclusion.judgement
    return str(judgement.verdict), judgement.reason, judgement.cause


def _clock(boot_id: str, started: Moment, ended: Moment | None) -> dict[str, Any]:
    """Return the monotonic times, s since some instant of this boot; no end for a run that was interrupted."""
    return {"boot_id": boot_id, "started_monotonic_s": round(started.monotonic, 6),
            "ended_monotonic_s": None if ended is None else round(ended.monotonic, 6)}


def _motor_type(kind: MotorType) -> dict[str, Any]:
    return {"name": kind.name, "pole_pairs": kind.pole_pairs, "winding": kind.winding,
            "rated_voltage_V": kind.rated_voltage, "forward": kind.forward, "viewed_from": kind.viewed_from,
            "spacing_deg": kind.sensors.spacing_deg if kind.sensors else None}


def _limit_file(limits: LimitFile) -> dict[str, Any]:
    revision = limits.revision
    return {"name": limits.name, "revision": revision.number, "sha256": limits.sha256, "note": revision.note,
            "released_by": revision.released_by, "released_on": revision.released_on}


def _captures(test: Tested, analyses: Ordered[CaptureAnalysis]) -> list[dict[str, Any]]:
    return [{"label": capture.label, "declared_speed_rpm": round(capture.declared_speed / RPM, 9),
             "drive_speed_rpm": capture.drive_speed / RPM,
             "temperature_degC": capture.temperature_c, "refused": written_refusal(analysis.refused),
             **({"part": list(capture.part)} if len(parts) > 1 else {})}
            for parts, analysis in zip(test.taken, analyses, strict=True) for capture in parts]


def _decision(limits: LimitFile) -> dict[str, Any]:
    exceptions = [{"key": limit.key, **_rule(limit.decision)} for limit in limits.limits if limit.decision is not None]
    return {**_rule(limits.decision), "sentence": decision_sentence(limits),
            **({"exceptions": exceptions} if exceptions else {})}


def _rule(decision: Decision) -> dict[str, Any]:
    """Return a rule with what it takes; `u_max` in the characteristic's unit."""
    return {"rule": decision.rule, "guard_factor": decision.guard_factor,
            **({"least_probability": decision.least_probability} if decision.rule == "conformance" else {}),
            **({"u_max": decision.u_max} if decision.u_max < inf else {})}


def _hazards(limits: LimitFile, sequence: Sequence) -> dict[str, float | None]:
    peaks = [limit.upper for limit in limits.limits
             if limit.name.startswith("back_emf_constant_peak") and limit.upper is not None]
    speed = touch_voltage_speed(max(peaks) * VOLT_PER_KRPM) / RPM if peaks else None
    volts = [step.voltage_V for step in sequence.steps if isinstance(step, InsulationStep)]
    return {"speed_at_25_V_rms_rpm": speed, "insulation_test_V": max(volts, default=None)}
