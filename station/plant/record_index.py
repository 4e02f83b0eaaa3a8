"""What a record says of itself, as far as the plant searches by it."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import astuple, dataclass
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
        return hashlib.sha256(json.dumps(astuple(self)).encode()).digest()


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
    if not 1 <= found.run < MOST_RUNS or not _is_text(json.dumps(astuple(found), ensure_ascii=False)):
        raise ValueError("no column takes that")
    return found


def _is_text(words: str) -> bool:
    """Return whether the database takes texts that JSON writes so: no lone surrogate, and no NUL."""
    words.encode()      # a UnicodeEncodeError is a ValueError
    return "\\u0000" not in words
