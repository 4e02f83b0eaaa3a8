"""SCPI headers: a pattern such as `[SENSe]:VOLTage<n>[:DC]:RANGe` and what it accepts."""

import re
from dataclasses import dataclass

from station.simulated.scpi_error import ScpiError

_PATTERN_NODE = re.compile(r"(\[)?:?([A-Za-z]+)(<n>)?:?\]?")
_TYPED_NODE = re.compile(r"([A-Za-z][A-Za-z_]*)(\d*)")
LONGEST_MNEMONIC = 12


@dataclass(frozen=True, slots=True)
class Node:
    """One level of a pattern: its two legal spellings, whether it may be left out or carry a number."""

    short: str
    long: str
    optional: bool
    numbered: bool


@dataclass(frozen=True, slots=True)
class Typed:
    """One level of a header as a client typed it, in upper case; `suffix` is None when there was none."""

    mnemonic: str
    suffix: int | None


def compile_pattern(pattern: str) -> tuple[Node, ...]:
    """Return the nodes of a pattern: capitals are the short form, [...] is optional, <n> is numbered."""
    return tuple(
        Node("".join(c for c in match[2] if c.isupper()), match[2].upper(), bool(match[1]), bool(match[3]))
        for match in _PATTERN_NODE.finditer(pattern)
    )


def read_header(text: str) -> tuple[Typed, ...]:
    """Return the levels of a typed header without its leading colon.

    Raises
    ------
    ScpiError
        -101, -102 or -112 for text that no header can be.
    """
    return tuple(_read_level(level) for level in text.split(":"))


def _read_level(level: str) -> Typed:
    match = _TYPED_NODE.fullmatch(level)
    if match is None:
        if not level:
            raise ScpiError(-102)
        raise ScpiError(-113 if level.replace("_", "").isalnum() else -101)
    if len(level) > LONGEST_MNEMONIC:
        raise ScpiError(-112)
    return Typed(match[1].upper(), int(match[2]) if match[2] else None)


def match_header(nodes: tuple[Node, ...], typed: tuple[Typed, ...]) -> tuple[int, ...] | None:
    """Return the suffixes of the numbered nodes when `typed` spells `nodes`, else None.

    A number that is not typed is 1. Only the exact short or the exact long form matches.
    """
    if not nodes:
        return None if typed else ()
    first, rest = nodes[0], nodes[1:]
    if typed and typed[0].mnemonic in {first.short, first.long} and (first.numbered or typed[0].suffix is None):
        later = match_header(rest, typed[1:])
        if later is not None:
            suffix = 1 if typed[0].suffix is None else typed[0].suffix
            return (suffix, *later) if first.numbered else later
    if first.optional:
        later = match_header(rest, typed)
        if later is not None:
            return (1, *later) if first.numbered else later
    return None
