"""Why a motor is not tested, so that each operator reads it in their own language, with what to do."""

from dataclasses import dataclass

from station.errors import NotAllowedError, StationError
from station.screens.words import DEFAULT, Words

# What an engineer may allow all the same, with a reason; nothing else is anybody's to allow.
ALLOWABLE = frozenset({"passed", "runs_used", "reference_bad", "fails"})


@dataclass(frozen=True, slots=True)
class Refusal:
    """One reason: `key` names its words `refused.<key>.what` and `.do`, `given` fills them in."""

    key: str
    given: tuple[tuple[str, str], ...] = ()

    @property
    def is_allowable(self) -> bool:
        """Whether an engineer may let the motor be tested all the same."""
        return self.key in ALLOWABLE

    def what(self, words: Words) -> str:
        """Return what is wrong."""
        return words.text(f"refused.{self.key}.what", **dict(self.given))

    def do(self, words: Words) -> str:
        """Return what to do about it."""
        return words.text(f"refused.{self.key}.do", **dict(self.given))


class RefusedError(NotAllowedError):
    """A motor is not tested, for a reason that has words in every language."""

    def __init__(self, key: str, where: str, **given: str) -> None:
        self.refusal = Refusal(key, tuple(sorted(given.items())))
        super().__init__(self.refusal.what(DEFAULT), where=where, expected="a motor that may be tested now",
                         got=key.replace("_", " "), remedy=self.refusal.do(DEFAULT))


def refusal_of(error: StationError) -> Refusal:
    """Return the reason in `error`; of one that is not ours, its own words stand in for a translation."""
    if isinstance(error, RefusedError):
        return error.refusal
    return Refusal("trouble", (("remedy", error.remedy), ("what", f"{error.what} ({error.where})")))
