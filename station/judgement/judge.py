"""Judging a motor: every limit against every value it covers, then the verdict."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

from station.characteristic import characteristic_of
from station.judgement.cause import Cause
from station.judgement.decision_rule import Acceptance, acceptance, guard_band, lies_within
from station.judgement.limit_file import Limit, LimitFile
from station.judgement.verdict import Verdict
from station.measurement import Measurement, Refusal

# Refusals that say the motor is broken, so that a capture without numbers is still a FAIL.
MOTOR_FAULTS = frozenset({"open_phase", "shorted_leads", "no_emf"})

INSIDE = "within limits, allowing for uncertainty"
NEARLY_OUTSIDE = "within limits, but nearer to one than the uncertainty allows"
NEARLY_INSIDE = "outside limits, but nearer to one than the uncertainty allows"
OUTSIDE = "outside limits, allowing for uncertainty"
NOT_MEASURED = "not measured"
NO_NUMBER = "measured value is no finite number"
NO_UNCERTAINTY = "uncertainty is no finite number"
TOO_UNCERTAIN = "uncertainty too large"
WRONG_UNIT = "measured in another unit than the limit"

NAMED_ROWS = 3  # how many rows a reason names before it only counts them


@dataclass(frozen=True, slots=True)
class JudgedRow:
    """One value against one limit, in the characteristic's unit.

    `margin` is the distance to the nearest acceptance limit, negative beyond it: over half the
    tolerance, or with a single limit over the standard uncertainty; None where there is no value,
    or an exact value conforms and nearness means nothing.
    """

    key: str
    name: str
    label: str
    unit: str
    value: float | None
    u: float | None
    dof: float | None
    lower: float | None
    upper: float | None
    acceptance_lower: float | None
    acceptance_upper: float | None
    result: Verdict
    zone: str
    margin: float | None


@dataclass(frozen=True, slots=True)
class Judgement:
    """All judged rows, the verdict they give, and why in one sentence; a NO RESULT also has its cause."""

    rows: tuple[JudgedRow, ...]
    verdict: Verdict
    reason: str
    cause: Cause | None = None


def judge(
    measurements: Mapping[tuple[str, str], Measurement],
    labels: Sequence[str],
    limits: LimitFile,
    refused: Mapping[str, Refusal] | None = None,
    motor_faults: frozenset[str] = MOTOR_FAULTS,
) -> Judgement:
    """Judge what was measured against `limits`.

    Parameters
    ----------
    measurements : by (full name, capture label); the label is "" at rest and for both directions
    labels : the captures that the sequence asks for; each limit on a capture needs a value in all
    refused : the captures that gave no trustworthy numbers, by label
    motor_faults : codes of refusals that say the motor is broken; such a capture makes a FAIL

    Every limit holds beside every other: one for a single sensor or capture never loosens a wider
    one. A value that is absent, no finite number, without uncertainty or from a refused capture
    gives NO RESULT. The verdict is FAIL if any row fails, else NO RESULT if any row has none or
    there is no row, else PASS.
    """
    refused = refused or {}
    extra = {label for _, label in measurements if label} | set(refused)
    captures = tuple(dict.fromkeys([*labels, *sorted(extra)]))
    rows = tuple(
        _judge_value(limit, name, label, measurements.get((name, label)), limits, refused.get(label))
        for limit in limits.limits for name, label in covered(limit, captures)
    )
    broken = [refusal for refusal in refused.values() if refusal.code in motor_faults]
    verdict, reason = _verdict(rows, broken, refused)
    return Judgement(rows, verdict, reason, _cause(rows, refused) if verdict == Verdict.NO_RESULT else None)


def covered(limit: Limit, captures: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Yield (full name, label) of every value that a limit covers; at least one, so none slips through."""
    characteristic = characteristic_of(limit.name)
    if characteristic is None:  # limit files refuse unknown names; a hand-made limit still has a row
        yield limit.name, limit.label or ""
        return
    if limit.label is not None:
        labels: Sequence[str] = (limit.label,)
    else:
        labels = captures if characteristic.scope == "capture" and captures else ("",)
    for label in labels:
        for name in limit.names:
            yield name, label


