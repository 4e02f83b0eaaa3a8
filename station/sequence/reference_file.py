"""Reference files: what a known motor must measure, or for which reason it must fail; one file a motor."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from station.characteristic import BY_FULL_NAME, characteristic_of
from station.clock import Date
from station.errors import Fault, FileContractError
from station.judgement.limit_key import is_label, read_key
from station.toml_file import Table, TomlSource, check, read_toml

Text = Annotated[str, Field(min_length=1, max_length=200)]
NotNegative = Annotated[float, Field(ge=0)]


class MotorTable(Table):
    """Which motor, and whether it is a good one or a known-bad one."""

    serial: Text
    motor_type: Text
    kind: Literal["good", "bad"]


class OriginTable(Table):
    """Where the numbers come from."""

    established_by: Text
    established_on: Date
    note: Text


class ExpectedTable(Table):
    """One expected value; `u` its standard uncertainty, `tolerance` how far a check may be off."""

    unit: str
    value: float
    u: NotNegative
    tolerance: NotNegative


class FailureTable(Table):
    """Why a known-bad motor fails: all of `must_fail`, nothing beyond `may_fail`, and this finding."""

    finding: Text
    must_fail: Annotated[list[Text], Field(min_length=1)]
    may_fail: list[Text] = Field(default_factory=list)


class ReferenceContract(Table):
    """A whole reference file."""

    format: int
    motor: MotorTable
    origin: OriginTable
    expected: dict[str, ExpectedTable] = Field(default_factory=dict)
    failure: FailureTable | None = None


@dataclass(frozen=True, slots=True)
class Expected:
    """An expected value in its own unit; `label` None for every capture, "" where no capture is concerned."""

    key: str
    name: str
    label: str | None
    unit: str
    value: float
    u: float
    tolerance: float


@dataclass(frozen=True, slots=True)
class Failure:
    """The reason for which a known-bad motor must fail."""

    finding: str
    must_fail: tuple[str, ...]
    may_fail: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReferenceMotor:
    """A reference motor as its file describes it; `failure` is None for a good one."""

    serial: str
    motor_type: str
    expected: tuple[Expected, ...]
    failure: Failure | None
    file: str
    sha256: str

    @property
    def kind(self) -> Literal["good", "bad"]:
        """Whether it must pass or fail."""
        return "good" if self.failure is None else "bad"


def load_references(folder: Path, motor_type: str | None = None) -> tuple[ReferenceMotor, ...]:
    """Return the reference motors in `folder`, of one type or of all, good ones first; none if it is absent.

    Raises
    ------
    FileContractError
        Every fault of every file.
    """
    motors, faults = [], list[Fault]()
    for path in sorted(folder.glob("*.toml")):
        try:
            motors.append(parse_reference(read_toml(path)))
        except FileContractError as error:
            faults += error.faults
    if faults:
        raise FileContractError(faults)
    chosen = [motor for motor in motors if motor_type in (None, motor.motor_type)]
    return tuple(sorted(chosen, key=lambda m: (m.motor_type, m.kind != "good", m.serial)))


def parse_reference(source: TomlSource) -> ReferenceMotor:
    """Return the reference motor in `source`, or raise FileContractError naming every fault."""
    contract = check(source, ReferenceContract)
    faults = list(_faults(contract, source.name))
    if faults:
        raise FileContractError(faults)
    failure = contract.failure
    return ReferenceMotor(
        contract.motor.serial, contract.motor.motor_type,
        tuple(_expected(key, table) for key, table in contract.expected.items()),
        None if failure is None else Failure(failure.finding, tuple(failure.must_fail), tuple(failure.may_fail)),
        Path(source.name).name, source.sha256)


def _expected(key: str, table: ExpectedTable) -> Expected:
    name, label = read_key(key)
    if BY_FULL_NAME[name].scope != "capture":
        label = ""
    return Expected(key, name, label, table.unit, table.value, table.u, table.tolerance)


def _faults(contract: ReferenceContract, file: str) -> Iterator[Fault]:
    motor, failure = contract.motor, contract.failure
    if Path(file).stem != motor.serial:
        yield Fault(file, "motor.serial", repr(motor.serial), repr(Path(file).stem), "Name the file after the serial.")
    if (failure is None) != (motor.kind == "good"):
        yield Fault(file, "failure", "nothing" if failure is None else "a reason to fail",
                    "the table failure for a bad motor, and only for one", "Correct motor.kind, or the table.")
    if motor.kind == "good" and not contract.expected:
        yield Fault(file, "expected", "nothing", "an expected value or more",
                    "Take them from several runs: `station reference draft`.")
    for key, table in contract.expected.items():
        yield from _key_faults(key, table, file)
    for where in ("must_fail", "may_fail"):
        for name in getattr(failure, where, ()):
            if characteristic_of(name) is None:
                yield Fault(file, f"failure.{where}", repr(name), "the name of a characteristic", "Correct it.")


def _key_faults(key: str, table: ExpectedTable, file: str) -> Iterator[Fault]:
    name, label = read_key(key)
    found = characteristic_of(name)
    if found is None or name not in found.full_names():
        wanted = "a full name, such as hall_placement.b" if found is None else "one of " + ", ".join(found.full_names())
        yield Fault(file, f"expected.{key}", repr(name), wanted, "Give each line or sensor its own expected value.")
        return
    if table.unit != found.unit:
        yield Fault(file, f"expected.{key}.unit", repr(table.unit), repr(found.unit), "Give the value in that unit.")
    if label is not None and (found.scope != "capture" or not is_label(label)):
        wanted = "a capture such as forward 1500" if found.scope == "capture" else "no @: it belongs to no capture"
        yield Fault(file, f"expected.{key}", repr(label), wanted, "Correct what stands after the @.")
