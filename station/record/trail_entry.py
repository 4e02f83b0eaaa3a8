"""The trail, who did what on the screens, as statements of the log: a portion of its entries in each."""

from collections.abc import Iterable, Mapping, Sequence
from hashlib import sha256
from typing import Any

from station.errors import EvidenceError
from station.record.record import canonical

FORMAT = 1
UNLOCKED = "unlock the line"    # what somebody did who looked why so many motors failed
MOST = 200              # entries of one portion
BEGINNING = bytes(32)   # what the first entry of a trail is chained to


def chained(before: bytes, body: bytes) -> bytes:
    """Return what an entry is chained by: SHA-256 over that of the entry before and its own bytes."""
    return sha256(before + body).digest()


def portion(entries: Sequence[Mapping[str, Any]], before: bytes, end: bytes) -> dict[str, Any]:
    """Return what is to be stated about consecutive entries of a trail, of which there is at least one.

    `before` is what the entry ahead of them is chained by, `end` what the last of them is, as the trail itself has it.
    """
    return {"format": FORMAT, "first": entries[0]["number"], "last": entries[-1]["number"], "before": before.hex(),
            "chained": end.hex(), "entries": [dict(entry) for entry in entries]}


def verify_portion(said: Mapping[str, Any]) -> None:
    """Raise EvidenceError unless the entries of a portion are numbered without gap and chained as it says."""
    try:
        where, entries = f"trail, entries {said['first']} to {said['last']}", said["entries"]
        numbers, wanted = [entry["number"] for entry in entries], list(range(said["first"], said["last"] + 1))
        end = chain(entries, bytes.fromhex(said["before"])).hex()
    except (KeyError, TypeError, ValueError) as error:
        raise EvidenceError("a portion of the trail has not its form", where="trail", expected="that of format 1",
                            got=repr(error), remedy="Ask who wrote it, and with what.") from error
    if numbers != wanted:
        raise EvidenceError("entries of the trail are missing", where=where, expected="a number for each", got=numbers,
                            remedy="Ask who had access to the accounts of the station.")
    if end != said.get("chained"):
        raise EvidenceError("entries of the trail are not those that were chained", where=where,
                            expected=said.get("chained"), got=end,
                            remedy="Ask who had access to the accounts of the station.")


def follows(said: Mapping[str, Any], before: Mapping[str, Any] | None) -> bool:
    """Return whether a portion goes on where the one `before` it ended; the first one begins the trail."""
    end = (before["last"], before["chained"]) if before else (0, BEGINNING.hex())
    return (said["first"] - 1, said["before"]) == end


def begins(said: Mapping[str, Any]) -> bool:
    """Return whether a portion is the beginning of a trail."""
    return follows(said, None)


def chain(entries: Iterable[Mapping[str, Any]], before: bytes) -> bytes:
    """Return what the last of consecutive entries is chained by."""
    for entry in entries:
        before = chained(before, canonical(entry))
    return before
