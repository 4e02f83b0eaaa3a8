"""The verdict, judged again from the stored measurements by the limit file that was in force."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from station.audit.finding import Report, Severity, Step
from station.audit.ledger import Logged
from station.audit.stored import stored_measurements, stored_refusals
from station.judgement.conclusion import REFUSALS_OF_THE_MOTOR
from station.judgement.judge import Judgement, judge
from station.judgement.limit_file import LimitFile
from station.record.record import INTERRUPTED
from station.record.trouble import is_trouble
from station.record.written import written_row

REMEDY = "Do not rely on the verdict; ask who changed the record or the limit file."


def judge_again(record: Mapping[str, Any], labels: Sequence[str], limits: LimitFile) -> Judgement:
    """Return the judgement of the measurements in a record."""
    return judge(stored_measurements(record), labels, limits, stored_refusals(record),
                 motor_faults=REFUSALS_OF_THE_MOTOR)


def audit_verdict(record: Mapping[str, Any], labels: Sequence[str], limits: LimitFile, each: Logged, report: Report
                  ) -> None:
    """Compare judged rows, verdict and reason of a record with what its limit file makes of its measurements."""
    if record["reason"] == INTERRUPTED:
        _audit_interrupted(record, each, report)
        return
    again = judge_again(record, labels, limits)
    rows = {(row["key"], row["name"], row["label"]): row for row in record["judged"]}
    rows_again = {(row.key, row.name, row.label): json.loads(json.dumps(written_row(row))) for row in again.rows}
    for key in rows.keys() | rows_again.keys():
        if rows.get(key) == rows_again.get(key):
            report.hold(Step.VERDICT)
        else:
            name, label = key[1], key[2]
            _find("verdict.row", f"{name} at {label}" if label else name, _short(rows_again.get(key)),
                  _short(rows.get(key)), each, report)
    _audit_words(record, again, each, report)


def _audit_words(record: Mapping[str, Any], again: Judgement, each: Logged, report: Report) -> None:
    """A run in trouble is NO RESULT whatever its values say; any other says what they say."""
    said = record["verdict"], record["reason"]
    if is_trouble(record) or said == (str(again.verdict), again.reason):
        report.hold(Step.VERDICT)
    else:
        _find("verdict.wrong", "the verdict", f"{again.verdict}: {again.reason}", f"{said[0]}: {said[1]}", each, report)


def _audit_interrupted(record: Mapping[str, Any], each: Logged, report: Report) -> None:
    if record["verdict"] == "NO RESULT":
        report.hold(Step.VERDICT)
    else:
        _find("verdict.wrong", "the verdict of an interrupted run", "NO RESULT", record["verdict"], each, report)


def _find(code: str, what: str, expected: str, got: str, each: Logged, report: Report) -> None:
    report.find(code, Severity.BROKEN, f"{what} does not follow from measurements and limit file", where=each.name,
                since=each.since, expected=expected, got=got, remedy=REMEDY)


def _short(row: Mapping[str, Any] | None) -> str:
    if row is None:
        return "not judged"
    return (f"{row['result']}, {row['value']!r} {row['unit']} within {row['lower']!r} to {row['upper']!r}, accepted "
            f"{row['acceptance_lower']!r} to {row['acceptance_upper']!r}")
