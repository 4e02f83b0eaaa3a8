"""Signs certificates: the signature is added behind the unsigned file, which stays its beginning byte for byte."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Self

from station.certificate.key_folder import StationKey, load_station_key
from station.clock import Clock, stamp, system_clock
from station.errors import EvidenceError


@dataclass(frozen=True, slots=True)
class Signer:
    """The key of a station with its certificates, read and checked, and the clock that signatures are dated by."""

    key: StationKey
    clock: Clock

    @classmethod
    def load(cls, folder: Path, clock: Clock | None = None) -> Self:
        """Return the signer whose key and certificates lie in `folder`; errors as `load_station_key`."""
        return cls(load_station_key(folder), clock or system_clock())


def sign_certificate(unsigned: bytes, signer: Signer) -> bytes:
    """Return `unsigned` with a signature behind it.

    Raises
    ------
    EvidenceError
        The key of the station may not sign at this time, or `unsigned` is no PDF.
    """
    from station.certificate.pades import add_signature  # noqa: PLC0415 - 0.2 s, for which only those wait who sign

    moment = signer.clock.utc()
    _require_valid(signer.key, moment)
    return add_signature(unsigned, signer.key, moment)


def _require_valid(key: StationKey, moment: datetime) -> None:
    first, last = key.signing_time
    if not first <= moment <= last:
        raise EvidenceError("the station's key may not sign now", where=str(key.folder),
                            expected=f"a time from {stamp(first)} to {stamp(last)}", got=stamp(moment),
                            remedy="Set the clock right, or let the plant issue a new one: `station keys renew`.")
