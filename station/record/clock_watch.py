"""Jumps of the computer's clock, told from the records alone: flagged, while the order of the log stays."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

# The two clocks of a computer part slowly while its time is being corrected, ntpd by at most 500 ppm (from memory);
# what is more than this was set by somebody, or by a program that jumps.
SLACK = 2.0             # s
SLACK_SHARE = 1e-3      # of the time between

Flag = dict[str, Any]       # code, seconds, text


@dataclass(frozen=True, slots=True)
class Reading:
    """What both clocks said at one moment of a record; s, compared only within one boot of the computer."""

    utc: datetime
    boot_id: str
    monotonic: float | None


def reading_of(record: Mapping[str, Any], moment: str) -> Reading | None:
    """Return the clocks at the moment "started" or "ended" of a record; None when it does not tell the time."""
    clock = record.get("clock") or {}
    try:
        utc = datetime.fromisoformat(record[moment])
    except ValueError:
        return None
    return Reading(utc, clock.get("boot_id") or "", clock.get(f"{moment}_monotonic_s"))


def clock_flags(record: Mapping[str, Any], before: Reading | None) -> list[Flag]:
    """Return what is wrong with the times of a record; `before` is the end of the one before it in the log.

    Each flag has a code, `seconds` by which UTC is off, and words. `utc_backwards`: UTC ran backwards.
    `utc_jump`: UTC moved by more or less than the monotonic clock. `monotonic_backwards`: the monotonic clock
    did, within one boot.
    """
    ended = reading_of(record, "ended")
    if ended is None:
        return []
    flags: dict[str, Flag] = {}
    for earlier, since in ((reading_of(record, "started"), "the start of this run"),
                           (before, "the end of the run before it")):
        for flag in _compare(earlier, ended, since) if earlier is not None else []:
            flags.setdefault(flag["code"], flag)
    return list(flags.values())


def _compare(earlier: Reading, later: Reading, since: str) -> list[Flag]:
    elapsed = (later.utc - earlier.utc).total_seconds()
    found = []
    if elapsed < 0:
        found.append(_flag("utc_backwards", elapsed, f"The clock stands {-elapsed:g} s before {since}."))
    same_boot = later.boot_id and later.boot_id == earlier.boot_id
    if same_boot and earlier.monotonic is not None and later.monotonic is not None:
        found += _against_monotonic(elapsed, later.monotonic - earlier.monotonic, since)
    return found


def _against_monotonic(elapsed: float, waited: float, since: str) -> list[Flag]:
    if waited < 0:
        return [_flag("monotonic_backwards", elapsed - waited,
                      f"The computer's own count of seconds runs backwards since {since}.")]
    if abs(elapsed - waited) <= SLACK + SLACK_SHARE * waited:
        return []
    return [_flag("utc_jump", elapsed - waited,
                  f"The clock moved by {elapsed:g} s since {since}, of which the computer was awake for {waited:g} s.")]


def _flag(code: str, seconds: float, text: str) -> Flag:
    return {"code": code, "seconds": round(seconds, 3), "text": text}
