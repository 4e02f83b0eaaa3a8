"""Draws a QR code as one filled path, so that it prints as sharp as the printer can."""

from collections.abc import Iterator, Sequence
from functools import lru_cache

import segno
from reportlab.pdfgen.canvas import Canvas
from segno.consts import MODE_BYTE

from station.certificate.marks import INK

QUIET = 4       # modules that must stay white on every side. Source: ISO/IEC 18004, from memory


def draw_code(canvas: Canvas, text: str, capitals: str, x: float, y: float, side: float) -> float:
    """Draw the code of `text` and `capitals`, `side` points wide, lower left corner at (x, y); return a module's width.

    A reader gives both back as one text. They are packed apart, as capitals, digits and a few signs take 5.5 bits each,
    any other text 8; the mode of the first is named, because the library would join two of one mode wrongly.
    Level M: a seventh of the code may be lost. Source: ISO/IEC 18004, from memory.
    """
    rows = _modules(text, capitals)
    module = side / len(rows)
    path = canvas.beginPath()
    for number, row in enumerate(rows, start=1):
        for start, length in _runs(row):
            path.rect(x + start * module, y + side - number * module, length * module, module)
    canvas.setFillColor(INK)
    canvas.drawPath(path, stroke=0, fill=1)
    return module


@lru_cache(maxsize=4)
def _modules(text: str, capitals: str) -> tuple[tuple[int, ...], ...]:
    """Return the rows of the code, 1 for dark; once for all attempts to place a certificate."""
    packed = [(text, MODE_BYTE), capitals]
    code = segno.make_qr(packed, error="m")  # type: ignore[arg-type]  # the stubs know one part
    return tuple(tuple(row) for row in code.matrix)


def _runs(row: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Yield start and length of each run of dark modules."""
    start = None
    for place, dark in enumerate([*row, 0]):
        if dark and start is None:
            start = place
        elif not dark and start is not None:
            yield start, place - start
            start = None
