"""The limit files that stored tests were judged by, as the store keeps them."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from station.errors import UsageError
from station.judgement.limit_file import Limit, LimitFile, parse_limits
from station.record.kept_files import FILES, kept_file
from station.study.choice import Choice
from station.toml_file import parse_toml

if TYPE_CHECKING:
    from station.study.wide_table import WideTable


@dataclass(frozen=True, slots=True)
class FileUsed:
    """A limit file and how many tests were judged by it; `revision` is empty where the file was not kept."""

    sha256: str
    revision: str
    tests: int


def files_used(store: Path, table: "WideTable") -> tuple[FileUsed, ...]:
    """Return the limit files that the tests in `table` were judged by, that of most tests first."""
    counted = Counter(map(str, table.frame["limit_sha256"])).most_common()
    return tuple(FileUsed(sha256, _revision(store, sha256), tests) for sha256, tests in counted)


def narrowest(limits: Sequence[Limit]) -> tuple[float | None, float | None]:
    """Return the tolerance that lies within all of them."""
    return (max((limit.lower for limit in limits if limit.lower is not None), default=None),
            min((limit.upper for limit in limits if limit.upper is not None), default=None))


def newest_limits(store: Path, table: "WideTable") -> LimitFile:
    """Return the limit file that the newest test of the production in `table` was judged by.

    Raises
    ------
    UsageError
        There is no such test.
    EvidenceError
        The file is missing or altered.
    """
    hashes = table.production().frame["limit_sha256"]
    if hashes.empty:
        raise UsageError("no test of the production to study", where=f"tests of {table.about.motor_type}",
                         expected="one at least", got="none", remedy="Choose other tests, or test motors first.")
    return _kept(store, str(hashes.iloc[-1]))


def limits_of_choice(store: Path, table: "WideTable", choice: Choice) -> LimitFile:
    """Return the limit file of the newest of the chosen tests; of all where none is chosen, as `gather` tells that."""
    chosen = choice.of(table)
    return newest_limits(store, table if chosen.frame.empty else chosen)


def _revision(store: Path, sha256: str) -> str:
    return _kept(store, sha256).revision.number if sha256 and (store / FILES / sha256).is_file() else ""


def _kept(store: Path, sha256: str) -> LimitFile:
    return parse_limits(parse_toml(kept_file(store, sha256), f"limit file {sha256[:8]}"))
