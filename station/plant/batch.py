"""What a station sends at once: entries of its log in order, and the request to cosign the head that they end at."""

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field, ValidationError

from station.errors import EvidenceError
from station.plant.refused import MalformedError
from station.plant.stations import Known
from station.record.checkpoint import Checkpoint, parse_checkpoint
from station.record.merkle import leaf_hash
from station.record.signed_note import parse_note, verify_note
from station.record.witness import Request, parse_request
from station.toml_file import Table

FORMAT = 1
MOST_ENTRIES = 5000     # of a batch
Size = Annotated[int, Field(ge=0, lt=2**62)]
_AGAIN = "Send what is agreed; a station of this version does."


class EntryTable(Table):
    """One entry on the wire; `checkpoint` is the signed head that it made, empty where it was not signed."""

    kind: Annotated[str, Field(pattern=r"^[a-z ]{1,40}$")]
    subject: Size
    body: str
    checkpoint: Annotated[str, Field(max_length=20_000)]


class BatchTable(Table):
    """The content of a request that hands over entries; `seen` is the size that the plant told last."""

    format: Annotated[int, Field(ge=FORMAT, le=FORMAT)]
    first: Size
    seen: Size = 0
    entries: Annotated[list[EntryTable], Field(max_length=MOST_ENTRIES)]
    request: str


@dataclass(frozen=True, slots=True)
class Sent:
    """An entry as it was sent; `head` is the one that its station signed, None where it did not."""

    seq: int
    kind: str
    subject: int
    body: bytes
    leaf: bytes
    checkpoint: str
    head: Checkpoint | None


@dataclass(frozen=True, slots=True)
class Batch:
    """Entries of one log in order; `told` is the head that they end at, signed by the station."""

    entries: tuple[Sent, ...]
    first: int
    seen: int
    request: Request
    told: Checkpoint


def parse_batch(content: bytes, known: Known) -> Batch:
    """Return the batch of a known station.

    Raises
    ------
    MalformedError
        It is none; its heads are not signed by the station's key, or are those of other places.
    """
    where = f"log of {known.origin}"
    try:
        table = BatchTable.model_validate_json(content)
    except ValidationError as error:
        breach = error.errors(include_url=False, include_input=False)[0]
        raise MalformedError("no batch of entries", where=where, expected=str(breach["msg"]),
                             got=".".join(map(str, breach["loc"])) or "no JSON", remedy=_AGAIN) from error
    try:
        request = parse_request(table.request, where)
        entries = tuple(_sent(each, seq, known) for seq, each in enumerate(table.entries, start=table.first))
        told = signed_head(request.note, known)
    except (EvidenceError, UnicodeEncodeError) as error:
        raise MalformedError("a head that the station has not signed, or a body that is no text", where=where,
                             expected=f"signatures by {known.verifier}", got=str(error), remedy=_AGAIN) from error
    end = table.first + len(entries)
    heads = {each.seq + 1: each.head for each in entries if each.head is not None}
    if told.size != end or any(head.size != size for size, head in heads.items()) or (
            entries and heads.get(end) != told):
        raise MalformedError("the heads are not those of the entries", where=where,
                             expected=f"each signed after its entry, the last for {end} entries",
                             got=", ".join(str(head.size) for head in [*heads.values(), told])[:200], remedy=_AGAIN)
    return Batch(entries, table.first, table.seen, request, told)


def signed_head(note: str, known: Known) -> Checkpoint:
    """Return the head in a note that the station signed; EvidenceError unless it is one of its log and nothing else."""
    where = f"log of {known.origin}"
    parsed = parse_note(note, where)
    verify_note(parsed, [known.verifier], where)
    head = parse_checkpoint(parsed.text, where)
    if head.origin != known.origin or head.text() != parsed.text:
        raise EvidenceError("the head of another log", where=where, expected=known.origin, got=repr(parsed.text[:80]),
                            remedy=_AGAIN)
    return head


def _sent(each: EntryTable, seq: int, known: Known) -> Sent:
    body = each.body.encode()
    head = signed_head(each.checkpoint, known) if each.checkpoint else None
    return Sent(seq, each.kind, each.subject, body, leaf_hash(body), each.checkpoint, head)
