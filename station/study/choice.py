"""Which stored tests a study is of, said so that the same question finds the same tests again."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from station.clock import Date
from station.errors import UsageError

if TYPE_CHECKING:
    from station.study.wide_table import WideTable

NO_RESULT = "NO RESULT"


@dataclass(frozen=True, slots=True)
class Choice:
    """The runs of a table that are studied: of the production, not void, and with a verdict.

    `since` and `until` are dates in UTC, both included; `limits` begins the SHA-256 of the limit file that they were
    judged by; `without` are motors left out; `trusted` leaves out what a failed reference check casts doubt on. Only
    the first `entries` of the log are looked at, all of them if it is None. An empty text asks for nothing.

    Raises
    ------
    UsageError
        A date is none.
    """

    since: str = ""
    until: str = ""
    limits: str = ""
    every_run: bool = False
    trusted: bool = False
    without: tuple[str, ...] = ()
    entries: int | None = None

    def __post_init__(self) -> None:
        """Hold the dates for dates."""
        for name in ("since", "until"):
            _require_date(name, getattr(self, name))

    def of(self, table: "WideTable") -> "WideTable":
        """Return the chosen runs of a table, oldest first."""
        chosen = table.production() if self.every_run else table.first_attempts()
        frame = chosen.frame
        rows = (frame["verdict"] != NO_RESULT) & ~frame["serial"].isin(self.without)
        if self.entries is not None:
            rows &= frame["seq"] < self.entries
        days = frame["started"].dt.strftime("%Y-%m-%d")
        rows &= (days >= self.since) & (days <= (self.until or "9999-12-31"))
        rows &= frame["limit_sha256"].str.startswith(self.limits)
        if self.trusted:
            rows &= ~frame["suspect"]
        return chosen.where(rows)

    def words(self) -> str:
        """Return what is asked for in words, as reports state it."""
        said = ["every run with a result" if self.every_run else "first attempts with a result", "failures included"]
        said += [f"since {self.since}"] if self.since else []
        said += [f"until {self.until}"] if self.until else []
        said += [f"judged by the limit file {self.limits[:12]}"] if self.limits else []
        said += ["without those in doubt after a reference check"] if self.trusted else []
        said += [f"without {', '.join(self.without)}"] if self.without else []
        return ", ".join(said)


def _require_date(name: str, text: str) -> None:
    try:
        if text and Date.fromisoformat(text).isoformat() == text:
            return
    except ValueError:
        pass
    if text:
        raise UsageError("this is no date", where=name, expected="a date such as 2026-11-25", got=text,
                         remedy="Give year, month and day.")
