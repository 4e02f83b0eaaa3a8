"""The study of a draft, whole: judged again, counted, with the motors that change and what they change by."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from station.judgement.limit_file import LimitFile
from station.record.record import sha256_of
from station.study.escapes import Costs, size_warnings
from station.study.known_bad import read_known_bad
from station.study.limit_study import candidates_of, study_limit
from station.study.what_if import Span, flips, judged_stores, outcome, warnings_of
from station.study.what_if_report import WhatIf


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of stored tests beside the draft; with a `key`, that entry of it is moved by itself, too.

    `hold_out` is the date from which tests only score what earlier ones chose; `bounds` are the first and the last
    to be tried.
    """

    sequence_revision: str = ""
    span: Span = field(default_factory=Span)
    hold_out: str = ""
    known_bad: Path | None = None
    key: str = ""
    side: str = ""
    bounds: tuple[float, float] | None = None
    costs: Costs | None = None


def study_draft(draft: LimitFile, folders: Sequence[Path], asked: Question, made: str) -> WhatIf:
    """Return what `draft` would have said of the tests in the stores at `folders`; `made` is the instant, ISO 8601.

    Raises
    ------
    UsageError
        There are no such tests, the draft measures otherwise than the limits in force, or what is asked fits neither.
    EvidenceError
        A record was altered, or stored counts do not follow from stored values.
    """
    span = asked.span
    candidates = candidates_of(draft, asked.key, asked.side, asked.bounds) if asked.key else None
    bad = read_known_bad(asked.known_bad) if asked.known_bad else {}
    tests = judged_stores(folders, draft, asked.sequence_revision)
    parts = (Span(span.since, asked.hold_out), Span(asked.hold_out, span.until)) if asked.hold_out else ()
    outcomes = [outcome(tests, each) for each in (span, *parts)]
    warnings = warnings_of(tests, outcomes[0])
    study = None
    if candidates is not None:
        study = study_limit(tests, draft, candidates, bad, asked.costs, *(parts or (span, None)))
        warnings += size_warnings(study.alone.motors)
        if asked.costs and not parts:
            warnings.append("The best bound is chosen and scored on the same tests, which flatters it: see --hold-out.")
    return WhatIf(draft, tests, made, outcomes, flips(tests, draft, span), study,
                  sha256_of(asked.known_bad.read_bytes()) if asked.known_bad else "", warnings)
