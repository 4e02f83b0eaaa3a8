"""Dialects: TOML files that say how one make of instrument speaks, checked against what its role needs."""

import string
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pydantic import Field

from station import units
from station.errors import Fault, FileContractError
from station.toml_file import Table, TomlSource, check, read_toml

Fields = frozenset[str]
SHIPPED = Path(__file__).with_name("dialects")


@dataclass(frozen=True, slots=True)
class Needs:
    """What a role's driver asks of a dialect: templates with their fields, numbers, and units by dimension."""

    templates: Mapping[str, Fields]
    numbers: Fields = frozenset()
    units: Mapping[str, str] | None = None   # quantity -> dimension


class DialectContract(Table):
    """The tables of a dialect file."""

    format: int
    role: str
    templates: dict[str, str]
    numbers: dict[str, int] = Field(default_factory=dict)
    units: dict[str, str] = Field(default_factory=dict)
    block_tail: str = "\n"


@dataclass(frozen=True, slots=True)
class Dialect:
    """How one make of instrument speaks: `templates[name]` becomes a line by filling its fields."""

    name: str
    sha256: str
    templates: Mapping[str, str]
    numbers: Mapping[str, int]
    units: Mapping[str, str]
    block_tail: str

    def line(self, name: str, **fields: float | str) -> str:
        """Return the line for `name`; numbers are written with twelve digits."""
        return self.templates[name].format(**{key: _wire_text(value) for key, value in fields.items()})

    def to_wire(self, quantity: str, value: float) -> float:
        """Return an SI `value` in the unit in which this dialect carries `quantity`."""
        return units.from_si(value, self.units[quantity])

    def from_wire(self, quantity: str, value: float) -> float:
        """Return a number off the wire in SI."""
        return units.to_si(value, self.units[quantity])


def load_dialect(name: str, folder: Path, role: str, needs: Needs) -> Dialect:
    """Load the shipped dialect `name`, or the file `name` beside the bench file when it ends in .toml.

    Raises FileContractError naming every fault.
    """
    path = folder / name if name.endswith(".toml") else SHIPPED / f"{name}.toml"
    return parse_dialect(read_toml(path), role, needs)


def parse_dialect(source: TomlSource, role: str, needs: Needs) -> Dialect:
    """Return the dialect in `source`, checked against what `role` needs; all faults in one error."""
    contract = check(source, DialectContract)
    faults = [*_role_faults(contract, source.name, role), *_template_faults(contract, source.name, needs),
              *_number_faults(contract, source.name, needs), *_unit_faults(contract, source.name, needs)]
    if faults:
        raise FileContractError(faults)
    return Dialect(Path(source.name).name, source.sha256, contract.templates, contract.numbers, contract.units,
                   contract.block_tail)


def _wire_text(value: float | str) -> str:
    # Twelve digits: no instrument sets finer, and 6000 r/min through rad/s and back stays 6000.
    return value if isinstance(value, str) else f"{value:.12g}"


def _role_faults(contract: DialectContract, file: str, role: str) -> list[Fault]:
    faults = []
    if contract.role != role:
        faults.append(Fault(file, "role", repr(contract.role), repr(role), "Name the dialect of the right role."))
    if contract.block_tail not in ("", "\n", "\r\n"):
        faults.append(Fault(file, "block_tail", repr(contract.block_tail), '"", "\\n" or "\\r\\n"',
                            "Give what follows a block."))
    return faults


def _template_faults(contract: DialectContract, file: str, needs: Needs) -> list[Fault]:
    faults = _key_faults(set(contract.templates), set(needs.templates), file, "templates")
    for name, template in contract.templates.items():
        if name in needs.templates:
            faults += _one_template_faults(file, name, template, needs.templates[name])
    return faults


def _one_template_faults(file: str, name: str, template: str, wanted: Fields) -> list[Fault]:
    key = f"templates.{name}"
    if not template.isascii() or not template.isprintable() or not template:
        return [Fault(file, key, repr(template), "one line of printable ASCII", "Remove line breaks and signs.")]
    try:
        parts = list(string.Formatter().parse(template))
    except ValueError as error:
        return [Fault(file, key, repr(template), "fields as {name}", f"Mend the braces: {error}.")]
    fields = {field for _, field, _, _ in parts if field is not None}
    plain = all(not spec and not conversion for _, _, spec, conversion in parts)
    if fields != wanted or not plain:
        return [Fault(file, key, repr(template), "the fields " + (", ".join(sorted(wanted)) or "none"),
                      "Use each field once as {name}, without format.")]
    return []


def _number_faults(contract: DialectContract, file: str, needs: Needs) -> list[Fault]:
    return _key_faults(set(contract.numbers), set(needs.numbers), file, "numbers")


def _unit_faults(contract: DialectContract, file: str, needs: Needs) -> list[Fault]:
    wanted = needs.units or {}
    faults = _key_faults(set(contract.units), set(wanted), file, "units")
    for quantity, unit in contract.units.items():
        if quantity not in wanted:
            continue
        if unit not in units.names() or units.dimension(unit) != wanted[quantity]:
            faults.append(Fault(file, f"units.{quantity}", repr(unit), f"a unit of {wanted[quantity]}",
                                "Give the unit in which the instrument carries it."))
    return faults


def _key_faults(got: set[str], wanted: set[str], file: str, table: str) -> list[Fault]:
    missing = [Fault(file, f"{table}.{key}", "nothing", "a value", "Add the key.") for key in sorted(wanted - got)]
    return missing + [Fault(file, f"{table}.{key}", "this key", "no such key",
                            "Remove the key or correct its spelling.") for key in sorted(got - wanted)]
