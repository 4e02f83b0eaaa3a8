"""Holding records and the other entries of the log against the JSON schemas of their format."""

import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError
from referencing import Registry, Resource

from station.errors import EvidenceError

Kind = Literal["record", "reference check", "correction", "retention", "release", "trail"]

# Each file is the contract of format 1 for ever; a format 2 would stand beside it.
SCHEMAS: dict[Kind, str] = {"record": "record-v1", "reference check": "reference-check-v1",
                            "correction": "correction-v1", "retention": "retention-v1",
                            "release": "release-v1", "trail": "trail-v1"}
SHOWN = 120     # characters of what a fault quotes


def faults_of(kind: Kind, entry: Mapping[str, Any]) -> list[str]:
    """Return every breach of the schema of `kind` in `entry`: where, and what is wrong."""
    errors = sorted(_validator(kind).iter_errors(entry), key=lambda error: [str(part) for part in error.absolute_path])
    return [_words(error) for error in errors]


def check_entry(kind: Kind, entry: Mapping[str, Any], where: str) -> None:
    """Raise EvidenceError naming every breach of its schema in `entry`, which is called `where`.

    For what is read, never for what is about to be stored: a fault of form is no reason to lose a result.
    """
    faults = faults_of(kind, entry)
    if faults:
        raise EvidenceError(f"{kind} breaks the schema of its format", where=where, got="; ".join(faults),
                            expected=f"what {SCHEMAS[kind]}.schema.json allows",
                            remedy="Do not rely on it; report it with the version of the station that wrote it.")


def check_record(record: Mapping[str, Any]) -> None:
    """Raise EvidenceError naming every breach of its schema in a record; see `check_entry`."""
    check_entry("record", record, f"record of {record.get('serial')}, run {record.get('run')}")


@cache
def _validator(kind: Kind) -> Draft202012Validator:
    schemas = {name: _schema(name) for name in SCHEMAS.values()}
    registry: Registry[Any] = Registry().with_resources(
        [(schema["$id"], Resource.from_contents(schema)) for schema in schemas.values()])
    return Draft202012Validator(schemas[SCHEMAS[kind]], registry=registry)


def _schema(name: str) -> dict[str, Any]:
    text = files("station.record").joinpath(f"{name}.schema.json").read_text("utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def _words(error: ValidationError) -> str:
    message = error.message if len(error.message) <= SHOWN else error.message[:SHOWN - 3] + "..."
    return f"{error.json_path.removeprefix('$.').removeprefix('$') or '(top)'}: {message}"
