"""Embedded instruments behind other command sets, so that dialects can be proven on real sockets."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_instrument import ScpiInstrument

Words = dict[str, str]              # named groups of what was heard
Obey = Callable[[Words], bytes | None]


@dataclass(frozen=True, slots=True)
class Phrase:
    """What an instrument understands: a regular expression, and what it does and answers."""

    heard: str
    obey: Obey


@dataclass(frozen=True, slots=True)
class Tongue:
    """How an accent frames its messages; its phrases come from `phrases(native instrument)`."""

    name: str
    phrases: Callable[[ScpiInstrument], Sequence[Phrase]]
    answer_end: bytes = b"\n"
    wants_return: bool = False      # messages must end with CR NL
    headers: bool = False           # answers begin with the header of the question


class AccentedInstrument:
    """An embedded instrument that understands only the phrases of its tongue and the common commands.

    It has the face of a `ScpiInstrument` as far as a server needs it.
    """

    def __init__(self, native: ScpiInstrument, tongue: Tongue) -> None:
        self.native, self._tongue = native, tongue
        self.model = f"{native.model} {tongue.name.upper()}"
        self._phrases = [(re.compile(phrase.heard), phrase.obey) for phrase in tongue.phrases(native)]

    def execute(self, message: bytes) -> bytes:
        """Obey one message without its terminator; return the answer with its own, or nothing."""
        if self._tongue.wants_return and not message.endswith(b"\r"):
            self.native.report(ScpiError(-102, "no carriage return"))
            return b""
        text = message.decode("ascii", "replace").strip()
        answer = self._common(text) if text.startswith("*") else self._spoken(text)
        return answer + self._tongue.answer_end if answer else b""

    def look(self) -> None:
        """Let time pass for the instrument."""
        self.native.look()

    def report(self, error: ScpiError) -> None:
        """Queue an error that the connection found."""
        self.native.report(error)

    def end(self) -> None:
        """Break off any waiting."""
        self.native.end()

    def _common(self, text: str) -> bytes:
        answer = self.native.execute(text.encode("ascii", "replace")).rstrip(b"\n")
        return answer.replace(self.native.model.encode(), self.model.encode(), 1) if text == "*IDN?" else answer

    def _spoken(self, text: str) -> bytes:
        for pattern, obey in self._phrases:
            match = pattern.fullmatch(text)
            if match is None:
                continue
            answer = obey(match.groupdict())
            if answer and self._tongue.headers:
                return b":" + text.partition("?")[0].encode("ascii") + b" " + answer
            return answer or b""
        self.native.report(ScpiError(-113))
        return b""


def phrase(native: ScpiInstrument, heard: str, means: str, said: Callable[[str], str] = str) -> Phrase:
    """Return a phrase that stands for the native message `means`, filled with the groups of `heard`.

    `said` rewords the native answer.
    """
    def obey(words: Words) -> bytes | None:
        answer = tell(native, means.format(**words))
        return said(answer.decode("ascii")).encode("ascii") if answer else None

    return Phrase(heard, obey)


def tell(native: ScpiInstrument, message: str) -> bytes:
    """Have the native instrument obey `message`; return its answer without terminator."""
    answer = native.execute(message.encode("ascii"))
    return answer.removesuffix(b"\n")


def block_body(block: bytes) -> bytes:
    """Return the bytes that a definite block carries."""
    digits = int(block[1:2])
    return block[2 + digits:]


def is_over(answer: str) -> bool:
    """Return whether a native answer is the stand-in for over range."""
    return abs(float(answer)) >= 9.8e37
