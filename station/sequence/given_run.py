"""A run whose captures and indications are given all at once: measured, judged and recorded as any other run.

For motors that are drawn by the thousand. The record says that no bench was at work.
"""

from collections.abc import Mapping
from collections.abc import Sequence as Ordered
from dataclasses import dataclass
from datetime import timedelta
from typing import Protocol

from station.analysis.result import CaptureAnalysis
from station.analysis.stitch import analyse_captures
from station.capture import Capture
from station.clock import Moment, stamp
from station.judgement.limit_file import LimitFile
from station.measurement import Measurement
from station.record.capture_file import as_filed
from station.record.record import Fragment, Record, fragment
from station.record.store import Store
from station.record.written import written
from station.sequence.back_drive import measured_drag
from station.sequence.concluding import Concluded, conclude_run
from station.sequence.insulation import measured_insulation
from station.sequence.record_of_run import Heading, Outcome, assemble, known_at_start
from station.sequence.run import StepTrace, outside_limits
from station.sequence.sensor_supply import measured_current
from station.sequence.winding import measured_winding
from station.sequence_file import AnyStep, BackDriveStep, InsulationStep, SensorSupplyStep, Sequence, WindingStep


class Indications(Protocol):
    """What instruments showed of one motor, SI; captures and torques in the order of the sequence."""

    @property
    def captures(self) -> Ordered[Capture]:
        """One for each label of the sequence."""

    @property
    def torques(self) -> Ordered[float]:
        """Of the drive at each capture, N m."""

    @property
    def pair_ohms(self) -> Mapping[str, float]:
        """By line pair; an open one is infinite."""

    @property
    def winding_c(self) -> float:
        """°C."""

    @property
    def ambient_c(self) -> float:
        """°C."""

    @property
    def insulation(self) -> float:
        """Ohm."""

    @property
    def supply_volts(self) -> float:
        """V, of the sensors."""

    @property
    def supply_current(self) -> float:
        """A, of the sensors."""


@dataclass(frozen=True, slots=True)
class GivenRun:
    """A run of given indications, concluded; nothing is stored yet. May be handed from one process to another."""

    serial: str
    limits: LimitFile
    sequence: Sequence
    captures: tuple[Capture, ...]   # as far as the sequence came
    conditions: dict[str, float]
    steps: tuple[StepTrace, ...]
    concluded: Concluded
    boot_id: str = ""

    @property
    def taken(self) -> list[tuple[Capture, ...]]:
        """The captures, none of them stitched."""
        return [(capture,) for capture in self.captures]

    def written(self, measurement: Measurement, label: str) -> Fragment:
        """Return a measurement as the record holds it."""
        return fragment(written(measurement, label))

    def store(self, store: Store, heading: Heading, began: Moment, took: float) -> Record:
        """Store the run as one that began then and took so many s; return its record. Errors as `Store.finish`."""
        ended = Moment(began.utc + timedelta(seconds=took), began.monotonic + took)
        known = known_at_start(heading, self.limits, self.sequence, began, self.boot_id)
        run_id = store.begin(self.serial, started=stamp(began.utc), heading=known)
        for trace in self.steps:
            trace.started, trace.ended = stamp(began.utc), stamp(ended.utc)
        outcome = Outcome(self.concluded, [trace.as_record() for trace in self.steps], began, ended, None, [])
        return store.finish(run_id, known | assemble(self, outcome), self.captures)


def conclude_given(serial: str, shown: Indications, sequence: Sequence, limits: LimitFile, boot_id: str = ""
                   ) -> GivenRun:
    """Carry the steps of `sequence` out on what was `shown`, and conclude; a failed step may stop it as in any run."""
    labels = tuple(sequence.labels())
    analyses: list[CaptureAnalysis] = []
    captures: list[Capture] = []
    measured: dict[tuple[str, str], Measurement] = {}
    conditions: dict[str, float] = {}
    traces = tuple(StepTrace(step.name, step.kind) for step in sequence.steps)
    for step, trace in zip(sequence.steps, traces, strict=True):
        new = _measured_at_rest(step, shown, limits, conditions)
        if isinstance(step, BackDriveStep):
            for capture, torque in _of_step(step, shown):
                captures.append(as_filed(capture))
                analyses.append(analyse_captures((captures[-1],), limits.motor_type))
                new["drag_torque", capture.label] = measured_drag(torque)
                new |= {(m.name, capture.label): m for m in analyses[-1].measurements.values()}
        measured |= new
        failed = outside_limits(new, labels, limits)
        trace.outcome = "failed" if failed else "done"
        if failed and step.on_fail == "stop":
            trace.note = f"stopped here: {', '.join(sorted(failed))}"
            break
    concluded = conclude_run(analyses, measured, labels, limits)
    return GivenRun(serial, limits, sequence, tuple(captures), conditions, traces, concluded, boot_id)


def _measured_at_rest(step: AnyStep, shown: Indications, limits: LimitFile, conditions: dict[str, float]
                      ) -> dict[tuple[str, str], Measurement]:
    """Return what a step at rest measures, and note its conditions."""
    match step:
        case SensorSupplyStep():
            conditions["sensor_supply_V"] = shown.supply_volts
            found = [measured_current(shown.supply_current)]
        case WindingStep():
            conditions["ambient_temperature_degC"] = shown.ambient_c
            conditions["winding_temperature_degC"] = shown.winding_c
            found = measured_winding(shown.pair_ohms, shown.winding_c, limits.motor_type)
        case InsulationStep():
            found = [measured_insulation(shown.insulation)]
        case BackDriveStep():
            found = []
    return {(m.name, ""): m for m in found}


def _of_step(step: BackDriveStep, shown: Indications) -> list[tuple[Capture, float]]:
    """Return the captures of a step, each with its torque."""
    asked = set(step.labels())
    return [(capture, torque) for capture, torque in zip(shown.captures, shown.torques, strict=True)
            if capture.label in asked]