def _judge_value(
    limit: Limit, name: str, label: str, measured: Measurement | None, limits: LimitFile,
    refusal: Refusal | None,
) -> JudgedRow:
    trouble = _trouble(measured, limit, refusal)
    if measured is None or trouble:
        return _row(limit, name, label, measured, None, Verdict.NO_RESULT, trouble, None)
    decision = limits.decision_of(limit)
    zone = acceptance(limit.lower, limit.upper, measured.u, decision)
    if zone is None:
        return _row(limit, name, label, measured, None, Verdict.NO_RESULT, TOO_UNCERTAIN, None)
    accepted = lies_within(measured.value, zone.lower, zone.upper)
    words = _zone(measured, limit, decision.factor)
    return _row(limit, name, label, measured, zone, Verdict.PASS if accepted else Verdict.FAIL, words,
                _margin(measured, limit, zone, accepted=accepted))


def _trouble(measured: Measurement | None, limit: Limit, refusal: Refusal | None) -> str:
    """Return why a value cannot be judged, or an empty text."""
    if refusal is not None:
        return f"capture refused: {refusal.text}"
    if measured is None or (limit.lower is None and limit.upper is None):
        return NOT_MEASURED
    if measured.unit != limit.unit:
        return WRONG_UNIT
    if not isfinite(measured.value):
        return NO_NUMBER
    return "" if isfinite(measured.u) and measured.u >= 0 else NO_UNCERTAINTY


def _zone(measured: Measurement, limit: Limit, factor: float) -> str:
    """Return in words where a value stands; `factor` gives the band also under rules that deduct less."""
    inside = lies_within(measured.value, limit.lower, limit.upper)
    width = guard_band(limit.lower, limit.upper, measured.u, factor)
    if width is None:
        return NEARLY_OUTSIDE if inside else NEARLY_INSIDE
    sign = 1 if inside else -1
    lower = None if limit.lower is None else limit.lower + sign * width
    upper = None if limit.upper is None else limit.upper - sign * width
    if lies_within(measured.value, lower, upper):
        return INSIDE if inside else NEARLY_INSIDE
    return NEARLY_OUTSIDE if inside else OUTSIDE


def _margin(measured: Measurement, limit: Limit, zone: Acceptance, *, accepted: bool) -> float | None:
    distances = [] if zone.lower is None else [measured.value - zone.lower]
    distances += [] if zone.upper is None else [zone.upper - measured.value]
    scale = measured.u if limit.lower is None or limit.upper is None else (limit.upper - limit.lower) / 2
    if scale == 0:  # an exact value against one exact limit
        return None if accepted else min(distances)
    return min(distances) / scale


def _row(
    limit: Limit, name: str, label: str, measured: Measurement | None, zone: Acceptance | None,
    result: Verdict, words: str, margin: float | None,
) -> JudgedRow:
    value, u, dof = (None, None, None) if measured is None else (measured.value, measured.u, measured.dof)
    return JudgedRow(
        limit.key, name, label, limit.unit, value, u, dof, limit.lower, limit.upper,
        zone.lower if zone else None, zone.upper if zone else None, result, words, margin,
    )


def _verdict(
    rows: Sequence[JudgedRow], broken: Sequence[Refusal], refused: Mapping[str, Refusal]
) -> tuple[Verdict, str]:
    failed = [row for row in rows if row.result == Verdict.FAIL]
    if failed:
        return Verdict.FAIL, f"{len(failed)} of {len(rows)} values fail: {_named(failed)}."
    if broken:
        return Verdict.FAIL, f"The motor cannot be measured: {broken[0].text}"
    if not rows:
        return Verdict.NO_RESULT, "No value was judged."
    missing = [row for row in rows if row.result != Verdict.PASS]
    if missing:
        return Verdict.NO_RESULT, (f"{len(missing)} of {len(rows)} values have no result: {_named(missing)} "
                                   f"({missing[0].zone}).")
    if refused:
        return Verdict.NO_RESULT, f"A capture was refused: {next(iter(refused.values())).text}"
    return Verdict.PASS, f"All {len(rows)} values lie within their acceptance limits."


def _cause(rows: Sequence[JudgedRow], refused: Mapping[str, Refusal]) -> Cause:
    """Return what the reason of a NO RESULT says first; a capture that was refused explains what lacks."""
    if refused:
        return Cause("capture_refused", next(iter(refused.values())).code)
    missing = [row for row in rows if row.result != Verdict.PASS]
    if not missing:
        return Cause("nothing_judged")
    return Cause("too_uncertain" if missing[0].zone == TOO_UNCERTAIN else "value_missing", missing[0].name)


def _named(rows: Sequence[JudgedRow]) -> str:
    names = [f"{row.name} at {row.label}" if row.label else row.name for row in rows[:NAMED_ROWS]]
    more = len(rows) - len(names)
    return ", ".join(names) + (f" and {more} more" if more else "")
