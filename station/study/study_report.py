"""The study that a release stands on: a report on this very draft, and no older than the tests in the store."""

from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from station.errors import UsageError
from station.record.log import Log
from station.record.record import sha256_of
from station.record.release_entry import StudyUsed

# What may have been logged since: it changes no value, no verdict and no count of tests.
HARMLESS = ("release", "retention", "trail")


class _Part(BaseModel):
    model_config = ConfigDict(strict=True, frozen=True)


class _Draft(_Part):
    sha256: str


class _Log(_Part):
    size: Annotated[int, Field(ge=0)]
    root: str


class _Span(_Part):
    since: str
    until: str


class _Report(_Part):
    """What a release asks of a report; it holds more."""

    study: Literal["what-if"]
    draft: _Draft
    log: _Log
    span: _Span
    filter: str
    tests: int


def read_study(path: Path) -> bytes:
    """Return the bytes of a report; UsageError when the file cannot be read."""
    try:
        return path.read_bytes()
    except OSError as error:
        raise UsageError("study cannot be read", where=str(path), expected="the report of a study",
                         got=str(error.strerror or error), remedy=_AGAIN) from error


def study_of(content: bytes, name: str, draft_sha256: str, log: Log) -> StudyUsed:
    """Return what a release says of the report called `name`.

    Raises
    ------
    UsageError
        It is no report of a study, it is on another draft or another store, it leaves new tests out, or tests came
        since.
    """
    report = _parsed(content, name)
    if report.draft.sha256 != draft_sha256:
        raise UsageError("the study is on another draft", where=name, expected=f"draft of SHA-256 {draft_sha256}",
                         got=report.draft.sha256, remedy=_AGAIN)
    size, root = report.log.size, report.log.root
    if size > len(log) or log.head(size).root.hex() != root:
        raise UsageError("the study is on the tests of another store", where=name,
                         expected=f"the log of {log.origin} with {size} entries or more, and its root", got=root,
                         remedy=_AGAIN)
    since = next((entry for entry in log.entries(size) if entry.kind not in HARMLESS), None)
    if since is not None:
        raise UsageError("the study is older than its data", where=name,
                         expected=f"a study of all {len(log)} entries of the log",
                         got=f"one of {size}; entry {since.seq}, a {since.kind}, came since", remedy=_AGAIN)
    if report.span.until or (report.span.since and not report.tests):
        raise UsageError("the study leaves out the newest tests", where=name, expected="a study without --until, of "
                         "one test at least", got=f"{report.tests} tests: {report.filter}", remedy=_AGAIN)
    return StudyUsed(name, sha256_of(content), size, root)


def _parsed(content: bytes, name: str) -> _Report:
    try:
        return _Report.model_validate_json(content)
    except ValidationError as error:
        raise UsageError("not the report of a study", where=name, got=repr(content[:60].decode(errors="replace")),
                         expected="JSON that names the draft, size and root of the log, and the tests looked at",
                         remedy=_AGAIN) from error


_AGAIN = "Make the study anew: `station study what-if DRAFT --json > REPORT`."
