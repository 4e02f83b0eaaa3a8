"""Why the plant does not take what it is sent, each with the status of its answer and what a station does then."""

from typing import Any

from station.errors import StationError


class PlantError(StationError):
    """The plant could not do what was asked; nothing of it is kept."""

    status = 500        # of the answer. Source: RFC 9110 section 15
    word = "plant"      # by which the station tells what to do

    def as_json(self) -> dict[str, Any]:
        """Return it as the body of an answer."""
        return {"error": self.word, "what": self.what, "where": self.where, "expected": str(self.expected),
                "got": str(self.got), "remedy": self.remedy}


class MalformedError(PlantError):
    """What was sent is not what is agreed."""

    status, word = 400, "request"


class UnsignedError(PlantError):
    """Nobody known has signed the request, or something in it was changed since."""

    status, word = 401, "signature"


class OtherLogError(PlantError):
    """A station asks for the log of another."""

    status, word = 403, "other log"


class UnknownLogError(PlantError):
    """The plant knows no such log."""

    status, word = 404, "unknown"


class TooLargeError(PlantError):
    """More was sent than is taken at once."""

    status, word = 413, "size"


class AwayError(PlantError):
    """The database does not answer; the same request is to be sent again later."""

    status, word = 503, "database"


class NoRoomError(PlantError):
    """A disk of the plant is full; the same request is to be sent again later."""

    status, word = 507, "room"


class GapError(PlantError):
    """Entries between what the plant holds and what was sent are missing."""

    status, word = 409, "gap"

    def __init__(self, origin: str, size: int, first: int) -> None:
        self.size = size
        super().__init__("entries are missing in between", where=f"log of {origin}", expected=f"entry {size} next",
                         got=f"entry {first}", remedy=f"Send again from entry {size} on.")

    def as_json(self) -> dict[str, Any]:
        """Return it as the body of an answer, with the size of the plant's copy."""
        return {**super().as_json(), "size": self.size}


class ForkError(PlantError):
    """A log is not the one that the plant has a copy of: two stations sign as one, or one was changed or set back.

    `seq` is the first entry that is known to differ, None where that cannot be told.
    """

    status, word = 409, "fork"

    def __init__(self, what: str, *, size: int, seq: int | None, where: str, expected: object, got: object,
                 remedy: str) -> None:
        self.size, self.seq = size, seq
        super().__init__(what, where=where, expected=expected, got=got, remedy=remedy)

    def as_json(self) -> dict[str, Any]:
        """Return it as the body of an answer, with the size of the plant's copy and the entry that differs."""
        return {**super().as_json(), "size": self.size, "seq": self.seq}
