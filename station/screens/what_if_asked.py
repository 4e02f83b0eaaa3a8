"""What the address of a what-if asks for: a limit file, other bounds in it, and the one that is being moved."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

from station.clock import Date
from station.errors import UsageError
from station.judgement.limit_file import Limit, LimitFile, parse_limits
from station.record.record import sha256_of
from station.screens.ask import Ask
from station.screens.drafts import LIMITS, named
from station.sequence.station_file import Station
from station.study.draft_text import Bounds, with_bounds
from station.study.limit_sweep import Side
from station.study.release import RELEASED
from station.study.what_if import Span
from station.toml_file import parse_toml

IN_FORCE, DRAFT, EARLIER = "in-force", "draft", "released"      # where a limit file lies
SIDES: tuple[Side, ...] = ("lower", "upper")


@dataclass(frozen=True, slots=True)
class Shown:
    """The bound that is being moved."""

    limit: Limit
    side: Side

    @property
    def bound(self) -> float:
        """Where it stands, in the characteristic's unit."""
        return bound_of(self.limit, self.side)


@dataclass(frozen=True, slots=True)
class Asked:
    """A what-if: `limits` are those of the file `base` with `bounds` moved; `where` says where that lies."""

    where: str
    base: LimitFile
    limits: LimitFile
    bounds: Mapping[str, Bounds]        # of the entries that differ from `base`
    shown: Shown
    sequence: str
    entries: int                        # of the log that the tests must be taken from at least
    span: Span                          # of the tests that are looked at

    @property
    def motor_type(self) -> str:
        """The motor type that it is about."""
        return self.base.motor_type.name

    def link(self, **other: str) -> str:
        """Return the address of this what-if, with `other` fields."""
        fields = {"file": self.where, "sequence": self.sequence,
                  "moved": f"{self.shown.side}:{self.shown.limit.key}", "entries": str(self.entries or ""),
                  "since": self.span.since, "until": self.span.until}
        for key, (lower, upper) in self.bounds.items():
            fields |= {f"{side}:{key}": f"{bound:.12g}" for side, bound in (("lower", lower), ("upper", upper))
                       if bound is not None}
        return "/limits/what-if?" + urlencode({name: text for name, text in (fields | other).items() if text})


def what_if_asked(ask: Ask) -> Asked:
    """Return what the address, or the form, asks for.

    Raises
    ------
    UsageError
        There is no such file, or a bound is none.
    FileContractError
        The file does not hold.
    """
    where = ask.given("file", 80)
    base = limit_file_at(ask.site.station, where)
    bounds = {}
    for limit in base.limits:
        moved = _moved(ask, limit)
        if moved != (limit.lower, limit.upper):
            bounds[limit.key] = moved
    limits = with_bounds(base, bounds)
    span = Span(_day(ask, "since"), _day(ask, "until"))
    return Asked(where, base, limits, bounds, _shown(ask, limits), ask.given("sequence", 40), _entries(ask), span)


def limit_file_at(station: Station, where: str) -> LimitFile:
    """Return the limit file at a place such as "in-force/CP-40.toml" or "draft/CP-40.toml"; errors as above."""
    kind, _, name = where.partition("/")
    folders: dict[str, Path] = {IN_FORCE: station.limits, DRAFT: LIMITS.drafts(station),
                                EARLIER: station.limits / RELEASED}
    if kind not in folders:
        raise UsageError("no limit file was named", where="limits", got=repr(where),
                         expected=f"{IN_FORCE}/, {DRAFT}/ or {EARLIER}/ and its name",
                         remedy="Follow a link of the list.")
    path = folders[kind] / named(name)
    if not path.is_file():
        raise UsageError("no such limit file", where=kind, expected="one of the list", got=name,
                         remedy="Follow a link of the list.")
    return parse_limits(parse_toml(path.read_bytes(), name))


def bound_of(limit: Limit, side: Side) -> float:
    """Return a bound that there is."""
    bound = limit.lower if side == "lower" else limit.upper
    assert bound is not None  # noqa: S101 - asked only for sides that there are
    return bound


def sides_of(limit: Limit) -> tuple[Side, ...]:
    """Return the sides on which a limit has a bound."""
    return tuple(side for side, bound in zip(SIDES, (limit.lower, limit.upper), strict=True) if bound is not None)


def hash_seen(base: LimitFile) -> str:
    """Return the hash of a limit file as it was shown."""
    return sha256_of(base.text.encode())


def _moved(ask: Ask, limit: Limit) -> Bounds:
    lower, upper = (_number(ask, f"{side}:{limit.key}", bound)
                    for side, bound in zip(SIDES, (limit.lower, limit.upper), strict=True))
    return lower, upper


def _number(ask: Ask, name: str, otherwise: float | None) -> float | None:
    """Return a number as people type it, with a point or a comma; `otherwise` where nothing was typed."""
    text = ask.given(name, 40)
    if not text or otherwise is None:
        return otherwise
    try:
        return float(text.replace("\u2212", "-").replace(",", "."))
    except ValueError:
        raise UsageError("that is no number", where=name, expected="digits with a point or a comma, and no grouping",
                         got=repr(text), remedy="Enter the limit in the unit shown beside it.") from None


def _shown(ask: Ask, limits: LimitFile) -> Shown:
    """Return the bound that was moved last; the first of the file where none was, or it is not there."""
    side, _, key = ask.given("moved", 120).partition(":")
    found = [Shown(limit, of) for limit in limits.limits for of in sides_of(limit)]
    if not found:
        raise UsageError("this file limits nothing", where=limits.name, expected="an entry with a bound", got="none",
                         remedy="Add limits to its text.")
    return next((one for one in found if (one.side, one.limit.key) == (side, key)), found[0])


def _day(ask: Ask, name: str) -> str:
    """Return a date as a browser sends it, "" for none."""
    text = ask.given(name, 20)
    try:
        return Date.fromisoformat(text).isoformat() if text else ""
    except ValueError:
        raise UsageError("this is no date", where=name, expected="a date such as 2026-11-25", got=repr(text),
                         remedy="Give year, month and day.") from None


def _entries(ask: Ask) -> int:
    text = ask.given("entries", 12)
    return int(text) if text.isascii() and text.isdecimal() else 0
