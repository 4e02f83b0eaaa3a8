"""What a station asks of the plant's server: how far it has come, and to take entries and files. One deadline each."""

import gzip
import json
import ssl
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http.client import HTTPException
from pathlib import Path
from typing import Any
from urllib.parse import quote

from station.clock import Clock
from station.plant import refused
from station.plant.message_signature import sign
from station.plant.refused import ForkError, GapError, PlantError
from station.record.log import Entry
from station.record.log_key import LogKey
from station.record.merkle import HASH_SIZE
from station.record.witness import Request
from station.sequence.plant_address import PlantAddress
from station.timed_http import LARGEST, Answer, Exchange, words_of

QUESTION = 15.0         # s for a question and its answer
DELIVERY = 120.0        # s for entries or a file
FORMAT = 1
_JSON = "application/json"
_AS_JSON = {"Content-Type": _JSON}
_REFUSALS: dict[str, type[PlantError]] = {
    kind.word: kind for kind in (PlantError, refused.MalformedError, refused.UnsignedError, refused.OtherLogError,
                                 refused.UnknownLogError, refused.TooLargeError, refused.AwayError,
                                 refused.NoRoomError)}


class SilenceError(PlantError):
    """The plant could not be reached, or gave no answer of its own: whether it has taken what was sent is unknown."""


@dataclass(frozen=True, slots=True)
class PlantHead:
    """How far the plant's copy of a log reaches; `alarm` is in words, empty without one that nobody has settled."""

    size: int
    root: bytes
    alarm: str


@dataclass(frozen=True, slots=True)
class Receipt:
    """How many entries the plant has, and its signature line below the head of so many."""

    size: int
    line: str


@dataclass(frozen=True, slots=True)
class SentFile:
    """A file of the store: its name there, and its SHA-256 in hexadecimal."""

    name: str
    sha256: str


