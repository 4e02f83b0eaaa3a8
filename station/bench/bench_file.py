"""The bench file: which instrument fills each role, where it is, how good it is and how it is wired."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated

from pydantic import Field

from station.bench import (
    digitizer,
    drive,
    guard,
    insulation_tester,
    ohmmeter,
    sensor_supply,
    thermometer,
)
from station.bench.calibration import Calibration, Extension
from station.bench.dialect import Dialect, Needs, load_dialect
from station.bench.digitizer import Wiring
from station.bench.drive_limits import DriveLimits
from station.bench.identity import Identity
from station.bench.register_map import RegisterMap, load_register_map
from station.bench.resource import SCPI_RESOURCE, is_hislip, tcp_port
from station.bench.roles import ROLES, SENSOR_DIGITIZER, Role
from station.bench.wiring import CapturePart, InputSwitchTable, SignalsTable, capture_parts, wiring_faults
from station.capture import Accuracy
from station.clock import Date
from station.errors import Fault, FileContractError
from station.toml_file import Table, TomlSource, check, read_toml
from station.units import to_si

NEEDS: dict[Role, Needs] = {
    "drive": drive.NEEDS, "digitizer": digitizer.NEEDS, "ohmmeter": ohmmeter.NEEDS, "supply": sensor_supply.NEEDS,
    "insulation": insulation_tester.NEEDS, "thermometer": thermometer.NEEDS, "guard": guard.NEEDS,
}
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Text = Annotated[str, Field(min_length=1, max_length=200, pattern=r"^[^\n\r]+$")]
Field4882 = Annotated[str, Field(min_length=1, max_length=72, pattern=r"^[^,;\n\r]+$")]
Resource = Annotated[str, Field(pattern=f"^{SCPI_RESOURCE}$")]
# A Modbus TCP drive: host, port, and its unit number, 1 unless given.
DriveResource = Annotated[str, Field(pattern=f"^({SCPI_RESOURCE}"
                                     r"|MODBUS::[A-Za-z0-9.\-]+::\d{1,5}(::\d{1,3})?)$")]


class IdentityTable(Table):
    """The answer to *IDN? that is expected."""

    maker: Field4882
    model: Field4882
    serial: Field4882
    firmware: Field4882


class ExtensionTable(Table):
    """A written extension of a calibration that has run out; it is printed on every certificate."""

    person: Annotated[Text, Field(max_length=40)]
    reason: Annotated[Text, Field(max_length=80)]
    until: Date


class CalibrationTable(Table):
    """The calibration certificate in force."""

    certificate: Text
    date: Date
    due: Date
    extension: ExtensionTable | None = None


class InstrumentTable(Table):
    """One role."""

    resource: Resource
    dialect: Text
    deadline_s: Annotated[float, Field(gt=0, le=60)] = 2.0
    baud: Annotated[int, Field(ge=50, le=4_000_000)] = 9600    # serial lines only
    identity: IdentityTable
    calibration: CalibrationTable


class DriveInstrumentTable(InstrumentTable):
    """The drive, which may also be reached over Modbus TCP; its dialect is a register map then."""

    resource: DriveResource


class GuardTable(InstrumentTable):
    """The guard: an input card answers at once, and a look that is not answered counts as an open guard."""

    deadline_s: Annotated[float, Field(gt=0, le=60)] = 0.5


class InstrumentsTable(Table):
    """All seven roles, and a digitizer for the sensors on a bench that has one."""

    drive: DriveInstrumentTable
    digitizer: InstrumentTable
    ohmmeter: InstrumentTable
    supply: InstrumentTable
    insulation: InstrumentTable
    thermometer: InstrumentTable
    guard: GuardTable
    sensor_digitizer: InstrumentTable | None = None

    def roles(self) -> tuple[Role, ...]:
        """Return the roles of this bench."""
        return (*ROLES, SENSOR_DIGITIZER) if self.sensor_digitizer is not None else ROLES


class AccuracyTable(Table):
    """Limits of error (half widths)."""

    gain_common: NotNegative
    gain: NotNegative
    offset: NotNegative = Field(alias="offset_V")
    timebase: NotNegative
    skew_s: NotNegative
    lag_s: NotNegative
    temperature: NotNegative = Field(alias="temperature_K")
    threshold: NotNegative
    slot_ripple: NotNegative = Accuracy().slot_ripple


class DriveTable(Table):
    """What the drive may do."""

    max_speed_rpm: Positive
    watchdog_s: Positive
    stop_deadline_s: Positive = 30.0
    watchdog_proof_days: NotNegative = 0.0      # 0: no proof is asked for


class DischargeTable(Table):
    """When the winding counts as discharged."""

    below: Positive = Field(default=25.0, alias="below_V")
    deadline_s: Positive = 10.0


class BenchContract(Table):
    """The tables of a bench file."""

    format: int
    instruments: InstrumentsTable
    wiring: SignalsTable
    accuracy: AccuracyTable
    sensor_wiring: SignalsTable = SignalsTable()
    sensor_accuracy: AccuracyTable | None = None
    input_switch: InputSwitchTable = InputSwitchTable()
    drive_limits: DriveTable
    discharge: DischargeTable = DischargeTable()


@dataclass(frozen=True, slots=True)
class InstrumentEntry:
    """One role as the bench file describes it."""

    role: Role
    resource: str
    dialect: Dialect | RegisterMap   # how it speaks; a register map for a drive over Modbus
    deadline: float            # s per exchange
    identity: Identity         # expected
    calibration: Calibration
    baud: int = 9600           # serial lines only

    @property
    def port(self) -> int | None:
        """TCP port in the resource, or None where it has none."""
        return tcp_port(self.resource)


@dataclass(frozen=True, slots=True)
class BenchFile:
    """A bench file, checked, with the dialects it names."""

    name: str
    sha256: str
    instruments: tuple[InstrumentEntry, ...]   # in the order of ROLES, then the digitizer for the sensors
    wiring: Mapping[str, Wiring]
    accuracy: Accuracy
    drive_limits: DriveLimits
    discharged_below: float                    # V
    discharge_deadline: float                  # s
    sensor_wiring: Mapping[str, Wiring] = field(default_factory=dict)
    sensor_accuracy: Accuracy | None = None    # of the digitizer for the sensors, where it has its own
    switch_settle: float = 0.0                 # s, of the switch before the inputs

    @property
    def roles(self) -> tuple[Role, ...]:
        """The roles of this bench."""
        return tuple(entry.role for entry in self.instruments)

    @property
    def capture_parts(self) -> tuple[CapturePart, ...]:
        """What must be captured for all signals: one capture, or two that are stitched."""
        return capture_parts(self.wiring, self.sensor_wiring)

    def accuracy_of(self, role: Role) -> Accuracy:
        """Return the limits of error of a digitizer."""
        return (self.sensor_accuracy if role == SENSOR_DIGITIZER else None) or self.accuracy

    def entry(self, role: Role) -> InstrumentEntry:
        """Return the entry of `role`."""
        return self.instruments[self.roles.index(role)]

    @property
    def has_modbus_drive(self) -> bool:
        """Whether the drive is reached over Modbus."""
        return isinstance(self.entry("drive").dialect, RegisterMap)

    def ports(self) -> dict[str, int]:
        """Return the TCP port of every role reached by a raw socket or Modbus."""
        return {entry.role: entry.port for entry in self.instruments
                if entry.port is not None and not is_hislip(entry.resource)}

    def hislip_ports(self) -> dict[str, int]:
        """Return the TCP port of every role reached over HiSLIP."""
        return {entry.role: entry.port for entry in self.instruments
                if entry.port is not None and is_hislip(entry.resource)}


def load_bench(path: Path) -> BenchFile:
    """Read a bench file and its dialects, or raise one FileContractError naming every fault."""
    return parse_bench(read_toml(path), path.parent)


def parse_bench(source: TomlSource, folder: Path) -> BenchFile:
    """Return the bench file in `source`; its own dialect files are looked for in `folder`."""
    contract = check(source, BenchContract)
    faults = _cross_faults(contract, source.name)
    entries = []
    for role in contract.instruments.roles():
        table: InstrumentTable = getattr(contract.instruments, role)
        try:
            dialect = _dialect(table, folder, role)
        except FileContractError as error:
            faults += error.faults
            continue
        entries.append(InstrumentEntry(role, table.resource, dialect, table.deadline_s,
                                       Identity(**table.identity.model_dump()),
                                       _calibration(table.calibration), table.baud))
    faults += _switch_faults(contract, entries, source.name)
    if faults:
        raise FileContractError(faults)
    limits, discharge = contract.drive_limits, contract.discharge
    return BenchFile(Path(source.name).name, source.sha256, tuple(entries), contract.wiring.wirings(),
                     _accuracy(contract.accuracy),
                     DriveLimits(to_si(limits.max_speed_rpm, "rpm"), limits.watchdog_s, limits.stop_deadline_s,
                                 limits.watchdog_proof_days),
                     discharge.below, discharge.deadline_s, contract.sensor_wiring.wirings(),
                     _accuracy(contract.sensor_accuracy) if contract.sensor_accuracy else None,
                     contract.input_switch.settle_s)


def _dialect(table: InstrumentTable, folder: Path, role: Role) -> Dialect | RegisterMap:
    if table.resource.startswith("MODBUS::"):
        return load_register_map(table.dialect, folder)
    kind: Role = "digitizer" if role == SENSOR_DIGITIZER else role
    return load_dialect(table.dialect, folder, kind, NEEDS[kind])


def _calibration(table: CalibrationTable) -> Calibration:
    extension = Extension(**table.extension.model_dump()) if table.extension else None
    return Calibration(table.certificate, table.date, table.due, extension)


def _accuracy(table: AccuracyTable) -> Accuracy:
    return Accuracy(gain_common=table.gain_common, gain=table.gain, offset=table.offset, timebase=table.timebase,
                    skew=table.skew_s, lag=table.lag_s, temperature=table.temperature,
                    threshold=table.threshold, slot_ripple=table.slot_ripple)


def _cross_faults(contract: BenchContract, file: str) -> list[Fault]:
    faults: list[Fault] = []
    resources: dict[str, str] = {}
    serials: dict[IdentityTable, str] = {}
    for role in contract.instruments.roles():
        table: InstrumentTable = getattr(contract.instruments, role)
        key = f"instruments.{role}"
        faults += _calibration_faults(table.calibration, file, key)
        port = tcp_port(table.resource)
        if port is not None and not 0 < port < 1 << 16:
            faults.append(Fault(file, f"{key}.resource", repr(table.resource), "a port from 1 to 65535",
                                "Give the instrument's port."))
        other = resources.setdefault(table.resource, role)
        if other != role:
            faults.append(Fault(file, f"{key}.resource", f"that of the {other}", "an address of its own",
                                "Give each role its own instrument."))
        other = serials.setdefault(table.identity, role)
        if other != role:
            faults.append(Fault(file, f"{key}.identity", f"that of the {other}", "an identity of its own",
                                "Give each role its own instrument."))
    return faults + _wiring_faults(contract, file)


def _calibration_faults(table: CalibrationTable, file: str, key: str) -> list[Fault]:
    faults, key = [], f"{key}.calibration"
    if table.due <= table.date:
        faults.append(Fault(file, f"{key}.due", table.due.isoformat(), f"a day after {table.date.isoformat()}",
                            "Copy both dates from the certificate."))
    extension = table.extension
    if extension is None:
        return faults
    if extension.until <= table.due:
        faults.append(Fault(file, f"{key}.extension.until", extension.until.isoformat(),
                            f"a day after {table.due.isoformat()}", "Give its last day, or remove it."))
    return faults + [Fault(file, f"{key}.extension.{name}", repr(text), "words that say it",
                           "Write who extended the calibration, and why.")
                     for name, text in (("person", extension.person), ("reason", extension.reason)) if not text.strip()]


def _wiring_faults(contract: BenchContract, file: str) -> list[Fault]:
    wired, sensors = contract.wiring.wirings(), contract.sensor_wiring.wirings()
    if bool(sensors) == (contract.instruments.sensor_digitizer is not None):
        return wiring_faults(wired, sensors, file)
    key = f"instruments.{SENSOR_DIGITIZER}" if sensors else "sensor_wiring"
    return [Fault(file, key, "nothing", "both of instruments.sensor_digitizer and sensor_wiring, or neither",
                  "Add what is missing, or remove the other.")]


def _switch_faults(contract: BenchContract, entries: Sequence[InstrumentEntry], file: str) -> list[Fault]:
    """Return why signals behind a switch cannot be reached: a dialect without words for it."""
    switched = any(each.position for each in contract.wiring.wirings().values())
    return [Fault(file, f"instruments.{entry.role}.dialect", entry.dialect.name, "a dialect with a template select",
                  "Add it to the dialect file, or leave the positions out of the wiring.")
            for entry in entries if switched and entry.role == "digitizer"
            and isinstance(entry.dialect, Dialect) and not entry.dialect.has("select")]
