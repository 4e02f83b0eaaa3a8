"""The record of a run: its canonical bytes, its hash, and the record of a run that was interrupted."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import rfc8785

from station.errors import EvidenceError, StationError

Record = dict[str, Any]

INTERRUPTED = "interrupted"
EXACT = 2**53           # whole numbers below are doubles; RFC 8785 refuses others, but writes large doubles as such


@dataclass(frozen=True, slots=True)
class Fragment:
    """A part of a record whose canonical bytes are known already: it may stand in a list at the top of a record."""

    content: bytes


def fragment(part: Mapping[str, Any]) -> Fragment:
    """Return `part` of a record in canonical bytes, to be made while there is time; errors as `canonical`."""
    return Fragment(_dumps(part))


def canonical(record: Mapping[str, Any]) -> bytes:
    """Return the one byte sequence that stands for `record`.

    Raises
    ------
    StationError
        Something in it has no place in JSON: a NaN, an infinity, an object.

    Source: RFC 8785, JSON canonicalization scheme.
    """
    # RFC 8785 sorts by UTF-16 code units.
    keys = sorted(record, key=lambda key: key.encode("utf-16-be"))
    return b"{" + b",".join(_dumps(key) + b":" + _top(record[key]) for key in keys) + b"}"


def _top(part: object) -> bytes:
    if isinstance(part, list) and any(isinstance(item, Fragment) for item in part):
        return b"[" + b",".join(item.content if isinstance(item, Fragment) else _dumps(item) for item in part) + b"]"
    return _dumps(part)


def _dumps(part: object) -> bytes:
    try:
        # The first pass turns tuples, enumerations of text and the like into plain JSON.
        return rfc8785.dumps(json.loads(json.dumps(part, allow_nan=False), parse_int=_whole_number))
    except (TypeError, ValueError, rfc8785.CanonicalizationError) as error:
        raise StationError("record cannot be stored", where="record", expected="plain JSON, finite numbers",
                           got=str(error), remedy="Test the motor again and report this as a defect.") from error


def _whole_number(digits: str) -> int | float:
    """Return a whole number as it was before it was written: large doubles are written without a point or exponent."""
    number = int(digits)
    if abs(number) < EXACT:
        return number
    written = float(digits)
    return written if rfc8785.dumps(written) == digits.encode() else number


def sha256_of(content: bytes) -> str:
    """Return the SHA-256 of `content` in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def read_body(row: tuple[Any, ...]) -> Record:
    """Return the record in a stored row (serial, run, motor type, verdict, started, sha256, body).

    Raises
    ------
    EvidenceError
        The body does not match its hash, or a column beside it says something else.
    """
    serial, run, motor_type, verdict, started, sha256, body = row
    where = f"record of {serial}, run {run}"
    if sha256_of(body) != sha256:
        raise EvidenceError("record was altered", where=where, expected=f"SHA-256 {sha256}", got=sha256_of(body),
                            remedy="Trust nothing it says; restore a backup and ask who changed it.")
    record: Record = json.loads(body)
    said = record["serial"], record["run"], record["motor_type"]["name"], record["verdict"], record["started"]
    if said != (serial, run, motor_type, verdict, started):     # by which it is searched for
        raise EvidenceError("record and its index differ", where=where, got=", ".join(map(str, said)),
                            expected=f"{serial}, {run}, {motor_type}, {verdict}, {started}",
                            remedy="Restore the store from a backup and ask who changed it.")
    return record


def interrupted_record(serial: str, started: str, ended: str, heading: Mapping[str, Any]) -> Record:
    """Return the record of a run that was begun and never ended; `heading` is what was known at its start."""
    return {
        "format": 1, "serial": serial, "runs_allowed": 1, "station": {"id": "", "place": ""}, "operator": "",
        "motor_type": {"name": "", "pole_pairs": None, "winding": "", "rated_voltage_V": None, "forward": "",
                       "viewed_from": "", "spacing_deg": None},
        "limit_file": {"name": "", "revision": "", "sha256": "", "note": "", "released_by": None,
                       "released_on": None},
        "sequence": {"name": "", "revision": "", "sha256": ""},
        "bench": {"file": "", "sha256": "", "simulated": False, "pace": 1.0, "instruments": []},
        "software": {}, "conditions": {}, "decision": {"rule": "", "guard_factor": None, "sentence": ""},
        "hazards": {"speed_at_25_V_rms_rpm": None, "insulation_test_V": None},
        **heading,
        "started": started, "ended": ended, "steps": [], "captures": [], "measurements": [], "judged": [],
        "findings": [], "plots": [], "verdict": "NO RESULT", "reason": INTERRUPTED,
    }
