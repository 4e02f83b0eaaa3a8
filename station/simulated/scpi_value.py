"""Parameters of SCPI commands: numbers with suffixes, booleans, words, channel lists; and answers."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, isnan

from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_header import compile_pattern

NAN = 9.91e37        # SCPI-1999 volume 1, 7.2.1.5
INFINITY = 9.9e37    # SCPI-1999 volume 1, 7.2.1.4

_DECIMAL = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:\s*[eE]\s*[+-]?\d+)?)\s*([A-Za-z/]*)")
_OTHER_RADIX = re.compile(r"#(?:H([0-9A-F]{1,16})|Q([0-7]{1,21})|B([01]{1,64}))", re.IGNORECASE)
_CHANNELS = re.compile(r"\(@\s*\d{1,6}(?:\s*[:,]\s*\d{1,6})*\s*\)")
# IEEE 488.2 table 7-2: M is milli, mega is MA, except that MOHM and MHZ mean mega.
_PREFIXES = {"": 1.0, "EX": 1e18, "PE": 1e15, "T": 1e12, "G": 1e9, "MA": 1e6, "K": 1e3, "M": 1e-3, "U": 1e-6,
             "N": 1e-9, "P": 1e-12, "F": 1e-15, "A": 1e-18}
_MEGA_UNITS = ("OHM", "HZ")


@dataclass(frozen=True, slots=True)
class Span:
    """What a numeric parameter may be: unit as SCPI spells it ("" allows no suffix), limits, *RST value."""

    unit: str
    low: float
    high: float
    default: float
    whole: bool = False

    def read(self, text: str) -> float:
        """Return the number that `text` spells, or raise ScpiError (-222 outside the limits)."""
        number = self.named(text)
        if number is None:
            number = read_number(text, self.unit)
        if not self.low <= number <= self.high:
            raise ScpiError(-222)
        return float(round(number)) if self.whole else number

    def named(self, text: str) -> float | None:
        """Return the value of MINimum, MAXimum or DEFault, or None for anything else."""
        words = {"MIN": self.low, "MINIMUM": self.low, "MAX": self.high, "MAXIMUM": self.high,
                 "DEF": self.default, "DEFAULT": self.default}
        return words.get(text.upper())


def read_number(text: str, unit: str = "") -> float:
    """Return a number given in `unit` or with one of its prefixes.

    Raises
    ------
    ScpiError
        -104 for no number at all, -121, -131, -138, or -222 for a number beyond all bounds.
    """
    radix = _OTHER_RADIX.fullmatch(text)
    if radix:
        return float(int(radix[1] or radix[2] or radix[3], 16 if radix[1] else 8 if radix[2] else 2))
    match = _DECIMAL.fullmatch(text)
    if match is None:
        raise ScpiError(-121 if text[:1].isdigit() or text[:1] in "+-.#" else -104)
    number = float(re.sub(r"\s", "", match[1]))
    number *= _suffix_factor(match[2].upper(), unit) if match[2] else 1.0
    if not isfinite(number):    # more digits than a double can hold
        raise ScpiError(-222)
    return number


def _suffix_factor(suffix: str, unit: str) -> float:
    if not unit:
        raise ScpiError(-138)
    prefix = suffix.removesuffix(unit) if suffix.endswith(unit) else None
    if prefix == "M" and unit in _MEGA_UNITS:
        return 1e6
    if prefix is None or prefix not in _PREFIXES:
        raise ScpiError(-131)
    return _PREFIXES[prefix]


def read_boolean(text: str) -> bool:
    """Return ON, OFF or a number (rounded, not 0 is true); raises ScpiError for anything else."""
    word = text.upper()
    if word in {"ON", "OFF"}:
        return word == "ON"
    if word[:1].isalpha():
        raise ScpiError(-141)
    return round(read_number(text)) != 0


def read_word(text: str, choices: Sequence[str]) -> str:
    """Return the short form of the one of `choices` (spelled as patterns) that `text` names, or raise -224."""
    for choice in choices:
        node = compile_pattern(choice)[0]
        if text.upper() in {node.short, node.long}:
            return node.short
    raise ScpiError(-224)


def read_channels(text: str, count: int) -> tuple[int, ...]:
    """Return the channels of a list such as (@1,3) or (@1:3); raises ScpiError for channels not in 1...count."""
    if not _CHANNELS.fullmatch(text):
        raise ScpiError(-104)
    channels: list[int] = []
    for part in text[2:-1].split(","):
        first, *last = [int(end) for end in part.split(":")]
        if not all(1 <= end <= count for end in (first, *last)):
            raise ScpiError(-222)
        channels.extend(range(first, (last[-1] if last else first) + 1))
    return tuple(channels)


def answer_number(number: float) -> str:
    """Return a number as SCPI answers it: infinities and NaN as their stand-in numbers."""
    if isnan(number):
        return f"{NAN:.2E}"
    if abs(number) >= INFINITY:
        return f"{'-' if number < 0 else ''}{INFINITY:.1E}"
    return f"{number:.9E}"


def answer_block(body: bytes) -> bytes:
    """Return a definite-length block. Source: IEEE 488.2, 8.7.9."""
    length = str(len(body)).encode()
    return b"#" + str(len(length)).encode() + length + body


