"""How one make of instrument words what a session itself says and hears: line ends, identity, errors, numbers."""

import math
import re
from dataclasses import dataclass

from station.bench.identity import Identity, parse_identity
from station.errors import BenchError

POWER_ON = 128           # bit of the event status register. Source: IEEE 488.2 (from memory)
NOT_A_NUMBER = 9.91e37   # Source: SCPI-99, volume 1 (values from memory)
OVER_RANGE = 9.9e37
SENTINEL_MARGIN = 1e-4   # relative; makers round the sentinels differently
# One header before an answer: optional colon, mnemonics joined by colons, then white space or an equals sign.
_HEADER = re.compile(r":?(?P<nodes>[A-Za-z][A-Za-z0-9_]*(?::[A-Za-z][A-Za-z0-9_]*)*)(?:[ \t]*=[ \t]*|[ \t]+)")


@dataclass(frozen=True, slots=True)
class Sentinels:
    """Answers that stand for no value: numbers are compared as numbers, texts as they are.

    A text that ends with * stands for every answer that begins with what is before it. The numbers of SCPI
    itself (9.91E37, +-9.9E37) always count.
    """

    over: tuple[str, ...] = ()
    under: tuple[str, ...] = ()
    invalid: tuple[str, ...] = ()

    def meaning(self, answer: str) -> float | None:
        """Return inf, -inf or nan when `answer` stands for that, else None."""
        for texts, value in ((self.over, math.inf), (self.under, -math.inf), (self.invalid, math.nan)):
            if any(_matches(text, answer) for text in texts):
                return value
        return None


@dataclass(frozen=True, slots=True)
class Speech:
    """What a session needs to know of a dialect; the defaults are plain IEEE 488.2 and SCPI."""

    line_end: bytes = b"\n"
    headers: bool = False              # answers begin with the header of their question
    identify: str = "*IDN?"
    identity: re.Pattern[str] | None = None   # what the answer must match; named groups are the identity's fields
    self_test: str = "*TST?"           # "": the instrument has none
    errors: str = "SYST:ERR?"          # "": the instrument has no error queue
    event_status: str = ""             # *ESR? of IEEE 488.2; "": it cannot tell that its power failed
    init: tuple[str, ...] = ()         # sent after every connecting
    acknowledge: str = ""              # what every command is answered with; "": nothing
    clients: int = 1                   # how many connections it serves at once; from 2 on a stop has its own
    pause: float = 0.0                 # s of rest that it needs after every command

    def framed(self, line: str) -> bytes:
        """Return the bytes that carry one `line`."""
        return line.encode("ascii") + self.line_end

    def plain(self, line: str, answer: str) -> str | None:
        """Return the answer to `line` without its header; None when there is none, or that of another question."""
        if not self.headers:
            return answer
        question = line.rpartition("\n")[2]
        if question.startswith("*"):
            # Mostly answered without a header, also where headers are on; what looks like one may be a name.
            return answer.removeprefix(question.rstrip("?") + " ")
        header = _HEADER.match(answer)
        return answer[header.end():].strip() if header and _is_of(question, header["nodes"]) else None

    def identity_in(self, answer: str, where: str) -> Identity:
        """Return who answers; BenchError when the answer does not have the form that the dialect names."""
        if self.identity is None:
            return parse_identity(answer, where)
        match = self.identity.fullmatch(answer)
        if match is None:
            raise BenchError("this dialect is for another make", where=where, got=repr(answer),
                             expected=f"an identity like {self.identity.pattern}",
                             remedy="Name the dialect of this instrument in the bench file.")
        named = match.groupdict()
        if not named:
            return parse_identity(answer, where)
        return Identity(*(named.get(field) or "0" for field in ("maker", "model", "serial", "firmware")))


def parse_number(answer: str, sentinels: Sentinels | None = None) -> float | None:
    """Return the number in `answer`, with sentinels as nan and +-inf; None when it is no number."""
    meant = sentinels.meaning(answer) if sentinels else None
    if meant is not None:
        return meant
    try:
        number = float(answer)
    except ValueError:
        return None
    if abs(number - NOT_A_NUMBER) <= SENTINEL_MARGIN * NOT_A_NUMBER:
        return math.nan
    if abs(number) >= OVER_RANGE * (1 - SENTINEL_MARGIN):
        return math.copysign(math.inf, number)
    return number


def _is_of(question: str, header: str) -> bool:
    """Return whether the last mnemonics of question and header may be short and long form of the same."""
    asked, named = (re.split(r"[?\s]", text)[0].upper().rpartition(":")[2].rstrip("0123456789")
                    for text in (question, header))
    return asked.startswith(named) or named.startswith(asked)


def _matches(text: str, answer: str) -> bool:
    if text.endswith("*"):
        return answer.startswith(text[:-1])
    try:
        return math.isclose(float(text), float(answer), rel_tol=SENTINEL_MARGIN)
    except ValueError:
        return text == answer
