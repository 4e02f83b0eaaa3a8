"""A4 pages of a report, filled from the top: headings, running text, tables, pictures; numbered "of N"."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from io import BytesIO

from reportlab.lib.colors import Color
from reportlab.lib.pagesizes import A4
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from station.certificate import fonts
from station.certificate.marks import GREY, INK, PALE, RULE

WIDTH, HEIGHT = A4
LEFT, RIGHT, TOP, BOTTOM = 40.0, WIDTH - 40.0, HEIGHT - 36.0, 44.0
ROOM = RIGHT - LEFT
BODY, SMALL = 8.0, 6.5      # points of type


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: its heading, its share of the width, and whether it holds numbers."""

    head: str
    share: float
    number: bool = False


@dataclass(slots=True)
class Pages:
    """The report being written; `y` is the upper edge of the free room on this page, points."""

    title: str
    foot: str
    total: int = 0      # pages, 0 while they are counted
    y: float = TOP
    page: int = 1
    stream: BytesIO = field(default_factory=BytesIO)
    canvas: Canvas = field(init=False)

    def __post_init__(self) -> None:
        fonts.register()
        self.canvas = Canvas(self.stream, pagesize=A4, invariant=1,
                             initialFontName=fonts.REGULAR,  # type: ignore[arg-type]  # the stubs say float
                             lang="en-GB", pageCompression=1)
        self.canvas.setTitle(self.title)
        self.canvas.setAuthor("station")

    def need(self, height: float) -> None:
        """Turn the page if `height` points are not left on this one."""
        if self.y - height < BOTTOM:
            self._end()
            self.page += 1
            self.y = TOP

    def heading(self, words: str, *, size: float = 11.0, keep: float = 40.0) -> None:
        """Write a heading and keep it together with `keep` points of what follows."""
        self.need(size * 2 + keep)
        self.y -= size * 1.7
        self._line(LEFT, words, size, fonts.BOLD)
        self.y -= size * 0.5

    def paragraph(self, words: str, *, font: str = fonts.REGULAR, size: float = BODY, indent: float = 0.0,
                  colour: Color = INK) -> None:
        """Write running text across the page, as many lines as it takes."""
        for line in fonts.wrap(words, font, size, ROOM - indent):
            self.need(size * 1.35)
            self.y -= size * 1.35
            self._line(LEFT + indent, line, size, font, colour)

    def table(self, columns: Sequence[Column], rows: Sequence[Sequence[str]], *, size: float = SMALL) -> None:
        """Write a table; its heads come back after a page turn, and a long cell is set narrower, never cut."""
        height = size * 1.6
        self._heads(columns, size)
        for number, row in enumerate(rows):
            if self.y - height < BOTTOM:
                self.need(height)
                self._heads(columns, size)
            self.y -= height
            if number % 2:
                self.canvas.setFillColor(PALE)
                self.canvas.rect(LEFT, self.y - size * 0.4, ROOM, height, stroke=0, fill=1)
            self._cells(columns, row, size, fonts.REGULAR)
        self.y -= 6

    def picture(self, png: bytes, *, width: float = ROOM) -> None:
        """Place a picture as wide as `width`, narrower where it would not fit on a page."""
        image = ImageReader(BytesIO(png))
        across, high = image.getSize()
        height = min(width * high / across, TOP - BOTTOM - 40)
        width = height * across / high
        self.need(height + 6)
        self.y -= height + 3
        self.canvas.drawImage(image, LEFT, self.y, width, height)
        self.y -= 3

    def finish(self) -> bytes:
        """Return the document."""
        self._end()
        self.canvas.save()
        return self.stream.getvalue()

    def _heads(self, columns: Sequence[Column], size: float) -> None:
        self.need(size * 3.4)
        self.y -= size * 1.6
        self._cells(columns, [column.head for column in columns], size, fonts.BOLD)
        self.y -= size * 0.4
        self.canvas.setStrokeColor(INK)
        self.canvas.setLineWidth(0.6)
        self.canvas.line(LEFT, self.y, RIGHT, self.y)

    def _cells(self, columns: Sequence[Column], row: Sequence[str], size: float, font: str) -> None:
        whole, x = sum(column.share for column in columns), LEFT
        for column, words in zip(columns, row, strict=True):
            room = ROOM * column.share / whole
            long = fonts.width(words, font, size)
            shrink = min(1.0, (room - 5) / long) if long else 1.0
            self._line(x + (room - 3 - long * shrink if column.number else 2), words, size, font, shrink=shrink)
            x += room

    def _line(self, x: float, words: str, size: float, font: str, colour: Color = INK, *, shrink: float = 1.0) -> None:
        self.canvas.setFillColor(colour)
        line = self.canvas.beginText(x, self.y)
        line.setFont(font, size)
        line.setHorizScale(100 * shrink)
        line.textOut(words)
        self.canvas.drawText(line)

    def _end(self) -> None:
        canvas = self.canvas
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.4)
        canvas.line(LEFT, BOTTOM - 8, RIGHT, BOTTOM - 8)
        canvas.setFont(fonts.REGULAR, SMALL)
        canvas.setFillColor(GREY)
        canvas.drawString(LEFT, BOTTOM - 17, self.foot)
        canvas.drawRightString(RIGHT, BOTTOM - 17, f"page {self.page} of {self.total}")
        canvas.showPage()


def document(title: str, foot: str, write: Callable[[Pages], None]) -> bytes:
    """Return the PDF that `write` fills: once to count its pages, once for good; the same words, the same bytes."""
    counted = Pages(title, foot)
    write(counted)
    pages = Pages(title, foot, counted.page)
    write(pages)
    return pages.finish()
