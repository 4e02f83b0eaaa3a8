"""The gate before every motor of the production: its limit file must be a released one, and the one last released."""

from collections.abc import Iterable

from station.errors import NotAllowedError
from station.judgement.limit_file import LimitFile
from station.record.release_entry import releases_of
from station.record.statement import Statement


def require_released(limits: LimitFile, releases: Iterable[Statement]) -> None:
    """Raise NotAllowedError unless the production may use `limits`; to be asked before anything moves.

    A draft may not: reference checks, gauge studies and the like may use it, and their records say that nobody has
    released it. Once the log has a release of the motor type, only the file of the last one may be used, so that who
    put which limits in force is always known. `releases` are all of the store, oldest first.
    """
    kind, number = limits.motor_type.name, limits.revision.number
    if limits.revision.released_by is None:
        raise NotAllowedError(
            "the limit file is a draft", where=limits.name, expected="a released revision",
            got=f"{kind} revision {number}, which nobody has released",
            remedy="Put the released file back, or release this one: `station study what-if DRAFT --json` for the "
            "report, then `station limits release DRAFT --by NAME --reason TEXT --study REPORT`. "
            f"`station limits history {kind}` tells what was released.")
    known = releases_of(kind, releases)
    if known and known[-1]["sha256"] != limits.sha256:
        last = known[-1]
        raise NotAllowedError(
            "the limit file is not the one that was released", where=limits.name,
            expected=f"{kind} revision {last['revision']}, SHA-256 {last['sha256']}, released by {last['person']} on "
            f"{last['at']}", got=f"revision {number}, SHA-256 {limits.sha256}",
            remedy=f"Put it back: `station limits restore {kind}`. Changes go through a draft with a higher revision.")
