"""Which tests were made with an instrument, under a calibration, by a limit file, between two dates?"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from station.record.store import Store


@dataclass(frozen=True, slots=True)
class Question:
    """What the tests asked for have in common; what is empty is not asked."""

    instrument: str = ""        # serial number of an instrument
    certificate: str = ""       # number of a calibration certificate
    limits: str = ""            # SHA-256 of a limit file or its beginning, or its name and revision, "CP-40.toml C"
    software: str = ""          # version of the station, or the beginning of the hash of its source
    since: str = ""             # ISO 8601 date or instant in UTC, included
    until: str = ""             # included
    motor_type: str = ""


@dataclass(frozen=True, slots=True)
class Traced:
    """A test that fits, as far as a list needs it."""

    serial: str
    run: int
    motor_type: str
    verdict: str
    started: str
    seq: int | None             # in the log

    def as_json(self) -> dict[str, Any]:
        """Return it as `--json` prints it."""
        return {"serial": self.serial, "run": self.run, "motor_type": self.motor_type, "verdict": self.verdict,
                "started": self.started, "seq": self.seq}


def trace(store: Path, question: Question) -> list[Traced]:
    """Return the tests that fit, in the order of the log.

    Raises
    ------
    UsageError
        There is no store.
    EvidenceError
        A record was altered.
    """
    return [Traced(record["serial"], record["run"], record["motor_type"]["name"], record["verdict"], record["started"],
                   (record.get("log") or {}).get("seq")) for record in fitting(store, question)]


def fitting(store: Path, question: Question) -> Iterator[dict[str, Any]]:
    """Yield the whole records that fit; errors as `trace`."""
    with Store(store, read_only=True) as opened:
        for record in opened.find(since=question.since or None, until=question.until or None,
                                  motor_type=question.motor_type or None):
            if _fits(record, question):
                yield record


def instruments_of(record: dict[str, Any], question: Question) -> list[dict[str, Any]]:
    """Return the instruments of a record that the question names, all where it names none."""
    return [instrument for instrument in record["bench"]["instruments"]
            if question.instrument in ("", instrument["serial"])
            and question.certificate in ("", instrument["certificate"])]


def _fits(record: dict[str, Any], question: Question) -> bool:
    asks_instrument = bool(question.instrument or question.certificate)
    return ((not asks_instrument or bool(instruments_of(record, question)))
            and (not question.limits or _is_limits(record["limit_file"], question.limits))
            and (not question.software or _is_software(record.get("software") or {}, question.software)))


def _is_limits(named: dict[str, Any], wanted: str) -> bool:
    return named["sha256"].startswith(wanted.lower()) or f"{named['name']} {named['revision']}" == wanted


def _is_software(named: dict[str, Any], wanted: str) -> bool:
    return named.get("station") == wanted or str(named.get("station_sha256", "")).startswith(wanted.lower())
