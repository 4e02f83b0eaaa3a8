"""Comparing a run of a reference motor with its file: each value by itself, then the reasons against it."""

from collections.abc import Mapping
from collections.abc import Sequence as Ordered
from dataclasses import dataclass
from math import hypot, inf, isfinite
from typing import Any

from station.certificate.number_format import expanded
from station.sequence.reference_file import Expected, Failure, ReferenceMotor


@dataclass(frozen=True, slots=True)
class Comparison:
    """One value beside the one expected; `result` is "GOOD", "BAD" or "ABSENT"."""

    expected: Expected
    label: str
    value: float | None
    u: float | None
    normalised_error: float | None   # None: absent, or without an uncertainty; inf is stored as None too
    result: str

    def as_entry(self) -> dict[str, Any]:
        """Return the comparison as the store keeps it."""
        error, wanted = self.normalised_error, self.expected
        return {"name": wanted.name, "label": self.label, "unit": wanted.unit, "value": self.value, "u": self.u,
                "expected": wanted.value, "expected_u": wanted.u, "tolerance": wanted.tolerance,
                "normalised_error": error if error is not None and isfinite(error) else None, "result": self.result}


def compare(motor: ReferenceMotor, record: Mapping[str, Any], labels: Ordered[str]) -> list[Comparison]:
    """Return every expected value of `motor` beside what `record` measured; `labels` are those of the sequence."""
    measured = {(m["name"], m["label"]): m for m in record["measurements"]}
    return [_compare(wanted, label, measured.get((wanted.name, label)))
            for wanted in motor.expected
            for label in (labels if wanted.label is None else [wanted.label])]


def normalised_error(value: float, expanded_u: float, expected: float, expanded_u_expected: float) -> float:
    """Return |value - expected| over the root of the sum of both expanded uncertainties squared.

    Up to 1 the two agree within what both claim. It takes the two as independent; where one bench gave both,
    their shared errors cancel and it comes out too small, so that the tolerance decides. From memory; the
    proficiency-testing standard ISO 13528 has it, and was not read.
    """
    deviation, claimed = abs(value - expected), hypot(expanded_u, expanded_u_expected)
    if claimed == 0.0:
        return 0.0 if deviation == 0.0 else inf
    return deviation / claimed


def reasons_against(motor: ReferenceMotor, record: Mapping[str, Any], comparisons: Ordered[Comparison]) -> list[str]:
    """Return why this run speaks against the bench, a phrase each; none when it behaved as known."""
    reasons = [_phrase(comparison) for comparison in comparisons if comparison.result != "GOOD"]
    if motor.failure is None:
        verdict = record["verdict"]
        return reasons if verdict == "PASS" else [f"verdict {verdict} for a good motor", *reasons]
    return _wrong_reasons(motor.failure, record) + reasons


def _compare(wanted: Expected, label: str, measured: Mapping[str, Any] | None) -> Comparison:
    value = measured["value"] if measured else None
    spread = expanded(measured["u"], measured["dof"]) if measured else None
    if measured is None or value is None:
        return Comparison(wanted, label, None, None, None, "ABSENT")
    if spread is None:
        return Comparison(wanted, label, value, measured["u"], None, "BAD")
    error = normalised_error(value, spread, wanted.value, 2.0 * wanted.u)
    good = abs(value - wanted.value) <= wanted.tolerance and error <= 1.0
    return Comparison(wanted, label, value, measured["u"], error, "GOOD" if good else "BAD")


def _phrase(comparison: Comparison) -> str:
    wanted = comparison.expected
    name = f"{wanted.name} @ {comparison.label}" if comparison.label else wanted.name
    allowed = f"{wanted.value:.6g} ± {wanted.tolerance:.2g} {wanted.unit}"
    if comparison.value is None:
        return f"{name} absent, expected {allowed}"
    if comparison.normalised_error is None:
        return f"{name} has no uncertainty, expected {allowed}"
    return f"{name} is {comparison.value:.6g}, expected {allowed} (normalised error {comparison.normalised_error:.2g})"


def _wrong_reasons(failure: Failure, record: Mapping[str, Any]) -> list[str]:
    if record["verdict"] != "FAIL":
        return [f"verdict {record['verdict']} for a known-bad motor"]
    failed = sorted({row["name"] for row in record["judged"] if row["result"] == "FAIL"})
    found = [finding["code"] for finding in record["findings"]]
    reasons = [f"{name} did not fail" for name in failure.must_fail if not any(_covers(name, f) for f in failed)]
    known = (*failure.must_fail, *failure.may_fail)
    reasons += [f"{name} failed, which is not this motor's fault" for name in failed
                if not any(_covers(wanted, name) for wanted in known)]
    if failure.finding not in found:
        reasons.append(f"finding {failure.finding} missing, found {', '.join(found) or 'none'}")
    return reasons


def _covers(wanted: str, name: str) -> bool:
    """Return whether `wanted` is `name`, or the plain name of which it is a member."""
    return wanted in (name, name.partition(".")[0])
