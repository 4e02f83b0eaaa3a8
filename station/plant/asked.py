"""What the plant's server answers: who asks, whether it may, what of which log, and the answer.

Every request is signed by the log that it is about, see `message_signature`; that is looked at before its content is
read, so that nobody else makes the server work.
"""

import json
import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import unquote

from pydantic import Field, ValidationError

from station.clock import Clock
from station.plant.alarms import open_alarms
from station.plant.batch import FORMAT, parse_batch
from station.plant.database import Database
from station.plant.file_intake import FileIntake
from station.plant.intake import Intake, head_of
from station.plant.message_signature import ENCODING, Message, require_content, verify
from station.plant.refused import MalformedError, OtherLogError, TooLargeError
from station.plant.stations import Known, admitted_station
from station.record.signed_note import Ed25519Verifier
from station.toml_file import Table

MOST_SENT = 64 * 2**20          # bytes of one request
MOST_UNPACKED = 256 * 2**20     # bytes of entries
MOST_FILES = 10_000             # asked after at once
_PATH = re.compile(r"/v1/logs/([^/?]+)(?:/(entries|files/missing|files/([^?]+)))?")
_AGREED = "Ask as README says; a station of this version does."


class FileTable(Table):
    """A file that a station has: its name in the store and its SHA-256."""

    name: str
    sha256: str = Field(pattern=r"^[0-9a-f]{64}$")


class FilesTable(Table):
    """The content of a question after files."""

    format: int = Field(ge=FORMAT, le=FORMAT)
    files: list[FileTable] = Field(max_length=MOST_FILES)


@dataclass(frozen=True, slots=True)
class Asked:
    """A request that is good so far: from a known station, about its own log."""

    message: Message
    known: Known
    work: str           # how it goes on after the log: "", "entries", "files/missing" or "files"
    name: str           # of a file


@dataclass(frozen=True, slots=True)
class Desk:
    """Answers what stations ask; from any thread."""

    database: Database
    intake: Intake
    files: FileIntake
    clock: Clock

    def admit(self, message: Message) -> Asked:
        """Return what is asked, once it is known that the log's own station asks it.

        Raises
        ------
        MalformedError
            There is no such address.
        UnsignedError, UnknownLogError, OtherLogError
            It is not signed, by a log that the plant does not know or that has ended, or by another than the one
            that it is about.
        """
        found = _PATH.fullmatch(message.path)
        if found is None:
            raise MalformedError("there is no such address", where=message.path[:200],
                                 expected="/v1/logs/ and the name of a log", got=message.method, remedy=_AGREED)
        origin, rest, name = unquote(found[1]), found[2] or "", unquote(found[3] or "")
        work = "files" if rest.startswith("files/") and rest != "files/missing" else rest
        _require_method(message, work)
        signers: dict[str, Known] = {}

        def verifier_of(key_name: str) -> Ed25519Verifier:
            with self.database.reading() as connection:
                signers[key_name] = admitted_station(connection, key_name)
            return signers[key_name].verifier

        signer = verify(message, verifier_of)
        if signer != origin:
            raise OtherLogError("a station asks for the log of another", where=f"log of {origin}", expected=origin,
                                got=signer, remedy="Let each station hand over its own log.")
        return Asked(message, signers[signer], work, name)

    def answer(self, asked: Asked, content: bytes) -> tuple[int, Mapping[str, Any]]:
        """Return status and JSON of the answer; PlantError and StationError as what is asked for."""
        require_content(asked.message, content)
        content = _unpacked(asked.message, content)
        if asked.work == "files":
            is_new = self.files.take(asked.known, asked.name, content, self.clock.utc())
            return (201 if is_new else 200), {"name": asked.name}
        if asked.work == "files/missing":
            return 200, {"missing": self.files.missing(asked.known, _named(content))}
        if asked.work == "entries":
            batch = parse_batch(content, asked.known)
            head = self.intake.take(asked.known, batch, self.clock.utc())
            return 200, {"size": head.size, "cosignature": head.cosignature}
        return 200, self._log(asked.known)

    def _log(self, known: Known) -> Mapping[str, Any]:
        with self.database.reading() as connection:
            head = head_of(connection, known.number)
            alarms = open_alarms(connection, known.number)
        return {"format": FORMAT, "origin": known.origin, "size": head.size, "root": head.root.hex(),
                "alarm": "; ".join(map(str, alarms))}


def _require_method(message: Message, work: str) -> None:
    wanted = {"": "GET", "files": "PUT"}.get(work, "POST")
    if message.method != wanted:
        raise MalformedError("that is not done there", where=message.path[:200], expected=wanted, got=message.method,
                             remedy=_AGREED)


def _unpacked(message: Message, content: bytes) -> bytes:
    """Return content without the encoding gzip, which may make it no longer than is agreed."""
    encoding = message.fields.get(ENCODING, "identity").strip().lower()
    if encoding == "identity":
        return content
    if encoding != "gzip":
        raise MalformedError("encoded in an unknown way", where=ENCODING, expected="gzip", got=encoding[:40],
                             remedy=_AGREED)
    unpacker = zlib.decompressobj(16 + zlib.MAX_WBITS)      # with the header of gzip
    try:
        unpacked = unpacker.decompress(content, MOST_UNPACKED)
    except zlib.error as error:
        raise MalformedError("not packed as it says", where=ENCODING, expected="gzip", got=str(error),
                             remedy=_AGREED) from error
    if unpacker.unconsumed_tail:
        raise TooLargeError("more than is taken at once", where=message.path[:200],
                            expected=f"at most {MOST_UNPACKED} bytes unpacked", got="more",
                            remedy="Send fewer entries at once.")
    if not unpacker.eof or unpacker.unused_data:
        raise MalformedError("not packed as it says", where=ENCODING, expected="gzip, whole", got="a part of it",
                             remedy=_AGREED)
    return unpacked


def _named(content: bytes) -> dict[str, bytes]:
    try:
        table = FilesTable.model_validate_json(content)
    except ValidationError as error:
        raise MalformedError("no question after files", where="files/missing", expected="format, files",
                             got=json.dumps(error.errors(include_url=False, include_input=False)[0]["msg"]),
                             remedy=_AGREED) from error
    return {one.name: bytes.fromhex(one.sha256) for one in table.files}
