"""Limit files: a motor type with its conventions, tolerance limits and decision rule."""

from dataclasses import dataclass
from pathlib import PurePath
from typing import Annotated, Literal

from pydantic import Field

from station.characteristic import BY_NAME, characteristic_of
from station.clock import Date
from station.errors import FileContractError
from station.judgement.decision_rule import Decision
from station.judgement.limit_faults import find_faults
from station.judgement.limit_key import read_key
from station.judgement.rule_tables import DecisionTable, LimitTable, Positive, Text, decided, decided_for
from station.motor import HallLayout, MotorType, Reference
from station.toml_file import Table, TomlSource, check
from station.units import factor, to_si

IsoDate = Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$")]


class TypeTable(Table):
    """`[type]`: what the motor is."""

    name: Text
    pole_pairs: Annotated[int, Field(ge=1, le=100)]
    winding: Literal["star", "delta"]
    rated_voltage_V: Positive  # noqa: N815 - the unit as files spell it
    forward: Literal["clockwise", "counter-clockwise"] = "clockwise"
    viewed_from: Literal["drive end", "opposite end"] = "drive end"
    max_speed_rpm: Positive | None = None   # no sequence may turn it faster


class RiseTable(Table):
    """`rise_deg`: rotor angle at which each sensor goes high."""

    a: float
    b: float
    c: float


class SensorsTable(Table):
    """`[sensors]`: absent for a motor without sensors."""

    spacing_deg: Literal[60, 120]
    rise_deg: RiseTable


class ReferenceTable(Table):
    """`[reference]`: the temperature at which the limits hold."""

    temperature_C: Annotated[float, Field(ge=-60, le=200)] = 20.0  # noqa: N815
    magnet_per_K: Annotated[float, Field(ge=-0.01, le=0.01)] = 0.0  # noqa: N815
    copper_constant_C: Annotated[float, Field(ge=200, le=300)] = 235.0  # noqa: N815


class RunsTable(Table):
    """`[runs]`: how many runs a motor may have."""

    allowed: Annotated[int, Field(ge=1, le=10)] = 1


class RevisionTable(Table):
    """`[revision]`: a draft until somebody has released it."""

    number: Text
    note: str = ""
    released_by: Text | None = None
    released_on: Date | IsoDate | None = None
    reason: str = ""
    study: str = ""


class LimitContract(Table):
    """A whole limit file."""

    format: int
    type: TypeTable
    sensors: SensorsTable | None = None
    reference: ReferenceTable = ReferenceTable()
    decision: DecisionTable = DecisionTable()
    runs: RunsTable = RunsTable()
    revision: RevisionTable
    limits: dict[str, LimitTable]


@dataclass(frozen=True, slots=True)
class Limit:
    """Tolerance limits of a characteristic, in the characteristic's own unit.

    `key` is the entry as typed, `name` the characteristic it limits (`hall_placement` stands for
    every sensor), `label` the one capture it holds for, or None for every capture. `decision` is
    its own rule, None where it has that of the file.
    """

    key: str
    name: str
    label: str | None
    unit: str
    lower: float | None
    upper: float | None
    decision: Decision | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """The full names of the values that it covers: each member of a plain name, not their mean."""
        characteristic = BY_NAME.get(self.name)
        return (self.name,) if characteristic is None else characteristic.limited_names()

    def covers(self, name: str, label: str) -> bool:
        """Return whether it holds for a value of that full name in the capture `label`, "" for none."""
        return name in self.names and self.label in (None, label)


@dataclass(frozen=True, slots=True)
class Revision:
    """Which revision a limit file is, and who released it."""

    number: str
    note: str = ""
    released_by: str | None = None
    released_on: str | None = None  # ISO 8601 date
    reason: str = ""
    study: str = ""


@dataclass(frozen=True, slots=True)
class LimitFile:
    """A limit file as read; `text` is the file as typed and `sha256` the hash of its bytes."""

    name: str
    sha256: str
    text: str
    motor_type: MotorType
    limits: tuple[Limit, ...]
    decision: Decision
    runs_allowed: int
    revision: Revision

    def decision_of(self, limit: Limit) -> Decision:
        """Return the rule by which `limit` is judged: its own, or that of the file."""
        return limit.decision or self.decision


def parse_limits(source: TomlSource) -> LimitFile:
    """Return the limit file in `source`.

    Raises
    ------
    FileContractError
        Naming every breach, of form and of meaning, at once.
    """
    faults = find_faults(source)
    try:
        contract = check(source, LimitContract)
    except FileContractError as error:
        raise FileContractError([*error.faults, *faults]) from None
    if faults:
        raise FileContractError(faults)
    decision = decided(Decision(), contract.decision)
    return LimitFile(
        name=PurePath(source.name).name, sha256=source.sha256, text=source.text,
        motor_type=_motor_type(contract),
        limits=tuple(_limit(key, entry, decision) for key, entry in contract.limits.items()),
        decision=decision,
        runs_allowed=contract.runs.allowed, revision=_revision(contract.revision),
    )


def _limit(key: str, entry: LimitTable, of_file: Decision) -> Limit:
    name, label = read_key(key)
    characteristic = characteristic_of(name)
    assert characteristic is not None  # noqa: S101 - find_faults has refused unknown names
    scale = factor(entry.unit, characteristic.unit)
    lower, upper = (None if bound is None else bound * scale for bound in (entry.lower, entry.upper))
    own = decided_for(entry, of_file, scale)
    return Limit(key, name, label, characteristic.unit, lower, upper, None if own == of_file else own)


def _motor_type(contract: LimitContract) -> MotorType:
    kind, reference = contract.type, contract.reference
    layout = None
    if contract.sensors is not None:
        rise = contract.sensors.rise_deg
        layout = HallLayout(contract.sensors.spacing_deg, (rise.a, rise.b, rise.c))
    return MotorType(
        kind.name, kind.pole_pairs, kind.winding, kind.rated_voltage_V, kind.forward, kind.viewed_from, layout,
        Reference(reference.temperature_C, reference.magnet_per_K, reference.copper_constant_C),
        None if kind.max_speed_rpm is None else to_si(kind.max_speed_rpm, "rpm"),
    )


def _revision(table: RevisionTable) -> Revision:
    on = table.released_on
    return Revision(table.number, table.note, table.released_by,
                    on if on is None or isinstance(on, str) else on.isoformat(), table.reason, table.study)
