"""The gate before a motor that was tested before: the limit file says how many runs it may have."""

from collections.abc import Sequence as Ordered
from dataclasses import dataclass

from station.errors import NotAllowedError
from station.record.attempt import Attempt


@dataclass(frozen=True, slots=True)
class FurtherRun:
    """A person's leave for a run beyond those that the limit file allows, with the reason; both stand in the record."""

    person: str
    reason: str

    def as_record(self) -> dict[str, str]:
        """Return the entry of the record."""
        return {"person": self.person, "reason": self.reason}


def leave_needed(serial: str, attempts: Ordered[Attempt], allowed: int, further: FurtherRun | None
                 ) -> FurtherRun | None:
    """Return `further` if the motor has used its runs or passed, else None; to be asked before anything moves.

    Testing until it passes proves nothing: each further run is another chance for chance.

    Raises
    ------
    NotAllowedError
        `allowed` runs count already, and no person answers for a further one.
    """
    used = [attempt for attempt in attempts if attempt.counts]
    if len(used) < allowed:
        return further if _has_passed(used) else None
    if further is None:
        raise NotAllowedError(
            "the motor has used its runs", where=serial,
            expected=f"at most {allowed} run(s) with a result, see [runs] of its limit file",
            got=", ".join(f"run {attempt.run} {attempt.verdict}" for attempt in used),
            remedy="Its last result stands. A run that was no fair test can be declared void (`station records "
            "correct`); a further one needs --again with --person and --reason.")
    return further


def require_unpassed(serial: str, attempts: Ordered[Attempt], further: FurtherRun | None) -> None:
    """Raise NotAllowedError when the last run that counts was a PASS and nobody answers for a further one.

    A motor that has passed gains nothing by another run, and can be the wrong one in the fixture.
    """
    used = [attempt for attempt in attempts if attempt.counts]
    if _has_passed(used) and further is None:
        raise NotAllowedError("the motor has passed already", where=serial, expected="a motor without a PASS",
                              got=f"run {used[-1].run} PASS", remedy="Look at the label of the motor in the fixture; a "
                              "further run needs --again with --person and --reason.")


def _has_passed(used: Ordered[Attempt]) -> bool:
    return bool(used) and used[-1].verdict == "PASS"
