"""A limit file with other bounds: judged by at once, and written down as a draft, comments and all."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from math import isclose, isfinite
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from station.characteristic import characteristic_of
from station.errors import FileContractError, UsageError
from station.judgement.limit_file import Limit, LimitFile, parse_limits
from station.judgement.limit_key import read_key
from station.toml_file import parse_toml
from station.units import factor

Bounds = tuple[float | None, float | None]      # lower and upper, in the characteristic's own unit

OF_A_RELEASE = ("released_by", "released_on", "reason", "study")
DIGITS = 12     # that are written: what a change of units leaves behind them is no intention of anybody


def with_bounds(limits: LimitFile, bounds: Mapping[str, Bounds]) -> LimitFile:
    """Return the limit file with other bounds in the entries named; it is not the file of that hash any more.

    Raises
    ------
    UsageError
        An entry is not there, or a bound is no number, or a lower one above its upper one.
    """
    unknown = sorted(set(bounds) - {limit.key for limit in limits.limits})
    if unknown:
        raise UsageError("no such limit", where=limits.name, expected="an entry of the file", got=", ".join(unknown),
                         remedy="Spell it as the limit file does.")
    return replace(limits, limits=tuple(_bounded(limit, *bounds[limit.key]) if limit.key in bounds else limit
                                        for limit in limits.limits))


def draft_text(base: LimitFile, bounds: Mapping[str, Bounds], *, number: str, note: str) -> str:
    """Return the text of a draft: that of `base` with other bounds, a revision of its own, and nobody's release.

    Raises
    ------
    UsageError
        As `with_bounds`; or the file is written in a way that cannot be changed so.
    """
    wanted = with_bounds(base, bounds)
    try:
        text = _written(base, bounds, number, note)
        made = parse_limits(parse_toml(text.encode(), base.name))
    except (TOMLKitError, KeyError, TypeError, FileContractError) as error:
        raise _unchangeable(base, str(error)) from error
    if not all(map(_alike, made.limits, wanted.limits)) or len(made.limits) != len(wanted.limits):
        raise _unchangeable(base, "other limits than were asked for")
    return text


def next_number(number: str, used: Collection[str]) -> str:
    """Return a number for the revision after `number` that is not among those `used`: B after A, 8 after 7."""
    while number in used:
        stem = number.rstrip("0123456789")
        if stem != number:
            number = stem + str(int(number[len(stem):]) + 1)
        elif len(stem) == 1 and "A" <= stem < "Z":
            number = chr(ord(stem) + 1)
        else:
            number = stem + "2"
    return number


def _bounded(limit: Limit, lower: float | None, upper: float | None) -> Limit:
    if not all(bound is None or isfinite(bound) for bound in (lower, upper)) or lower is upper is None:
        raise UsageError("that is no limit", where=limit.key, expected="a number on one side at least",
                         got=f"{lower} … {upper}", remedy="Enter a number.")
    if lower is not None and upper is not None and lower > upper:
        raise UsageError("the lower limit is above the upper one", where=limit.key, expected=f"at most {upper:g}",
                         got=f"{lower:g}", remedy="Move one of them.")
    return replace(limit, lower=lower, upper=upper)


def _written(base: LimitFile, bounds: Mapping[str, Bounds], number: str, note: str) -> str:
    document: Any = tomlkit.parse(base.text)
    own = {limit.key: limit for limit in base.limits}
    for key, (lower, upper) in bounds.items():
        entry = document["limits"][key]
        for side, bound, before in (("lower", lower, own[key].lower), ("upper", upper, own[key].upper)):
            if bound is None:
                entry.pop(side, None)
            elif bound != before:
                entry[side] = _in_unit(key, entry["unit"], bound)
    revision = document["revision"]
    for name in OF_A_RELEASE:
        revision.pop(name, None)
    revision["number"], revision["note"] = number, note
    return tomlkit.dumps(document)


def _in_unit(key: str, unit: str, bound: float) -> float:
    """Return a bound in the unit that its entry is written in."""
    known = characteristic_of(read_key(key)[0])
    scale = factor(unit, known.unit) if known is not None else 1.0
    return float(f"{bound / scale:.{DIGITS}g}")


def _alike(made: Limit, wanted: Limit) -> bool:
    same = all(a is b is None or (a is not None and b is not None and isclose(a, b, rel_tol=1e-9, abs_tol=1e-12))
               for a, b in ((made.lower, wanted.lower), (made.upper, wanted.upper)))
    return same and replace(made, lower=None, upper=None) == replace(wanted, lower=None, upper=None)


def _unchangeable(base: LimitFile, got: str) -> UsageError:
    return UsageError("the limit file cannot be changed so", where=base.name, got=got,
                      expected="an entry with unit, lower and upper for each limit", remedy="Change its text by hand.")
