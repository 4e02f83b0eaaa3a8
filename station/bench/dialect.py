"""Dialects: TOML files that say how one make of instrument speaks, checked against what its role needs."""

import copy
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from station import units
from station.bench.answer import AnswerForm
from station.bench.block import FORMS, INT16_LITTLE, CodeForm
from station.bench.dialect_contract import AnswerTable, DialectContract, LimitsTable, SentinelsTable
from station.bench.dialect_faults import dialect_faults, lines_of
from station.bench.needs import Fields, Needs
from station.bench.speech import Sentinels, Speech
from station.errors import BenchError, Fault, FileContractError
from station.toml_file import TomlSource, check, read_toml

__all__ = ["SHIPPED", "Dialect", "Fields", "Needs", "dialect_path", "load_dialect", "parse_dialect"]
# What is measured; only there does the dialect's own 9999 stand for no value. 9999 samples are 9999 samples.
MEASURED = frozenset({"ambient", "current", "resistance", "speed", "torque", "voltage", "winding"})
SHIPPED = Path(__file__).with_name("dialects")
Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class FieldForm:
    """How a field is written: by a map of texts, or as a number times a factor."""

    map: Mapping[str, str] = field(default_factory=dict)
    times: float = 1.0
    decimals: int | None = None


@dataclass(frozen=True, slots=True)
class BlockForm:
    """How samples are carried; volts = (code - reference) x scale + offset."""

    code: CodeForm = INT16_LITTLE
    tail: str = "\n"
    batch: int = 0                       # most samples in one block; 0: all in one
    first_sample: int = 0                # the number that the instrument gives the first sample
    preamble: tuple[str, ...] = ()       # names by position


@dataclass(frozen=True, slots=True)
class Dialect:
    """How one make of instrument speaks: `templates[name]` becomes a line by filling its fields."""

    name: str
    sha256: str
    templates: Mapping[str, tuple[str, ...]]
    numbers: Mapping[str, int]
    units: Mapping[str, str]
    speech: Speech = field(default_factory=Speech)
    block: BlockForm = BlockForm()
    completion: str = "status"           # or "*OPC?" or "time"
    fields: Mapping[str, FieldForm] = field(default_factory=dict)
    answers: Mapping[str, AnswerForm] = field(default_factory=dict)
    limits: Mapping[str, Span] = field(default_factory=dict)   # "points", "interval" s, "range" V
    sentinels: Sentinels = field(default_factory=Sentinels)

    def has(self, name: str) -> bool:
        """Return whether there is a template `name`."""
        return name in self.templates

    def line(self, name: str, **fields: float | str) -> str:
        """Return the line for `name`, or its lines with NL between; numbers are written with twelve digits."""
        words = {key: self._wire_text(key, value) for key, value in fields.items()}
        return "\n".join(line.format(**words) for line in self.templates[name])

    def answer(self, name: str) -> AnswerForm:
        """Return how the answer to `name` is read."""
        form = self.answers.get(name, AnswerForm())
        return replace(form, sentinels=self.sentinels) if name in MEASURED else form

    def require_within(self, name: str, value: float, unit: str) -> None:
        """Raise BenchError when the instrument cannot do `value`, as the dialect's limits say."""
        least, greatest = self.limits.get(name, (float("-inf"), float("inf")))
        if not least * (1 - 1e-9) <= value <= greatest * (1 + 1e-9):
            raise BenchError(f"the instrument cannot do this {name}", where=f"dialect {self.name}",
                             expected=f"{least:g} to {greatest:g} {unit}".rstrip(), got=f"{value:g}",
                             remedy="Change the sequence file, or use another instrument.")

    def within(self, name: str, value: float) -> float:
        """Return `value`, moved into the dialect's limits."""
        least, greatest = self.limits.get(name, (value, value))
        return min(max(value, least), greatest)

    def to_wire(self, quantity: str, value: float) -> float:
        """Return an SI `value` in the unit in which this dialect carries `quantity`."""
        return units.from_si(value, self.units[quantity])

    def from_wire(self, quantity: str, value: float) -> float:
        """Return a number off the wire in SI."""
        return units.to_si(value, self.units[quantity])

    def _wire_text(self, key: str, value: float | str) -> str:
        form = self.fields.get(key)
        # Twelve digits: no instrument sets finer, and 6000 r/min through rad/s and back stays 6000.
        if form is None or isinstance(value, str):
            return value if isinstance(value, str) else f"{value:.12g}"
        if form.map:
            return self._mapped(key, f"{value:.12g}", form.map)
        value *= form.times
        return f"{value:.12g}" if form.decimals is None else f"{value:.{form.decimals}f}"

    def _mapped(self, key: str, text: str, words: Mapping[str, str]) -> str:
        if text not in words:
            raise BenchError(f"the dialect has no word for {key} {text}", where=f"dialect {self.name}",
                             expected="one of " + ", ".join(words), got=text,
                             remedy=f"Add it to the map of fields.{key}, or correct the bench file.")
        return words[text]


