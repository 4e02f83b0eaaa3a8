"""A4 pages filled from the top: a cursor, page turns, headings that come back, and page numbers."""

from collections.abc import Callable
from dataclasses import dataclass, field
from io import BytesIO
from typing import cast

from reportlab.lib.colors import Color, white
from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas

from station.certificate import fonts
from station.certificate.marks import GREY, INK, PALE, RULE

WIDTH, HEIGHT = A4
LEFT, RIGHT, TOP, BOTTOM = 34.0, WIDTH - 34.0, HEIGHT - 26.0, 40.0
ROOM = RIGHT - LEFT
FULL = TOP - BOTTOM - 30.0       # points, what surely fits on a page of its own
SECTION = 13.4                   # points, height of a section heading


@dataclass(frozen=True, slots=True)
class Imprint:
    """What every page repeats, and how many pages there are (0 while they are being counted)."""

    title: str
    number: str
    verdict: str
    warning: str
    pages: int
    log: str = ""      # where the record stands in the log of its station


class Blank:
    """Takes every stroke and keeps none: a layout is tried out on it in a fraction of the time."""

    def __getattr__(self, _name: str) -> "Blank":
        return self

    def __call__(self, *_strokes: object, **_more: object) -> "Blank":
        """Return itself, whatever is asked of it."""
        return self


@dataclass(slots=True)
class Sheet:
    """The document being written; `y` is the upper edge of the free room on this page, points.

    On `trial` nothing is written: only `page` tells in the end how many pages it takes.
    """

    imprint: Imprint
    air: float = 0.0   # points added to the height of every table row, half of it above the text
    trial: bool = False
    y: float = TOP
    page: int = 0
    stream: BytesIO = field(default_factory=BytesIO)
    canvas: Canvas = field(init=False)
    heading: Callable[[], None] | None = None  # drawn again after a page turn inside a table

    def __post_init__(self) -> None:
        fonts.register()
        self.canvas = cast("Canvas", Blank()) if self.trial else self._document()
        self._begin()

    def _document(self) -> Canvas:
        canvas = Canvas(self.stream, pagesize=A4, invariant=1, initialFontName=fonts.REGULAR,  # type: ignore[arg-type]  # the stubs say float
                        lang="en-GB", pageCompression=1)
        canvas.setTitle(f"{self.imprint.title} {self.imprint.number}")
        canvas.setAuthor("station")
        canvas.setSubject(f"Test result of one motor: {self.imprint.verdict}")
        return canvas

    def text(self, x: float, y: float, words: str, size: float, *, font: str = fonts.REGULAR,
             colour: Color = INK, align: str = "left") -> None:
        """Write one line with its baseline at `y`."""
        self.canvas.setFont(font, size)
        self.canvas.setFillColor(colour)
        {"left": self.canvas.drawString, "right": self.canvas.drawRightString,
         "centre": self.canvas.drawCentredString}[align](x, y, words)

    def need(self, height: float) -> None:
        """Turn the page if `height` points are not left on this one."""
        if self.y - height < BOTTOM:
            self._end()
            self.canvas.showPage()
            self._begin()
            if self.heading is not None:
                self.heading()

    def section(self, words: str, keep: float = 20.0, *, left: float = LEFT, room: float = ROOM) -> None:
        """Write a section heading and keep it together with `keep` points of what follows."""
        self.need(SECTION + keep)
        self.y -= SECTION - 3.2
        self.canvas.setFillColor(PALE)
        self.canvas.rect(left, self.y - 2.4, room, 9.4, stroke=0, fill=1)
        self.text(left + 3, self.y, words, 6.8, font=fonts.BOLD)
        self.y -= 3.2

    def paragraph(self, words: str, *, size: float = 6.4, font: str = fonts.REGULAR, indent: float = 0.0,
                  colour: Color = INK) -> None:
        """Write running text across the page, as many lines as it takes."""
        for line in fonts.wrap(words, font, size, ROOM - indent - 6):
            self.need(size * 1.25)
            self.y -= size * 1.25
            self.text(LEFT + 3 + indent, self.y, line, size, font=font, colour=colour)

    def rule(self, *, colour: Color = RULE, width: float = 0.4, left: float = LEFT, room: float = ROOM) -> None:
        """Draw a thin line at the cursor, across the page or a part of it."""
        self.canvas.setStrokeColor(colour)
        self.canvas.setLineWidth(width)
        self.canvas.line(left, self.y, left + room, self.y)

    def fitted(self, x: float, y: float, words: str, room: float, size: float, *, font: str = fonts.REGULAR,
               colour: Color = INK) -> None:
        """Write one line; one longer than `room` is set narrower, never cut and never in smaller type."""
        long = fonts.width(words, font, size)
        self.canvas.saveState()
        self.canvas.setFillColor(colour)
        self.canvas.setFont(font, size)
        line = self.canvas.beginText(x, y)
        if long > room:
            line.setHorizScale(100 * room / long)
        line.textOut(words)
        self.canvas.drawText(line)
        self.canvas.restoreState()

    def finish(self) -> bytes:
        """Write the end mark and return the document."""
        self.text(RIGHT - 50, self._foot, f"end of certificate {self.imprint.number}", 6, colour=GREY, align="right")
        self._end()
        self.canvas.showPage()
        self.canvas.save()
        return self.stream.getvalue()

    def _begin(self) -> None:
        self.page += 1
        self.y = TOP
        if self.imprint.warning:
            self.canvas.setFillColor(INK)
            self.canvas.rect(LEFT, self.y - 11, ROOM, 12, stroke=0, fill=1)
            self.text((LEFT + RIGHT) / 2, self.y - 7.6, self.imprint.warning, 7, font=fonts.BOLD, colour=white,
                      align="centre")
            self.y -= 14
        if self.page > 1:
            self.text(LEFT, self.y - 8, f"{self.imprint.title}   {self.imprint.number}", 8, font=fonts.BOLD)
            self.text(RIGHT, self.y - 8, f"verdict: {self.imprint.verdict}", 8, font=fonts.BOLD, align="right")
            self.y -= 12
            self.rule(colour=INK, width=0.8)
            self.y -= 2

    @property
    def _foot(self) -> float:
        """The baseline of the footer's first line."""
        return BOTTOM - (10 if self.imprint.log else 17)

    def _end(self) -> None:
        y = self._foot
        self.canvas.setStrokeColor(RULE)
        self.canvas.setLineWidth(0.4)
        self.canvas.line(LEFT, y + 8, RIGHT, y + 8)
        self.text(LEFT, y, f"{self.imprint.number}   results relate to this motor only; reproduce in full only", 6,
                  colour=GREY)
        self.text(RIGHT, y, f"page {self.page} of {self.imprint.pages}", 6, colour=GREY, align="right")
        if self.imprint.log:
            self.fitted(LEFT, y - 7, self.imprint.log, ROOM, 6, colour=GREY)
