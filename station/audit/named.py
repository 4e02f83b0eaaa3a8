"""The tests that somebody means who holds a motor or a paper: by serial number, certificate number or QR code."""

import json
import re
from typing import Any

from station.certificate.log_place import log_place
from station.certificate.summary import certificate_number
from station.errors import EvidenceError, UsageError
from station.record.store import Store

# What the code of a certificate says, see `LogPlace.parts`.
_CODE = re.compile(r"(.+)/(\d{1,18})/([A-Z2-7]{52})", re.ASCII)
_RUN = re.compile(r"(.+)-\d{1,9}", re.ASCII)

Record = dict[str, Any]


def tests_named(store: Store, text: str) -> list[Record]:
    """Return the records that `text` names: what a QR code says, a certificate number, or a serial number.

    In a serial number `*` and `?` stand for any characters.

    Raises
    ------
    UsageError
        The code is that of another station's log, or of an entry that is not there.
    EvidenceError
        The entry of that number is another one than the code says, or a record was altered.
    """
    code = _CODE.fullmatch(text)
    if code is not None:
        return [_by_code(store, code[1], int(code[2]), code[3])]
    return _by_number(store, text) or store.find(serial=text)


def _by_code(store: Store, origin: str, seq: int, letters: str) -> Record:
    log = store.log
    if log.origin != origin:
        raise UsageError("the code is that of another station's log", where="code", expected=log.origin, got=origin,
                         remedy="Ask the station that it names.")
    evidence = log.evidence(seq)
    record = json.loads(evidence.record_bytes)
    place = log_place(record, evidence.leaf) if "judged" in record else None
    if place is None or place.letters != letters:
        raise EvidenceError("the log holds something else there than the code says", where=f"entry {seq} of {origin}",
                            expected=letters, got=place.letters if place else "no record",
                            remedy="Have the paper and the archive audited: one of them was changed.")
    return dict(record)


def _by_number(store: Store, text: str) -> list[Record]:
    """Return the records whose certificates bear the number `text`, which ends in serial number and run."""
    found = _RUN.fullmatch(text)
    if found is None:
        return []
    begins = [at + 1 for at, sign in enumerate(found[1]) if sign == "-"]
    return [record for begin in begins for record in store.show(found[1][begin:])
            if certificate_number(record) == text]
