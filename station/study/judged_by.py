"""The limit files that stored tests were judged by, as the store keeps them."""

from pathlib import Path
from typing import TYPE_CHECKING

from station.errors import UsageError
from station.judgement.limit_file import LimitFile, parse_limits
from station.record.kept_files import kept_file
from station.toml_file import parse_toml

if TYPE_CHECKING:
    from station.study.wide_table import WideTable


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
    sha256 = str(hashes.iloc[-1])
    return parse_limits(parse_toml(kept_file(store, sha256), f"limit file {sha256[:8]}"))
