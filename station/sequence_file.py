"""Sequence files: the ordered steps of a test, with their parameters and deadlines."""

from dataclasses import dataclass
from math import ceil
from typing import Annotated, Literal

from pydantic import Field

from station.errors import Fault, FileContractError
from station.toml_file import Table, TomlSource, check

Positive = Annotated[float, Field(gt=0)]
OnFail = Literal["go on", "stop"]


class Step(Table):
    """What every step has: a name, a deadline, and what to do when one of its values fails."""

    name: Annotated[str, Field(min_length=1)]
    deadline_s: Positive
    on_fail: OnFail = "go on"


class SensorSupplyStep(Step):
    """Power the Hall sensors and measure their current."""

    kind: Literal["sensor supply"]
    voltage_V: Annotated[float, Field(gt=0, le=24)]  # noqa: N815 - the unit belongs to the key
    current_limit_A: Annotated[float, Field(gt=0, le=1)]  # noqa: N815
    settle_s: Annotated[float, Field(ge=0)] = 0.05


class WindingStep(Step):
    """Measure the resistance of the three line pairs and the winding temperature."""

    kind: Literal["winding resistance"]


class InsulationStep(Step):
    """Apply insulation voltage, measure, and confirm the discharge."""

    kind: Literal["insulation"]
    voltage_V: Annotated[float, Field(gt=0, le=1000)]  # noqa: N815
    dwell_s: Positive
    discharged_below_V: Annotated[float, Field(gt=0, le=60)] = 25.0  # noqa: N815


class BackDriveStep(Step):
    """Turn the motor with the drive and take a capture at each speed, forward first, then reverse.

    `sensor_sample_interval_s` is for a digitizer of its own for the sensors; without it both sample alike.
    """

    kind: Literal["back-drive"]
    speeds_rpm: Annotated[list[Positive], Field(min_length=1)]
    directions: Annotated[list[Literal["forward", "reverse"]], Field(min_length=1)]
    ramp_rpm_per_s: Positive
    sample_interval_s: Annotated[float, Field(gt=0, le=1e-3)]
    revolutions: Annotated[float, Field(ge=3, le=1000)]
    sensor_sample_interval_s: Annotated[float, Field(gt=0, le=1e-3)] | None = None

    def labels(self) -> list[str]:
        """Return the capture labels in the order in which they are taken."""
        return [f"{direction} {speed:g}" for direction in self.directions for speed in sorted(self.speeds_rpm)]

    def targets_rpm(self) -> list[float]:
        """Return signed speeds in the order of `labels`."""
        return [speed if direction == "forward" else -speed
                for direction in self.directions for speed in sorted(self.speeds_rpm)]

    def capture_bytes(self) -> int:
        """Return how many bytes the codes of all captures take, six signals of 16 bit; their files are smaller."""
        interval = min(self.sample_interval_s, self.sensor_sample_interval_s or self.sample_interval_s)
        return sum(12 * ceil(self.revolutions * 60 / abs(speed) / interval) for speed in self.targets_rpm())


AnyStep = Annotated[SensorSupplyStep | WindingStep | InsulationStep | BackDriveStep, Field(discriminator="kind")]


class Heading(Table):
    """Name and revision of the sequence."""

    name: Annotated[str, Field(min_length=1)]
    revision: Annotated[str, Field(min_length=1)]
    start_deadline_s: Positive = 60.0


class SequenceContract(Table):
    """A whole sequence file."""

    format: int
    sequence: Heading
    step: Annotated[list[AnyStep], Field(min_length=1)]


@dataclass(frozen=True, slots=True)
class Sequence:
    """The ordered steps of a test, with the hash of the file they came from."""

    name: str
    revision: str
    sha256: str
    start_deadline: float  # s
    steps: tuple[AnyStep, ...]

    def max_speed_rpm(self) -> float:
        """Return the highest speed that any step asks for, 0 without back-drive."""
        return max((speed for step in self.steps if isinstance(step, BackDriveStep)
                    for speed in step.speeds_rpm), default=0.0)

    def labels(self) -> list[str]:
        """Return the labels of all captures, in order."""
        return [label for step in self.steps if isinstance(step, BackDriveStep) for label in step.labels()]

    def capture_bytes(self) -> int:
        """Return how many bytes the codes of all captures take."""
        return sum(step.capture_bytes() for step in self.steps if isinstance(step, BackDriveStep))


def parse_sequence(source: TomlSource) -> Sequence:
    """Return the sequence in `source`, or raise FileContractError naming every fault."""
    contract = check(source, SequenceContract)
    faults = _taken_twice(contract.step, source.name)
    if faults:
        raise FileContractError(faults)
    return Sequence(contract.sequence.name, contract.sequence.revision, source.sha256,
                    contract.sequence.start_deadline_s, tuple(contract.step))


def _taken_twice(steps: list[AnyStep], file: str) -> list[Fault]:
    """Return a fault for each capture taken twice: values go by its label, so the later would hide the earlier."""
    faults, taken = [], set[str]()
    for number, step in enumerate(steps):
        for label in step.labels() if isinstance(step, BackDriveStep) else []:
            if label in taken:
                faults.append(Fault(file, f"step.{number}.back-drive", f"a second capture {label}",
                                    "each speed and direction once in the whole sequence",
                                    "Remove the repeated speed or direction."))
            taken.add(label)
    return faults
