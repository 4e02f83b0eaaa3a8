"""When the reference motors must be tested again before any other motor."""

from collections.abc import Mapping
from collections.abc import Sequence as Ordered
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from station.record.reference_check import Since
from station.sequence.station_file import Reference

Check = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Rules:
    """The station's rules: a check holds within a shift, and never longer than `longest`."""

    shift_starts: tuple[time, ...]
    zone: tzinfo
    longest: timedelta
    after_changeover: bool


# Why a check is due, by code; what is given fills the braces.
SENTENCES = {
    "never": "no reference check of {kind} was ever made",
    "not_good": "the last reference check of {kind} ({check}) was {result}",
    "other_bad": "reference check {check}, of {kind}, was BAD since",
    "clock": "the last one is dated {at}, after now: the clock was set back",
    "shift": "the last one was before this shift, which began {at}",
    "old": "the last one is older than {hours} h",
    "bench_changed": "the bench file was changed since the last one",
    "sequence_changed": "the sequence was changed since the last one",
    "software_changed": "the software was changed since the last one",
    "reference_changed": "a reference file was changed since the last one",
    "interrupted": "the test of {serial} was interrupted since the last one",
    "other_type": "a motor of type {kind} was tested since the last one",
}


@dataclass(frozen=True, slots=True)
class Due:
    """Why a reference check is due: one of the codes above, and what is given with it."""

    code: str
    given: tuple[tuple[str, str], ...] = ()

    def __str__(self) -> str:
        """In a sentence."""
        return SENTENCES[self.code].format(**dict(self.given))


@dataclass(frozen=True, slots=True)
class Conditions:
    """What a check must have been made under to count now."""

    motor_type: str
    bench_sha256: str
    sequence_sha256: str
    software: str                       # version of the station
    references: Mapping[str, str]       # serial -> SHA-256 of its file


def rules_of(table: Reference) -> Rules:
    """Return the rules in the station file."""
    return Rules(tuple(table.shift_starts), ZoneInfo(table.time_zone), timedelta(hours=table.longest_h),
                 table.after_changeover)


def shift_start(rules: Rules, now: datetime) -> datetime | None:
    """Return the latest start of a shift that is not after `now`, UTC; None without shift times.

    A start that the change to summer time leaves out is taken where the clock would have shown it.
    """
    today = now.astimezone(rules.zone).date()
    starts = [datetime.combine(today - timedelta(days=back), start, rules.zone).astimezone(UTC)
              for back in (0, 1, 2) for start in rules.shift_starts]
    return max((start for start in starts if start <= now), default=None)


def latest_check(checks: Ordered[Check], motor_type: str) -> Check | None:
    """Return the newest check of a motor type; `checks` are oldest first."""
    return next((check for check in reversed(checks) if check["motor_type"] == motor_type), None)


def why_due(rules: Rules, checks: Ordered[Check], since: Since, present: Conditions, now: datetime) -> Due | None:
    """Return why a reference check is due before the next motor, or None.

    `checks` are those from the newest one of this motor type on, or more, oldest first; `since` is what happened
    after that one. A check of another type that failed later counts too: both are made on the same bench.
    """
    check = latest_check(checks, present.motor_type)
    if check is None:
        return _due("never", kind=present.motor_type)
    if check["result"] != "GOOD":
        return _due("not_good", kind=present.motor_type, check=check["check"], result=check["result"])
    later = [other for other in checks if other["check"] > check["check"] and other["result"] == "BAD"]
    if later:
        return _due("other_bad", check=later[-1]["check"], kind=later[-1]["motor_type"])
    return _out_of_time(rules, datetime.fromisoformat(check["started"]), now) or _changed(
        check, present) or _happened(rules, since)


def _due(code: str, **given: object) -> Due:
    return Due(code, tuple((name, str(text)) for name, text in given.items()))


def _out_of_time(rules: Rules, checked: datetime, now: datetime) -> Due | None:
    if checked > now:
        return _due("clock", at=checked.isoformat())
    start = shift_start(rules, now)
    if start is not None and checked < start:
        return _due("shift", at=start.isoformat())
    if now - checked > rules.longest:
        return _due("old", hours=f"{rules.longest.total_seconds() / 3600:g}")
    return None


def _changed(check: Check, present: Conditions) -> Due | None:
    for what, then, now in (
            ("bench", check["bench_sha256"], present.bench_sha256),
            ("sequence", check["sequence_sha256"], present.sequence_sha256),
            ("software", check["software"], present.software),
            ("reference", {m["serial"]: m["sha256"] for m in check["motors"]}, dict(present.references))):
        if then != now:
            return Due(f"{what}_changed")
    return None


def _happened(rules: Rules, since: Since) -> Due | None:
    if since.interrupted is not None:
        return _due("interrupted", serial=since.interrupted)
    if since.other_type is not None and rules.after_changeover:
        return _due("other_type", kind=since.other_type)
    return None
