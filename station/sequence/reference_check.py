"""One reference check: the reference motors of a type through the usual sequence, and what that says of the bench."""

from collections.abc import Callable, Mapping
from collections.abc import Sequence as Ordered
from typing import Any, Protocol

from station.errors import Fault, FileContractError, UsageError
from station.sequence.reference_compare import compare, reasons_against
from station.sequence.reference_file import ReferenceMotor

FORMAT = 1
PURPOSE = "reference check"     # as the record of each run says


class Ran(Protocol):
    """A run that is over: its record, and what kept it from finishing, if anything."""

    @property
    def record(self) -> Mapping[str, Any]:
        """The record as stored."""

    @property
    def trouble(self) -> BaseException | None:
        """None when the run finished."""


def require_both_kinds(motors: Ordered[ReferenceMotor], motor_type: str, folder: str) -> None:
    """Raise FileContractError unless there is a good and a known-bad motor: one alone proves too little."""
    faults = [Fault(folder, f"{motor_type}, {kind}", "no reference file", "one or more",
                    "Write one (`station reference draft` makes a start), or set reference.required to false "
                    "in the station file.")
              for kind in ("good", "bad") if kind not in {motor.kind for motor in motors}]
    if faults:
        raise FileContractError(faults)


def require_captures(motors: Ordered[ReferenceMotor], labels: Ordered[str]) -> None:
    """Raise FileContractError when a file expects a capture that the sequence does not take.

    Otherwise every such value would be absent, and the bench would seem broken.
    """
    faults = [Fault(motor.file, f"expected.{expected.key}", "a capture that the sequence does not take",
                    " or ".join(labels), "Establish the values anew with this sequence.")
              for motor in motors for expected in motor.expected if expected.label and expected.label not in labels]
    if faults:
        raise FileContractError(faults)


def require_mended(checks: Ordered[Mapping[str, Any]], done: str) -> None:
    """Raise UsageError when the last check with a result was BAD and nobody says what was `done` about it.

    A check that is merely repeated until it is good proves nothing.
    """
    last = next((check for check in reversed(checks) if check["result"] != "NO RESULT"), None)
    if last is not None and last["result"] == "BAD" and not done.strip():
        raise UsageError(f"reference check {last['check']} was BAD", where="reference check",
                         expected="a word on what was found and mended since", got="nothing",
                         remedy='Find out why it failed: ' + "; ".join(last["reasons"][:3])
                         + '. Then check again with --done "what was done".')


def check_motors(motors: Ordered[ReferenceMotor], run: Callable[[ReferenceMotor], Ran], labels: Ordered[str],
                 done: str = "") -> tuple[dict[str, Any], BaseException | None]:
    """Run each motor until one meets trouble; return the entry for the store, and the trouble.

    `done` is what was mended since a BAD check.
    The result is BAD when any run speaks against the bench, else NO RESULT when one could not finish or was not
    made, else GOOD. All motors are of one type, and there is one at least.
    """
    entries: list[dict[str, Any]] = []
    records: list[Mapping[str, Any]] = []
    trouble: BaseException | None = None
    for motor in motors:
        outcome = run(motor)
        trouble = outcome.trouble
        records.append(outcome.record)
        entries.append(_entry(motor, outcome, labels))
        if trouble is not None:
            break
    reasons = [f"{entry['serial']}: {reason}" for entry in entries for reason in entry["reasons"]]
    result = "BAD" if reasons else "NO RESULT" if trouble is not None else "GOOD"
    if trouble is not None:
        reasons.append(f"{entries[-1]['serial']}: the test could not finish: {trouble}")
    first = records[0]
    return {"format": FORMAT, "motor_type": motors[0].motor_type, "result": result, "reasons": reasons, "done": done,
            "started": first["started"], "ended": records[-1]["ended"], "operator": first["operator"],
            "station": first["station"], "bench_sha256": first["bench"]["sha256"],
            "sequence_sha256": first["sequence"]["sha256"], "software": first["software"]["station"],
            "motors": entries}, trouble


def _entry(motor: ReferenceMotor, outcome: Ran, labels: Ordered[str]) -> dict[str, Any]:
    record = outcome.record
    compared = [] if outcome.trouble is not None else compare(motor, record, labels)
    reasons = [] if outcome.trouble is not None else reasons_against(motor, record, compared)
    return {"serial": motor.serial, "kind": motor.kind, "file": motor.file, "sha256": motor.sha256,
            "run": record["run"], "verdict": record["verdict"], "started": record["started"], "reasons": reasons,
            "compared": [comparison.as_entry() for comparison in compared]}
