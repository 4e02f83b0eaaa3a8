"""A program message split into its units, with the path rule of SCPI applied to each header."""

from collections.abc import Iterator
from dataclasses import dataclass

from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_header import Typed, read_header


@dataclass(frozen=True, slots=True)
class Unit:
    """One command or query: `common` is its name with the asterisk, or empty for a SCPI header."""

    common: str
    header: tuple[Typed, ...]
    query: bool
    arguments: tuple[str, ...]


class Path:
    """Where the next header starts: `;` keeps the parent level, `;:` goes to the root.

    Common commands do not move it. Source: SCPI-1999 volume 1, 6.2.4 (number from memory).
    """

    def __init__(self) -> None:
        self._parent: tuple[Typed, ...] = ()

    def read(self, text: str) -> Unit:
        """Return the unit that `text` spells.

        Raises
        ------
        ScpiError
            A syntax error; the path stays where it was.
        """
        header, _, rest = text.partition(" ")
        query = header.endswith("?")
        name = header[:-1] if query else header
        arguments = split_outside(rest, ",") if rest.strip() else ()
        if any(not argument for argument in arguments):
            raise ScpiError(-109)
        if name.startswith("*"):
            return Unit(name.upper(), (), query, arguments)
        typed = read_header(name.removeprefix(":"))
        full = typed if name.startswith(":") else (*self._parent, *typed)
        self._parent = full[:-1]
        return Unit("", full, query, arguments)


def split_message(message: str) -> Iterator[str]:
    """Yield the units of a message, stripped; empty ones between semicolons are skipped."""
    plain = "".join(" " if c in "\t\r\v\f" else c for c in message)
    yield from (unit for unit in split_outside(plain, ";") if unit)


def split_outside(text: str, separator: str) -> tuple[str, ...]:
    """Split at `separator` outside quotes and parentheses; the parts are stripped.

    Raises
    ------
    ScpiError
        -151 for a quote, -102 for a parenthesis that is not closed.
    """
    parts, part, quote, depth = [], "", "", 0
    for character in text:
        if quote:
            quote = "" if character == quote else quote
        elif character in "\"'":
            quote = character
        else:
            depth += (character == "(") - (character == ")")
        if character == separator and not quote and depth == 0:
            parts.append(part.strip())
            part = ""
        else:
            part += character
    if quote:
        raise ScpiError(-151)
    if depth:
        raise ScpiError(-102)
    return (*parts, part.strip())