def load_dialect(name: str, folder: Path, role: str, needs: Needs) -> Dialect:
    """Load the shipped dialect `name`, or the file `name` beside the bench file when it ends in .toml.

    Raises FileContractError naming every fault.
    """
    return parse_dialect(read_toml(dialect_path(name, folder)), role, needs)


def dialect_path(name: str, folder: Path) -> Path:
    """Return where the dialect or register map `name` of a bench file in `folder` lies."""
    return folder / name if name.endswith(".toml") else SHIPPED / f"{name}.toml"


def parse_dialect(source: TomlSource, role: str, needs: Needs) -> Dialect:
    """Return the dialect in `source`, checked against what `role` needs; all faults in one error."""
    try:
        contract = check(source, DialectContract)
    except FileContractError as error:
        raise FileContractError([*error.faults, *_further_faults(source, error.faults, role, needs)]) from None
    faults = dialect_faults(contract, source.name, role, needs)
    if faults:
        raise FileContractError(faults)
    block = contract.block
    return Dialect(
        Path(source.name).name, source.sha256,
        {name: tuple(lines_of(template)) for name, template in contract.templates.items()},
        contract.numbers, contract.units, _speech(contract),
        BlockForm(FORMS[block.form], block.tail, block.batch, block.first_sample, tuple(block.preamble)),
        contract.completion.by,
        {name: FieldForm(table.map, table.times, table.decimals) for name, table in contract.fields.items()},
        {name: _answer(table) for name, table in contract.answers.items()},
        _limits(contract.limits), _sentinels(contract.sentinels))


def _further_faults(source: TomlSource, known: Sequence[Fault], role: str, needs: Needs) -> list[Fault]:
    """Return what is wrong beside the `known` faults of type, so that nobody mends a file twice."""
    tables = copy.deepcopy(source.tables)
    for fault in known:
        _remove(tables, fault.key.split("."))
    try:
        contract = check(replace(source, tables=tables), DialectContract)
    except FileContractError:   # a key that must be there is not: nothing more can be said
        return []
    keys = {fault.key for fault in known}
    doubtful = frozenset(key.partition(".")[0] for key in keys)
    return [fault for fault in dialect_faults(contract, source.name, role, needs, doubtful) if fault.key not in keys]


def _remove(table: dict[str, Any], keys: Sequence[str]) -> None:
    inner = table.get(keys[0])
    if len(keys) > 1 and isinstance(inner, dict):
        _remove(inner, keys[1:])
    else:
        table.pop(keys[0], None)


def _speech(contract: DialectContract) -> Speech:
    table = contract.session
    event_status = table.event_status
    if event_status is None:
        event_status = "*ESR?" if table.identify == "*IDN?" else ""
    return Speech(table.line_end.encode("ascii"), table.headers, table.identify,
                  re.compile(table.identity) if table.identity else None, table.self_test, table.errors,
                  event_status, tuple(table.init), table.acknowledge, table.clients, table.pause)


def _sentinels(table: SentinelsTable) -> Sentinels:
    over, under, invalid = (tuple(str(text) for text in texts) for texts in (table.over, table.under, table.invalid))
    return Sentinels(over, under, invalid)


def _answer(table: AnswerTable) -> AnswerForm:
    return AnswerForm(table.form, table.part, table.suffix, table.map, table.times, table.inverse)


def _limits(table: LimitsTable) -> dict[str, Span]:
    spans = {"points": table.points, "interval": table.interval_s, "range": table.range}
    return {name: (span[0], span[1]) for name, span in spans.items() if span is not None}
