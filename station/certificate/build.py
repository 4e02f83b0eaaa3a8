"""Builds the certificate of a record with its evidence inside, unsigned: the same evidence gives the same bytes."""

import json
from datetime import UTC, datetime
from typing import Any

from station.certificate.archival_form import Attachment, archival_form
from station.certificate.render import TITLE, render_pages
from station.certificate.summary import certificate_number
from station.certificate.xmp import Title
from station.errors import EvidenceError
from station.record.evidence import Evidence, belongs

RECORD, PROOF = "record.json", "proof.json"
JSON = "application/json"


def build_certificate(evidence: Evidence) -> bytes:
    """Return the pages of a record with the record and its proof attached, as a file for the archive.

    Raises
    ------
    EvidenceError
        The leaf is not that of the record, or the record has no time or says PASS where its own rows do not.
    """
    record = _record(evidence)
    attached = (
        Attachment(RECORD, JSON, "The record of the test, byte for byte as stored and logged", evidence.record_bytes),
        Attachment(PROOF, JSON, "Proof that the log of the station holds this record", evidence.as_json()),
    )
    return archival_form(render_pages(record, evidence.record_bytes), _title(record), attached)


def _record(evidence: Evidence) -> dict[str, Any]:
    if not belongs(evidence):
        raise EvidenceError("the record is not the one in the log", expected=f"leaf {evidence.leaf.hex()}",
                            where=f"log {evidence.origin}, entry {evidence.seq}", got="a record of another hash",
                            remedy="Audit the store; print no certificate of it.")
    record: dict[str, Any] = json.loads(evidence.record_bytes)
    return record


def _title(record: dict[str, Any]) -> Title:
    number = certificate_number(record)
    try:
        moment = datetime.fromisoformat(record["ended"]).astimezone(UTC)
    except (KeyError, TypeError, ValueError) as error:
        raise EvidenceError("the record does not say when it ended", where=f"certificate {number}",
                            expected="a time in ISO 8601", got=record.get("ended"),
                            remedy="Audit the store; print no certificate of it.") from error
    return Title(f"{TITLE} {number}", f"Test result of one motor: {record.get('verdict')}", "station", moment)