class PlantClient:
    """The server at an address, asked with the key of one log; every call is one exchange on a connection of its own.

    Raises
    ------
    SilenceError
        It cannot be reached, the deadline passed, or the answer is none.
    GapError, ForkError and others of `refused`
        It says no, and why.
    """

    def __init__(self, address: PlantAddress, key: LogKey, clock: Clock, *, trust: Path | None = None) -> None:
        self.address = address
        self._key, self._clock, self._trust = key, clock, trust
        self._log = f"/v1/logs/{quote(key.name, safe='')}"

    def head(self) -> PlantHead:
        """Ask how far the plant's copy of this log reaches."""
        told = self._exchange("GET", "", QUESTION, b"", {})
        root = _text(told, "root")
        if len(root) != 2 * HASH_SIZE or not set(root) <= set("0123456789abcdef"):
            raise self._nonsense(f"root {root!r}")
        return PlantHead(_number(told, "size"), bytes.fromhex(root), _text(told, "alarm"))

    def send_entries(self, first: int, entries: Sequence[Entry], request: Request, seen: int = 0) -> Receipt:
        """Hand over `entries`, which begin with number `first`.

        `seen` is how many the plant said it had, to be given where this log is not the continuation of that.
        """
        body = {"format": FORMAT, "first": first, "seen": seen, "request": str(request), "entries": [
            {"kind": one.kind, "subject": one.subject, "body": (one.body or b"").decode(),
             "checkpoint": one.checkpoint} for one in entries]}
        packed = gzip.compress(_json(body), 1, mtime=0)
        told = self._exchange("POST", "/entries", DELIVERY, packed, {**_AS_JSON, "Content-Encoding": "gzip"})
        return Receipt(_number(told, "size"), _text(told, "cosignature"))

    def missing(self, files: Sequence[SentFile]) -> set[str]:
        """Ask which of these files the plant does not have; return their names."""
        body = {"format": FORMAT, "files": [{"name": one.name, "sha256": one.sha256} for one in files]}
        told = self._exchange("POST", "/files/missing", QUESTION, _json(body), _AS_JSON)
        names = told.get("missing")
        if not isinstance(names, list) or not set(names) <= {one.name for one in files}:
            raise self._nonsense(f"missing {names!r}")
        return set(names)

    def send_file(self, name: str, content: bytes) -> None:
        """Hand over the file called `name` in the store's folder."""
        octets = {"Content-Type": "application/octet-stream"}
        self._exchange("PUT", f"/files/{quote(name)}", DELIVERY, content, octets)

    def _exchange(self, method: str, tail: str, seconds: float, content: bytes, headers: Mapping[str, str]
                  ) -> dict[str, Any]:
        """Send a signed request; return the JSON object of a good answer, or raise what the plant says."""
        target, until = self.address.path + self._log + tail, self._clock.monotonic() + seconds
        signed = sign(method, self.address.url + self._log + tail, {"Host": self.address.authority, **headers}, content,
                      self._key)
        try:
            opened = Exchange(self.address.host, self.address.port, self._clock.monotonic, until, self._context())
        except (OSError, ValueError) as error:      # ValueError: a host that cannot be one
            raise self._silence("the plant cannot be reached", error) from error
        with opened:
            try:
                answer = opened.ask(method, target, content, signed)
            except (OSError, HTTPException) as error:
                raise self._silence("the plant gave no answer", error) from error
        told = self._told(answer)
        if answer.status >= 300:
            raise self._refusal(answer, told)
        return told

    def _context(self) -> ssl.SSLContext | None:
        if not self.address.is_secure:
            return None
        return ssl.create_default_context(cafile=None if self._trust is None else str(self._trust))

    def _told(self, answer: Answer) -> dict[str, Any]:
        try:
            told = json.loads(answer.content) if answer.kind == _JSON and len(answer.content) <= LARGEST else None
        except ValueError:
            told = None
        if not isinstance(told, dict) and answer.status >= 500:
            raise SilenceError("the plant is busy or out of order", where=self.address.url, expected="an answer",
                               got=f"status {answer.status} {answer.reason}",
                               remedy="Nothing is lost: it is asked again. If it stays so, look at the plant's server.")
        if not isinstance(told, dict):
            raise self._nonsense(f"status {answer.status} {answer.reason} with {answer.kind}")
        return told

    def _refusal(self, answer: Answer, told: dict[str, Any]) -> PlantError:
        word = told.get("error")
        if word == GapError.word:
            return GapError(self._key.name, _number(told, "size"), -1)
        parts = {part: str(told.get(part, "")) for part in ("what", "where", "expected", "got", "remedy")}
        if word == ForkError.word:
            seq = told.get("seq")
            return ForkError(size=_number(told, "size"), seq=seq if isinstance(seq, int) else None, **parts)
        kind = _REFUSALS.get(str(word))
        return kind(**parts) if kind else self._nonsense(f"status {answer.status}, {word}: {parts['what']}")

    def _silence(self, what: str, error: Exception) -> SilenceError:
        remedy = ("Give the plant's certificate as `trust` under [plant] of the station file, if it is the right one."
                  if isinstance(error, ssl.SSLCertVerificationError) else
                  "Nothing is lost: it is handed over once the plant answers. See that the network is up, and that the "
                  "address in the station file is the plant's.")
        return SilenceError(what, where=self.address.url, expected="an answer within the deadline",
                            got=words_of(error), remedy=remedy)

    def _nonsense(self, got: str) -> SilenceError:
        return SilenceError("the answer is none of a plant", where=self.address.url, expected="JSON as agreed", got=got,
                            remedy="See that the address under [plant] of the station file is that of a plant, of this "
                            "version or a later one.")


def _json(body: Mapping[str, Any]) -> bytes:
    return json.dumps(body, ensure_ascii=False).encode()


def _number(told: Mapping[str, Any], name: str) -> int:
    value = told.get(name)
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise _wrong(name, value)
    return value


def _text(told: Mapping[str, Any], name: str) -> str:
    value = told.get(name)
    if not isinstance(value, str):
        raise _wrong(name, value)
    return value


def _wrong(name: str, value: object) -> SilenceError:
    return SilenceError("the answer is none of a plant", where=name, expected="JSON as agreed", got=repr(value),
                        remedy="Bring station and plant to the same version.")
