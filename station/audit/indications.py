"""Measurements that no capture holds, found again among what the instruments said: winding, insulation, supply, drag.

A dialect alone knows what an answer means, and an audit works without a bench. So this is a search: a measurement holds
when one of its instrument's answers, times one of the factors in the dialect kept with the run, gives it to the last
digits. An answer that was never given cannot be found by chance: values are compared to twelve digits.
"""

import json
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import inf, isclose, isfinite
from pathlib import Path
from typing import Any

from station.analysis.winding import at_temperature
from station.audit.finding import Report, Severity, Step
from station.audit.ledger import Logged
from station.errors import FileContractError
from station.judgement.limit_file import LimitFile
from station.record.kept_files import FILES
from station.record.transcript_file import parse_transcript
from station.units import factor

SAME = 1e-12        # relative
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_FACTOR_KEYS = frozenset({"times", "scale", "factor"})
# Which instrument indicates a measurement, and in which SI unit. Conditions are indications as they are.
_INDICATED = {"sensor_supply_current": ("supply", "A"), "insulation_resistance": ("insulation", "ohm"),
              "drag_torque": ("drive", "N m")}
_CONDITIONS = {"winding_temperature_degC": "thermometer", "ambient_temperature_degC": "thermometer",
               "sensor_supply_V": "supply"}


@dataclass(frozen=True, slots=True)
class Heard:
    """What the instruments answered in one run, as numbers by role; `is_whole` tells that nothing was left out."""

    numbers: Mapping[str, frozenset[float]]
    is_whole: bool

    def has(self, role: str, value: float) -> bool:
        """Return whether an answer of `role` comes to `value`."""
        return any(isclose(number, value, rel_tol=SAME) for number in self.numbers.get(role, ()))


def heard(record: Mapping[str, Any], store: Path) -> Heard | None:
    """Return what was heard in a run; None when its transcript is not there or cannot be read, which the files say."""
    named = record.get("transcript")
    try:
        lines = parse_transcript((store / named["file"]).read_bytes(), named["file"]) if named else b""
    except (OSError, FileContractError):
        return None
    if not lines:
        return None
    exchanges = [json.loads(line) for line in lines.splitlines()]
    modbus = _speak_registers(record, store)
    factors = {entry["role"]: _factors(entry, store) for entry in record["bench"]["instruments"]}
    numbers: dict[str, set[float]] = {}
    for each in exchanges:
        role = each.get("role", "")
        if each.get("direction") == "from" and role not in modbus:
            numbers.setdefault(role, set()).update(_numbers(each.get("text", ""), factors.get(role, (1.0,))))
    return Heard({role: frozenset(found) for role, found in numbers.items()},
                 not any("left_out" in each for each in exchanges))


def audit_indications(record: Mapping[str, Any], store: Path, limits: LimitFile, each: Logged, report: Report) -> None:
    """Look for every measurement and condition that instruments indicated; those that cannot be told are named."""
    said = heard(record, store)
    if said is None:
        report.leave_out(Step.INDICATION, "no transcript")
        return
    for name, role, value in (*_claims(record, limits), *_condition_claims(record)):
        if role not in said.numbers:
            report.leave_out(Step.INDICATION, f"{name}: the {role} answers in registers, not in text")
        elif said.has(role, value):
            report.hold(Step.INDICATION)
        elif said.is_whole:
            report.find("indication.unheard", Severity.DOUBTFUL, f"no answer of the {role} gives {name}",
                        where=each.name, since=each.since, expected=f"an answer that comes to {value!r}", got="none",
                        remedy="Read the transcript (`station records transcript`), and ask who changed the record.")
        else:
            report.leave_out(Step.INDICATION, f"{name}: a part of the transcript was left out as it grew too long")
    _audit_spread(record, each, report)


def _claims(record: Mapping[str, Any], limits: LimitFile) -> Iterator[tuple[str, str, float]]:
    """Yield name, role and SI value (at the temperature of the winding) of each indicated measurement."""
    temperature = record["conditions"].get("winding_temperature_degC")
    for entry in record["measurements"]:
        name, label, value = entry["name"], entry["label"], entry["value"]
        if value is None:
            continue
        if name in _INDICATED:
            role, unit = _INDICATED[name]
            yield f"{name} at {label}" if label else name, role, value * factor(entry["unit"], unit)
        elif name.startswith("winding_resistance.") and temperature is not None:
            reference = limits.motor_type.reference
            yield name, "ohmmeter", at_temperature(value, reference.temperature_c, temperature,
                                                   reference.copper_constant_c)


def _condition_claims(record: Mapping[str, Any]) -> Iterator[tuple[str, str, float]]:
    for name, value in record["conditions"].items():
        if name in _CONDITIONS:
            yield name, _CONDITIONS[name], value
    for capture in record["captures"]:
        yield f"temperature at {capture['label']}", "thermometer", capture["temperature_degC"]


def _audit_spread(record: Mapping[str, Any], each: Logged, report: Report) -> None:
    """The spread of the windings follows from the three of them."""
    values = {entry["name"]: entry["value"] for entry in record["measurements"] if not entry["label"]}
    spread = values.get("winding_resistance_spread")
    lines = [value for name, value in values.items() if name.startswith("winding_resistance.")]
    if spread is None or None in lines or not lines:
        return
    mean = sum(lines) / len(lines)
    again = 100 * max(abs(line - mean) for line in lines) / mean
    if isclose(spread, again, rel_tol=1e-9, abs_tol=1e-12):
        report.hold(Step.INDICATION)
    else:
        report.find("indication.spread", Severity.BROKEN, "winding_resistance_spread does not follow from the lines",
                    where=each.name, since=each.since, expected=repr(again), got=repr(spread),
                    remedy="Do not rely on the record; ask who changed it.")


def _numbers(text: str, factors: Iterable[float]) -> Iterator[float]:
    for found in _NUMBER.findall(text):
        number = float(found)
        for times in factors:
            scaled = number * times
            yield abs(scaled)
            yield scaled
            if scaled and isfinite(1 / scaled):
                yield 1 / scaled


def _speak_registers(record: Mapping[str, Any], store: Path) -> set[str]:
    """Return the roles whose instruments answer in registers, as the bench file kept with the run says."""
    tables = _tables(store / FILES / str(record["bench"]["sha256"])).get("instruments", {})
    return {role for role, table in tables.items() if str(table.get("resource", "")).startswith("MODBUS::")}


def _tables(path: Path) -> dict[str, Any]:
    """Return the tables of a kept TOML file, none where it cannot be read, which the files say."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}


def _factors(instrument: Mapping[str, Any], store: Path) -> tuple[float, ...]:
    """Return every factor in the dialect that an instrument was spoken to in, and 1."""
    return tuple({1.0, *_all_factors(_tables(store / FILES / str(instrument.get("dialect_sha256"))))})


def _all_factors(part: object) -> Iterator[float]:
    if isinstance(part, Mapping):
        for key, value in part.items():
            if key in _FACTOR_KEYS and isinstance(value, int | float) and 0 < abs(value) < inf:
                yield float(value)
            else:
                yield from _all_factors(value)
    elif isinstance(part, list):
        for item in part:
            yield from _all_factors(item)
