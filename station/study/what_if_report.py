"""The report of a what-if: everything that it was made from and came to, as JSON that a release can stand on."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from station.judgement.limit_file import LimitFile
from station.study.capability import Estimate
from station.study.escapes import Curves
from station.study.limit_study import LimitStudy
from station.study.what_if import Flip, Outcome, Tests, changes_alone

FORMAT = 1


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What a draft would have said of stored tests."""

    draft: LimitFile
    tests: Sequence[Tests]
    made: str                       # ISO 8601, UTC
    outcomes: Sequence[Outcome]     # of everything first, then of the two sides of the date of a hold-out
    flips: Sequence[Flip]
    limit: LimitStudy | None
    known_bad: str                  # SHA-256 of the file of known-bad motors, "" without one
    warnings: Sequence[str]

    @property
    def recalled(self) -> list[Flip]:
        """Tests of motors that were shipped and that the draft would not have passed."""
        return [flip for flip in self.flips if flip.shipped]


def as_json(found: WhatIf) -> str:
    """Return the report; `draft`, `log` and `filter` say what it holds for."""
    draft, own = found.draft, found.tests[0].file.about
    return json.dumps({
        "format": FORMAT, "study": "what-if", "made": found.made,
        "draft": {"name": draft.name, "sha256": draft.sha256, "motor_type": draft.motor_type.name,
                  "revision": draft.revision.number},
        "log": {"origin": own.origin, "size": own.log_size, "root": own.log_root},
        "against": [_against(some) for some in found.tests],
        "filter": found.outcomes[0].span.words(), "span": asdict(found.outcomes[0].span),
        "tests": found.outcomes[0].tests,
        "known_bad_sha256": found.known_bad,
        "outcomes": [_outcome(each) for each in found.outcomes],
        "causes": [{"limit": key, "from": old, "to": new, "alone": alone, "with_others": others}
                   for (key, old, new), (alone, others) in changes_alone(found.flips).items()],
        "shipped_and_not_passed": [asdict(flip) for flip in found.recalled],
        "flips": [asdict(flip) for flip in found.flips],
        "limit": None if found.limit is None else _limit(found.limit),
        "warnings": list(found.warnings),
    }, indent=1, ensure_ascii=False)


def _against(some: Tests) -> dict[str, Any]:
    about = some.file.about
    return {"store": str(some.folder), "sequence_revision": about.sequence_revision, "rows": some.file.rows,
            "log": {"origin": about.origin, "size": about.log_size, "root": about.log_root},
            "limit_files": [{"sha256": sha256, "revision": limits.revision.number}
                            for sha256, limits in some.in_force.items()], "limit_files_not_kept": list(some.unknown)}


def _outcome(each: Outcome) -> dict[str, Any]:
    return {"filter": each.span.words(), "tests": each.tests,
            "verdicts": [{"from": old, "to": new, "tests": count} for (old, new), count in each.confusion.items()],
            "first_pass_yield": {name: {"passed": one.passed, "motors": one.motors, **_estimate(one.share)}
                                 for name, one in (("old", each.old), ("draft", each.new))}}


def _limit(study: LimitStudy) -> dict[str, Any]:
    return {"key": study.key, "side": study.side, "unit": study.unit, "draft": study.draft,
            "first_tests": study.first_tests, "passed": list(study.passed), "alone": _curves(study.alone),
            "among_all": _curves(study.among), "best": None if study.best is None else asdict(study.best),
            "held_out": None if study.score is None else _curves(study.score)}


def _curves(found: Curves) -> dict[str, Any]:
    return {"bounds": list(found.bounds), "good_motors": found.good,
            "false_rejects": [_estimate(one) for one in found.false_rejects],
            "known_bad": [{"fault": fault, "motors": found.motors[fault], "escapes": [_estimate(one) for one in curve]}
                          for fault, curve in found.escapes.items()]}


def _estimate(one: Estimate | None) -> Mapping[str, float | None]:
    return dict.fromkeys(("share", "low", "high")) if one is None else {
        "share": one.value, "low": one.low, "high": one.high}
