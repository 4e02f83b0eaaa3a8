"""What a record says of itself, as far as the plant searches by it."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from station.audit.glance import at_a_glance

MOST_RUNS = 2**31       # what the column takes


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument that a test was made with."""

    role: str
    serial: str
    certificate: str


@dataclass(frozen=True, slots=True)
class Setup:
    """What the tests of a station have in common until something of it is changed."""

    motor_type: str
    limit_file: str
    limit_revision: str
    limit_sha256: str
    sequence_sha256: str
    software: str
    software_sha256: str
    instruments: tuple[Instrument, ...]

    def digest(self) -> bytes:
        """Return 32 bytes that tell it from every other."""
        return hashlib.sha256(json.dumps(self.words()).encode()).digest()

    def words(self) -> list[str]:
        """Return every text in it, in order."""
        return [self.motor_type, self.limit_file, self.limit_revision, self.limit_sha256, self.sequence_sha256,
                self.software, self.software_sha256,
                *(word for one in self.instruments for word in (one.role, one.serial, one.certificate))]


@dataclass(frozen=True, slots=True)
class Glimpse:
    """A record as far as it is searched by."""

    serial: str
    run: int
    verdict: str
    purpose: str        # empty in the production
    started: str        # by the station's clock
    setup: Setup

    @property
    def counts(self) -> bool:
        """Whether it has a say in the yield, unless it is declared void."""
        return not self.purpose and self.verdict != "NO RESULT"


def glimpse(body: bytes) -> Glimpse | None:
    """Return what a record says; None where it cannot be read as one."""
    said = at_a_glance(body)
    try:
        return None if said is None else _glimpse(said)
    except (KeyError, TypeError, ValueError):
        return None


def _glimpse(said: Mapping[str, Any]) -> Glimpse:
    limits, software = said["limit_file"], said.get("software") or {}
    instruments = tuple(Instrument(str(one["role"]), str(one["serial"]), str(one.get("certificate") or ""))
                        for one in said["bench"]["instruments"])
    setup = Setup(str(said["motor_type"]["name"]), str(limits["name"]), str(limits["revision"]),
                  str(limits["sha256"]), str(said["sequence"]["sha256"]), str(software.get("station", "")),
                  str(software.get("station_sha256", "")), instruments)
    found = Glimpse(str(said["serial"]), int(said["run"]), str(said["verdict"]), str(said.get("purpose") or ""),
                    str(said["started"]), setup)
    words = "".join([found.serial, found.verdict, found.purpose, found.started, *setup.words()])
    words.encode()      # a UnicodeEncodeError, which lone surrogates raise, is a ValueError
    if not 1 <= found.run < MOST_RUNS or "\0" in words:
        raise ValueError("no column takes that")
    return found
