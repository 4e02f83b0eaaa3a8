"""What a record holds, turned back into what judgement and analysis work with."""

from collections.abc import Mapping
from math import inf, nan
from pathlib import Path
from typing import Any

from station.judgement.limit_file import LimitFile, parse_limits
from station.measurement import BudgetRow, Measurement, Refusal
from station.record.kept_files import FILES, kept_file
from station.sequence_file import Sequence, parse_sequence
from station.toml_file import TomlSource, parse_toml

Measured = dict[tuple[str, str], Measurement]       # by full name and capture label, "" for none

_FROM_BOTH_DIRECTIONS = ("hall_position.", "hall_hysteresis.")  # no capture's own, yet computed from captures
_INDICATED_AT_CAPTURES = ("drag_torque",)


def stored_measurements(record: Mapping[str, Any]) -> Measured:
    """Return the measurements of a record as they were judged; what JSON has no number for is not finite again."""
    return {(entry["name"], entry["label"]): _measurement(entry) for entry in record["measurements"]}


def comes_from_captures(name: str, label: str) -> bool:
    """Return whether a measurement was computed from captures, and so can be computed again."""
    return name not in _INDICATED_AT_CAPTURES if label else name.startswith(_FROM_BOTH_DIRECTIONS)


def stored_refusals(record: Mapping[str, Any]) -> dict[str, Refusal]:
    """Return why captures gave no numbers, by label."""
    return {capture["label"]: Refusal(capture["refused"]["code"], capture["refused"]["text"])
            for capture in record["captures"] if capture.get("refused")}


def kept_limits(record: Mapping[str, Any], store: Path) -> LimitFile | None:
    """Return the limit file in force at a test; None when it was not kept. EvidenceError when it was altered."""
    source = _kept(record["limit_file"], store)
    return parse_limits(source) if source else None


def kept_sequence(record: Mapping[str, Any], store: Path) -> Sequence | None:
    """Return the sequence in force at a test; None when it was not kept. EvidenceError when it was altered."""
    source = _kept(record["sequence"], store)
    return parse_sequence(source) if source else None


def _kept(named: Mapping[str, Any], store: Path) -> TomlSource | None:
    sha256 = named["sha256"]
    if not sha256 or not (store / FILES / sha256).is_file():
        return None
    return parse_toml(kept_file(store, sha256), named["name"])


def _measurement(entry: Mapping[str, Any]) -> Measurement:
    budget = tuple(BudgetRow(row["source"], row["kind"], row["distribution"], _number(row["u"], nan),
                             _number(row["dof"], inf), row["shared"]) for row in entry["budget"])
    return Measurement(entry["name"], _number(entry["value"], nan), entry["unit"], _number(entry["u"], nan),
                       _number(entry["dof"], inf), budget)


def _number(stored: float | None, absent: float) -> float:
    return absent if stored is None else float(stored)
