"""Draws the tables of measurements: one row per characteristic, captures side by side."""

from collections.abc import Sequence
from dataclasses import dataclass

from station.certificate import fonts
from station.certificate.marks import GREY, INK, RULE, result_sign
from station.certificate.rows import ABSENT, Row
from station.certificate.sheet import LEFT, RIGHT, ROOM, Sheet

ACROSS = 4                       # captures side by side; more of them make another table below
_NAME, _UNIT, _TOLERANCE = 108.0, 27.0, 56.0
_JUDGED, _OTHER = 13.7, 6.7      # points, height of a row
_SMALL = 5.5                     # points; the smallest type on the certificate


def judged_table(sheet: Sheet, title: str, rows: Sequence[Row], labels: Sequence[str]) -> None:
    """Draw the judged rows, in each cell value ± U, sign and, under it, the acceptance limits."""
    for start in range(0, len(labels), ACROSS):
        part = labels[start:start + ACROSS]
        shown = [row for row in rows if any(label in row.cells for label in part)]
        _table(sheet, title, shown, part, _Shape(LEFT + _NAME + _UNIT + _TOLERANCE, _JUDGED, judged=True))


def other_table(sheet: Sheet, title: str, rows: Sequence[Row], labels: Sequence[str]) -> None:
    """Draw the rows without limits, a line each."""
    for start in range(0, len(labels), ACROSS):
        part = labels[start:start + ACROSS]
        shown = [row for row in rows if any(label in row.cells for label in part)]
        _table(sheet, title, shown, part, _Shape(LEFT + _NAME + _UNIT, _OTHER, judged=False))


def rest_table(sheet: Sheet, title: str, rows: Sequence[Row], *, judged: bool) -> None:
    """Draw rows that belong to no capture, two or three side by side to save height."""
    across = 2 if judged else 3
    step, height = ROOM / across, (_JUDGED if judged else _OTHER)
    if not rows:
        return
    sheet.section(title, keep=height + 4)
    sheet.y -= 2
    for start in range(0, len(rows), across):
        sheet.need(height)
        for column, row in enumerate(rows[start:start + across]):
            x = LEFT + column * step
            middle = sheet.y - (height / 2 + (2.2 if judged else 1.7))
            _fit(sheet, x + 2, middle, row.name, 92 if judged else 80, 6)
            _fit(sheet, x + 96 if judged else x + 84, middle, row.unit, 24, 6)
            if judged:
                _fit(sheet, x + 122, middle, row.tolerance, 54, 6)
            left = x + (178 if judged else 108)
            _cell(sheet, row, "", left, x + step - 4 - left, height)
        sheet.y -= height
        sheet.rule(width=0.25)


@dataclass(frozen=True, slots=True)
class _Shape:
    first: float    # x of the first capture column, points
    height: float   # of a row, points
    judged: bool


def _table(sheet: Sheet, title: str, rows: Sequence[Row], labels: Sequence[str], shape: _Shape) -> None:
    if not rows:
        return
    sheet.section(title, keep=14 + min(len(rows), 3) * shape.height)
    _heading(sheet, labels, shape)
    sheet.heading = lambda: _heading(sheet, labels, shape)
    column = (RIGHT - shape.first) / ACROSS
    for row, after in zip(rows, [*rows[1:], None], strict=True):
        sheet.need(shape.height)
        middle = sheet.y - (shape.height / 2 + (2.2 if shape.judged else 1.7))
        bold = fonts.BOLD if shape.judged and row.rank < 2 else fonts.REGULAR
        _fit(sheet, LEFT + 2, middle, row.name, _NAME - 4, 6.2, bold)
        _fit(sheet, LEFT + _NAME, middle, row.unit, _UNIT - 3, 6.2)
        if shape.judged:
            _fit(sheet, LEFT + _NAME + _UNIT, middle, row.tolerance, _TOLERANCE - 4, 6.2)
        for index, label in enumerate(labels):
            _cell(sheet, row, label, shape.first + index * column, column - 4, shape.height)
        sheet.y -= shape.height
        if shape.judged or after is None or _stem(after) != _stem(row):  # lines ab, bc, ca stay together
            sheet.rule(width=0.25)
    sheet.heading = None


def _stem(row: Row) -> str:
    return row.name.partition(".")[0]


def _heading(sheet: Sheet, labels: Sequence[str], shape: _Shape) -> None:
    sheet.y -= 8
    sheet.text(LEFT + 2, sheet.y, "characteristic", 6, font=fonts.BOLD)
    sheet.text(LEFT + _NAME, sheet.y, "unit", 6, font=fonts.BOLD)
    if shape.judged:
        sheet.text(LEFT + _NAME + _UNIT, sheet.y, "tolerance", 6, font=fonts.BOLD)
    column = (RIGHT - shape.first) / ACROSS
    for index, label in enumerate(labels):
        _fit(sheet, shape.first + index * column + 9, sheet.y, label, column - 12, 6.4, fonts.BOLD)
    sheet.y -= 3
    sheet.rule(colour=INK, width=0.6)


def _cell(sheet: Sheet, row: Row, label: str, x: float, room: float, height: float) -> None:
    cell = row.cells.get(label)
    if cell is None:
        sheet.text(x + 9, sheet.y - height / 2 - 2, ABSENT, 6, colour=RULE)
        return
    if not cell.result:
        _fit(sheet, x + 9, sheet.y - height / 2 - 1.7, cell.value, room - 9, 6)
        return
    result_sign(sheet.canvas, cell.result, x, sheet.y - 6.6, 5)
    bold = fonts.REGULAR if cell.result == "PASS" else fonts.BOLD
    _fit(sheet, x + 9, sheet.y - 6.6, f"{cell.value}  {cell.result}", room - 9, 6.4, bold)
    _fit(sheet, x + 9, sheet.y - 12.4, cell.acceptance, room - 9, _SMALL, grey=True)


def _fit(sheet: Sheet, x: float, y: float, words: str, room: float, size: float,
         font: str = fonts.REGULAR, *, grey: bool = False) -> None:
    """Write one line; one too long is set narrower, never cut and never in smaller type."""
    long = fonts.width(words, font, size)
    canvas = sheet.canvas
    canvas.saveState()
    canvas.setFillColor(GREY if grey else INK)
    canvas.setFont(font, size)
    line = canvas.beginText(x, y)
    if long > room:
        line.setHorizScale(100 * room / long)
    line.textOut(words)
    canvas.drawText(line)
    canvas.restoreState()
