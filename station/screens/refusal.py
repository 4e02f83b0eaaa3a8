"""Why a motor is not tested or has no result, so that each operator reads it in their language, with what to do."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from station.errors import NotAllowedError, StationError
from station.record.record import INTERRUPTED
from station.screens.plain_names import plain_name
from station.screens.words import DEFAULT, Words
from station.sequence.befallen import instrument_of

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
        given = {name: self._said(name, text, words) for name, text in self.given}
        return words.text(f"refused.{self.key}.what", **given)

    def do(self, words: Words) -> str:
        """Return what to do about it."""
        return words.text(f"refused.{self.key}.do", **dict(self.given))

    def _said(self, name: str, text: str, words: Words) -> str:
        """Return what is `given` under a name, where that is an instrument, value or fault, in the words for it."""
        if name == "due":
            return words.text(f"due.{text}", **dict(self.given))
        if name not in ("at", "role"):
            return text
        if self.key == "capture_refused":
            family = "stitch" if text.startswith("stitch_") else text
            return words.texts.get(f"capture.{family}", words.text("capture.other"))
        if self.key in ("too_uncertain", "value_missing"):
            return plain_name(text, words)
        return words.texts.get(f"instrument.{text}", text)


class RefusedError(NotAllowedError):
    """A motor is not tested, for a reason that has words in every language."""

    def __init__(self, key: str, where: str, **given: str) -> None:
        self.refusal = Refusal(key, tuple(sorted(given.items())))
        super().__init__(self.refusal.what(DEFAULT), where=where, expected="a motor that may be tested now",
                         got=key.replace("_", " "), remedy=self.refusal.do(DEFAULT))


def refusal_of(error: StationError) -> Refusal:
    """Return the reason in `error`; where its code has no words, its own stand in for a translation."""
    if isinstance(error, RefusedError):
        return error.refusal
    if has_words(error.code):
        return Refusal(error.code, (("at", instrument_of(error)),))
    return Refusal("trouble", (("remedy", error.remedy), ("what", f"{error.what} ({error.where})")))


def has_words(code: str) -> bool:
    """Return whether an error or a NO RESULT with this code can be told in every language."""
    return code != "trouble" and f"refused.{code}.what" in DEFAULT.texts


def reason_of(record: Mapping[str, Any]) -> Refusal | None:
    """Return why a record is NO RESULT; None where it has no code, or one that nobody has words for."""
    interrupted = {"code": "interrupted", "at": ""} if record["reason"] == INTERRUPTED else None
    cause = record.get("cause") or interrupted
    return Refusal(cause["code"], (("at", cause["at"]),)) if cause and has_words(cause["code"]) else None
