"""The study that a release stands on, made anew from all stored tests; and what of it a person decides by."""

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from station.judgement.limit_file import LimitFile, parse_limits
from station.study.draft_study import Question, study_draft
from station.study.stored_u import hold_against
from station.study.what_if_report import as_json
from station.study.wide_table import revisions_of
from station.toml_file import parse_toml

Consequences = frozenset[tuple[str, int, str]]      # serial, run, and the verdict by the draft


@dataclass(frozen=True, slots=True)
class Told:
    """What a report says, as far as pages show it; the names are those of the report."""

    made: str
    tests: int
    entries: int            # of the log that it was made from
    verdicts: list[dict[str, Any]]
    yields: dict[str, dict[str, Any]]
    causes: list[dict[str, Any]]
    recalled: list[dict[str, Any]]
    warnings: list[str]


def study_for_release(store: Path, draft: bytes, name: str, sequence_revision: str, made: str) -> str:
    """Return the report on the draft of that text, as JSON; `made` is the instant, ISO 8601.

    Parameters
    ----------
    sequence_revision : whose tests are judged again where there are several and it is among them

    Raises
    ------
    FileContractError
        The draft does not hold, or some tolerance is too narrow for the uncertainty of the stored values.
    UsageError
        There are no tests, or not of one sequence; or the draft measures otherwise than the limits in force.
    """
    limits: LimitFile = parse_limits(parse_toml(draft, name))
    revisions = revisions_of(store, limits.motor_type.name)
    chosen = sequence_revision if sequence_revision in revisions else ""
    narrow = hold_against(store, limits, name)
    found = study_draft(limits, [store], Question(chosen), made)
    return as_json(replace(found, warnings=[*found.warnings, *(each.words for each in narrow)]))


def consequences(report: bytes) -> Consequences:
    """Return which tests the draft changes, and to what."""
    return frozenset((flip["serial"], flip["run"], flip["new"]) for flip in json.loads(report)["flips"])


def told_by(report: bytes) -> Told:
    """Return what pages show of a report."""
    said = json.loads(report)
    whole = said["outcomes"][0]
    return Told(said["made"], whole["tests"], said["log"]["size"], whole["verdicts"], whole["first_pass_yield"],
                said["causes"], said["shipped_and_not_passed"], said["warnings"])
