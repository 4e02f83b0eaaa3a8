"""Register maps: TOML files that say where a make of Modbus drive keeps the objects of CiA 402."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from station import units
from station.bench.cia402 import ENABLE_OPERATION, FAULT_RESET
from station.bench.dialect import dialect_path
from station.errors import Fault, FileContractError
from station.toml_file import Table, TomlSource, check, read_toml

Number = Literal["int16", "uint16", "int32", "uint32"]
Word = Annotated[int, Field(ge=0, le=0xFFFF)]
SPANS: dict[Number, tuple[int, int]] = {
    "int16": (-1 << 15, (1 << 15) - 1), "uint16": (0, (1 << 16) - 1),
    "int32": (-1 << 31, (1 << 31) - 1), "uint32": (0, (1 << 32) - 1),
}
_DIMENSIONS = {"target_speed": "rotational speed", "actual_speed": "rotational speed",
               "speed_limit": "rotational speed", "torque": "torque", "watchdog": "time"}


@dataclass(frozen=True, slots=True)
class Register:
    """One number in the drive: its SI value is its raw value times `factor`."""

    address: int               # on the wire
    number: Number = "uint16"
    table: Literal["holding", "input"] = "holding"
    factor: float = 1.0

    @property
    def words(self) -> int:
        """How many 16 bit registers it takes."""
        return 2 if self.number.endswith("32") else 1


@dataclass(frozen=True, slots=True)
class IdentityPart:
    """Where one part of the identity is: a device identification object, registers with text, or a number."""

    object: int | None
    text: tuple[Register, int] | None     # first register, and how many hold two characters each
    number: Register | None


@dataclass(frozen=True, slots=True)
class RegisterMap:
    """Where one make of drive keeps what the station needs. Quantities are SI once times their factor."""

    name: str
    sha256: str
    big_word_first: bool
    write_single: bool                         # one register is written with function 6, else with 16
    clients: int                               # how many connections the drive serves at once
    enable_operation: int                      # control word
    control: Register
    status: Register
    fault_code: Register
    target_speed: Register
    actual_speed: Register
    speed_limit: Register
    torque: Register
    watchdog: Register
    ramps: tuple[Register, ...]                # rad/s2 times their factor
    settings: tuple[tuple[Register, int], ...]  # raw values written before enabling, in this order
    identity: Mapping[str, IdentityPart]
    fault_texts: Mapping[int, str]


class RegisterTable(Table):
    """A register with its raw number."""

    register_: Word = Field(alias="register")
    type: Number = "uint16"
    table: Literal["holding", "input"] = "holding"


class QuantityTable(RegisterTable):
    """A register that carries a quantity: raw number x scale, in the unit."""

    scale: Annotated[float, Field(gt=0)]
    unit: str


class SettingTable(RegisterTable):
    """A register with the value that it must have before the drive is enabled."""

    value: int


class IdentityPartTable(Table):
    """One part of the identity."""

    object: Annotated[int, Field(ge=0, le=0xFF)] | None = None
    register_: Word | None = Field(default=None, alias="register")
    type: Number | Literal["text"] = "uint32"
    words: Annotated[int, Field(ge=1, le=64)] = 1
    table: Literal["holding", "input"] = "holding"


class IdentityTable(Table):
    """All parts of the identity."""

    maker: IdentityPartTable
    model: IdentityPartTable
    serial: IdentityPartTable
    firmware: IdentityPartTable


class WordsTable(Table):
    """The registers of the state machine."""

    control: RegisterTable
    status: RegisterTable
    fault_code: RegisterTable
    enable_operation: Word = ENABLE_OPERATION


class QuantitiesTable(Table):
    """The registers that carry quantities."""

    target_speed: QuantityTable
    actual_speed: QuantityTable
    speed_limit: QuantityTable
    torque: QuantityTable
    watchdog: QuantityTable


class RegisterMapContract(Table):
    """The tables of a register map."""

    format: int
    role: Literal["drive"]
    kind: Literal["modbus"]
    word_order: Literal["big", "little"]
    address_base: Literal[0, 1]
    write_single: bool = True
    clients: Annotated[int, Field(ge=1)] = 2
    words: WordsTable
    quantities: QuantitiesTable
    ramps: Annotated[list[QuantityTable], Field(min_length=1)]
    settings: dict[str, SettingTable] = Field(default_factory=dict)
    identity: IdentityTable
    fault_texts: dict[str, str] = Field(default_factory=dict)


def load_register_map(name: str, folder: Path) -> RegisterMap:
    """Load the shipped map `name`, or the file `name` in `folder` when it ends in .toml; all faults in one error."""
    return parse_register_map(read_toml(dialect_path(name, folder)))


def parse_register_map(source: TomlSource) -> RegisterMap:
    """Return the register map in `source`, or raise one FileContractError naming every fault."""
    contract = check(source, RegisterMapContract)
    faults = _faults(contract, source.name)
    if faults:
        raise FileContractError(faults)
    words, quantities, shift = contract.words, contract.quantities, contract.address_base
    return RegisterMap(
        Path(source.name).name, source.sha256, contract.word_order == "big", contract.write_single,
        contract.clients, words.enable_operation, _register(words.control, shift), _register(words.status, shift),
        _register(words.fault_code, shift),
        _quantity(quantities.target_speed, shift), _quantity(quantities.actual_speed, shift),
        _quantity(quantities.speed_limit, shift), _quantity(quantities.torque, shift),
        _quantity(quantities.watchdog, shift), tuple(_quantity(row, shift) for row in contract.ramps),
        tuple((_register(row, shift), row.value) for row in contract.settings.values()),
        {part: _identity_part(getattr(contract.identity, part), shift) for part in IdentityTable.model_fields},
        {int(code, 16): text for code, text in contract.fault_texts.items()},
    )


def _register(row: RegisterTable, shift: int) -> Register:
    return Register(row.register_ - shift, row.type, row.table)


def _quantity(row: QuantityTable, shift: int) -> Register:
    return Register(row.register_ - shift, row.type, row.table, units.to_si(row.scale, row.unit))


def _identity_part(row: IdentityPartTable, shift: int) -> IdentityPart:
    if row.register_ is None:
        return IdentityPart(row.object, None, None)
    if row.type == "text":
        return IdentityPart(None, (Register(row.register_ - shift, "uint16", row.table), row.words), None)
    return IdentityPart(None, None, Register(row.register_ - shift, row.type, row.table))


def _faults(contract: RegisterMapContract, file: str) -> list[Fault]:
    return [*_place_faults(contract, file), *_unit_faults(contract, file), *_value_faults(contract, file)]


def _rows(contract: RegisterMapContract) -> dict[str, RegisterTable]:
    rows: dict[str, RegisterTable] = {f"words.{name}": getattr(contract.words, name)
                                      for name in ("control", "status", "fault_code")}
    rows |= {f"quantities.{name}": getattr(contract.quantities, name) for name in _DIMENSIONS}
    rows |= {f"ramps[{number}]": row for number, row in enumerate(contract.ramps)}
    return rows | {f"settings.{name}": row for name, row in contract.settings.items()}


def _place_faults(contract: RegisterMapContract, file: str) -> list[Fault]:
    faults, read_only = [], ("words.status", "words.fault_code", "quantities.actual_speed", "quantities.torque")
    for key, row in _rows(contract).items():
        if row.register_ < contract.address_base:
            faults.append(Fault(file, f"{key}.register", "0", "1 or more", "Registers here are counted from one."))
        if row.table == "input" and key not in read_only:
            faults.append(Fault(file, f"{key}.table", "'input'", "'holding'", "Input registers cannot be written."))
    for part in IdentityTable.model_fields:
        row = getattr(contract.identity, part)
        if (row.object is None) == (row.register_ is None):
            faults.append(Fault(file, f"identity.{part}", "both or neither", "an object or a register",
                                "Give the device identification object, or the register that holds it."))
    return faults


def _unit_faults(contract: RegisterMapContract, file: str) -> list[Fault]:
    rows: dict[str, tuple[QuantityTable, str]] = {
        f"quantities.{name}": (getattr(contract.quantities, name), dimension)
        for name, dimension in _DIMENSIONS.items()}
    rows |= {f"ramps[{number}]": (row, "rotational speed") for number, row in enumerate(contract.ramps)}
    return [Fault(file, f"{key}.unit", repr(row.unit), f"a unit of {dimension}",
                  "Give the unit in which the drive carries it; ramps carry a speed per second.")
            for key, (row, dimension) in rows.items()
            if row.unit not in units.names() or units.dimension(row.unit) != dimension]


def _value_faults(contract: RegisterMapContract, file: str) -> list[Fault]:
    faults = []
    for name, row in contract.settings.items():
        low, high = SPANS[row.type]
        if not low <= row.value <= high:
            faults.append(Fault(file, f"settings.{name}.value", str(row.value), f"{low} to {high}",
                                f"Correct it, or the type {row.type}."))
    word = contract.words.enable_operation
    if word & ENABLE_OPERATION != ENABLE_OPERATION or word & FAULT_RESET:
        faults.append(Fault(file, "words.enable_operation", f"{word:04X}h", "a word with xxxx 0xxx 1111 at its end",
                            "Add only the bits of the mode of operation: 000Fh, or 007Fh in velocity mode."))
    if not contract.quantities.target_speed.type.startswith("int"):
        faults.append(Fault(file, "quantities.target_speed.type", contract.quantities.target_speed.type,
                            "int16 or int32", "Speeds have a sign."))
    if not contract.quantities.actual_speed.type.startswith("int"):
        faults.append(Fault(file, "quantities.actual_speed.type", contract.quantities.actual_speed.type,
                            "int16 or int32", "Speeds have a sign."))
    return faults + [Fault(file, f"fault_texts.{code}", code, "a fault code as four hex digits",
                           "Write the code as the maker lists it, without 0x.")
                     for code in contract.fault_texts if not _is_hex(code)]


def _is_hex(code: str) -> bool:
    return len(code) == 4 and all(digit in "0123456789abcdefABCDEF" for digit in code)
