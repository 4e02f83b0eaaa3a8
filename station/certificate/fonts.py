"""The embedded fonts of the certificate, and how long a text is in them."""

import re
from functools import lru_cache
from importlib.resources import files
from io import BytesIO

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR = "CertificateRegular"
BOLD = "CertificateBold"
_FILES = {REGULAR: "DejaVuSansCondensed.ttf", BOLD: "DejaVuSansCondensed-Bold.ttf"}
_BREAKS = re.compile(r"[^\S\u00a0\u202f]+")


def register() -> None:
    """Make the shipped fonts known to the PDF writer; safe to repeat.

    The font travels with the program because the bytes of a certificate depend on it.
    """
    known = pdfmetrics.getRegisteredFontNames()
    for name, file in _FILES.items():
        if name not in known:
            content = files("station.certificate").joinpath("fonts", file).read_bytes()
            pdfmetrics.registerFont(TTFont(name, BytesIO(content)))


@lru_cache(maxsize=16384)
def width(text: str, font: str, size: float) -> float:
    """Return the length of `text` in points."""
    return float(pdfmetrics.stringWidth(text, font, size))


def wrap(text: str, font: str, size: float, room: float) -> list[str]:
    """Break `text` into lines no longer than `room` points, not at no-break spaces; too long a word is cut."""
    lines: list[str] = []
    line = ""
    for word in _BREAKS.split(text.strip()):
        trial = f"{line} {word}" if line else word
        if width(trial, font, size) <= room:
            line = trial
            continue
        if line:
            lines.append(line)
        *full, line = _pieces(word, font, size, room)
        lines += full
    return [*lines, line] if line or not lines else lines


def _pieces(word: str, font: str, size: float, room: float) -> list[str]:
    """Cut one word so that every piece fits; at least one letter each, else it would never end."""
    pieces = [""]
    for letter in word:
        if pieces[-1] and width(pieces[-1] + letter, font, size) > room:
            pieces.append("")
        pieces[-1] += letter
    return pieces
