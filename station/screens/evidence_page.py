"""One record for an auditor: every field and value, what it stands on, what proves it, what may be taken away."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from starlette.responses import Response

from station.audit.glance import VALUES
from station.certificate.log_place import LogPlace, log_place
from station.certificate.number_format import expanded
from station.certificate.summary import certificate_number
from station.errors import EvidenceError, StationError
from station.record.correction import corrections_of
from station.record.store import Store
from station.screens.access import Duty
from station.screens.ask import Ask, Page
from station.screens.evidence_audit import audits_of
from station.screens.evidence_files import names_of
from station.screens.evidence_history import printouts_of, revisions_of, runs_of
from station.screens.pages import page
from station.screens.tests_page import Record, record_of


def _show(ask: Ask) -> Response:
    record = record_of(ask)
    ask.site.trail.add(ask.name, "view record", where=ask.where, about=f"{record['serial']} run {record['run']}")
    with ask.site.store() as store:
        corrections = corrections_of(record, store.statements("correction"))
        place, fault = _place(store, record)
        around = _around(store, record)
    return page(ask, "evidence_one.html", record=record, paper=certificate_number(record), place=place, fault=fault,
                corrections=corrections, fields=list(fields_of(record)), files=names_of(ask, record),
                values=[_value(one) for one in record["measurements"]], audits=audits_of(ask, record["serial"]),
                **around)


def _around(store: Store, record: Record) -> dict[str, Any]:
    """Return what the page shows of what came before and after the test; see `evidence_history`."""
    printouts, print_fault = None, None
    try:
        printouts = printouts_of(store, record)
    except StationError as error:       # the queue is no evidence: the record is shown all the same
        print_fault = error
    before, after = store.reference_checks_around(record)
    return {"runs": runs_of(store, record["serial"]), "revisions": revisions_of(store, record),
            "checks": (("before", before), ("after", after)), "printouts": printouts, "print_fault": print_fault,
            "covering": (record.get("reference_check") or {}).get("check")}


def fields_of(said: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield name and text of every field of a record but the lists of values, which have tables of their own.

    Names are the keys as they stand in the record, joined by dots, entries of lists by their number from 1.
    """
    for key, one in said.items():
        if key not in VALUES:
            yield from _fields(key, one)


def _fields(name: str, said: object) -> Iterator[tuple[str, str]]:
    parts: Sequence[tuple[str, Any]] | None = None
    if isinstance(said, Mapping):
        parts = [(str(key), one) for key, one in said.items()]
    elif isinstance(said, list):
        parts = [(str(number), one) for number, one in enumerate(said, 1)]
    if parts:
        for key, one in parts:
            yield from _fields(f"{name}.{key}", one)
    else:
        yield name, "–" if said is None or said in ("", [], {}) else str(said)


def _value(measured: Mapping[str, Any]) -> dict[str, Any]:
    return {**measured, "expanded": expanded(measured["u"], measured["dof"]) if measured["u"] is not None else None}


def _place(store: Store, record: Record) -> tuple[LogPlace | None, EvidenceError | None]:
    """Return where the log has the record, or why that does not hold."""
    try:
        return log_place(record, store.evidence(record).leaf), None
    except EvidenceError as error:
        return None, error


PAGES = (Page("/evidence/{serial}/{run}", Duty.READ, _show),)
