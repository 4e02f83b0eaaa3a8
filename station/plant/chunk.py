"""Chunks of tests, each one piece of work for a process: what goes in, and the Parquet part that comes out.

A chunk has a key that says all on which its part depends: tests, files and versions. So a part that is there already
need not be made again, and is never taken for that of other tests or of another program.
"""

import hashlib
import io
import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from functools import cache
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from station.audit.finding import AuditFinding, Severity
from station.errors import EvidenceError, UsageError
from station.plant.reanalysis import Reanalysed, Test, reanalyse
from station.plant.result_rows import REPEATED, table_of
from station.record.arithmetic import arithmetic_versions

FORMAT = 1
KEY = b"reanalysis"         # of the metadata of parts and of the whole table
CAPTURES = 100              # of a chunk: seconds of work, beside which milliseconds of handing over are nothing


@cache
def versions() -> dict[str, str]:
    """Return every version of this process on which the numbers and bytes of a part depend."""
    return arithmetic_versions() | {"pyarrow": str(pa.__version__)}


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some tests, and the versions by which they are to be analysed again."""

    tests: tuple[Test, ...]
    versions: Mapping[str, str]

    @property
    def key(self) -> str:
        """What the part of this chunk is called."""
        said = [FORMAT, sorted(self.versions.items()), [test.mark for test in self.tests]]
        return hashlib.sha256(json.dumps(said).encode()).hexdigest()[:32]


@dataclass(frozen=True, slots=True)
class About:
    """What a part, or a whole table, tells beside its rows."""

    tests: int
    captures: int
    left_out: Mapping[str, int]             # tests, by the reason why nothing or not all was computed
    remarks: tuple[AuditFinding, ...]       # what else differs from the records
    is_whole: bool                          # False where files could not be used, and another try may find more
    versions: Mapping[str, str]

    def as_json(self) -> bytes:
        """Return the metadata of the file."""
        said = {**asdict(self), "format": FORMAT}
        return json.dumps(said, sort_keys=True, ensure_ascii=False).encode()


def chunks_of(tests: Iterable[Test], captures: int = CAPTURES) -> Iterator[Chunk]:
    """Yield the tests in chunks of at least so many captures each, but the last; a test is never divided."""
    gathered: list[Test] = []
    count = 0
    for test in tests:
        gathered.append(test)
        count += max(test.captures, 1)      # of tests without any there may be very many, too
        if count >= captures:
            yield Chunk(tuple(gathered), versions())
            gathered, count = [], 0
    if gathered:
        yield Chunk(tuple(gathered), versions())


def reanalyse_chunk(chunk: Chunk) -> bytes:
    """Return the part of a chunk as the bytes of a Parquet file; the same in any process of the same versions.

    Raises
    ------
    UsageError
        This process has another program or other libraries than the one that made the chunk.
    """
    differing = differing_versions(chunk.versions)
    if differing:
        raise UsageError("a worker has another program", where="chunk of a re-analysis", got=differing,
                         expected="the same versions in every process",
                         remedy="Install the same station and libraries on every worker, and start them again.")
    return part_bytes(chunk, [reanalyse(test) for test in chunk.tests])


def differing_versions(wanted: Mapping[str, str]) -> str:
    """Return in words what this process has in other versions than `wanted`; empty if nothing."""
    return ", ".join(f"{name} {got} instead of {wanted.get(name) or 'none'}" for name, got in versions().items()
                     if got != wanted.get(name))


def part_bytes(chunk: Chunk, found: Iterable[Reanalysed]) -> bytes:
    """Return what came of the tests of a chunk as the bytes of a Parquet file."""
    done = list(found)
    about = About(len(chunk.tests), sum(test.captures for test in chunk.tests),
                  dict(sorted(Counter(why for each in done for why in each.left_out).items())),
                  tuple(remark for each in done for remark in each.remarks), all(each.is_whole for each in done),
                  chunk.versions)
    table = table_of((each.whose, each.rows) for each in done).replace_schema_metadata({KEY: about.as_json()})
    sink = io.BytesIO()
    pq.write_table(table, sink, compression="zstd", use_dictionary=REPEATED)
    return sink.getvalue()


def read_about(metadata: Mapping[bytes, bytes] | None, where: str) -> About:
    """Return what the metadata of a Parquet file tell; EvidenceError when it is none of a re-analysis."""
    try:
        said: dict[str, Any] = json.loads((metadata or {})[KEY])
        if said.pop("format") != FORMAT:
            raise ValueError("another format")  # noqa: TRY301 - told below like every other fault
        remarks = tuple(AuditFinding(**{**each, "severity": Severity(each["severity"])}) for each in said["remarks"])
        return About(**{**said, "remarks": remarks})
    except (KeyError, TypeError, ValueError) as error:
        raise EvidenceError("this is no table of a re-analysis", where=where, expected=f"format {FORMAT}",
                            got=str(error) or "another file", remedy="Name another file.") from error
