"""Draws the tables of judged and single measurements: a row per characteristic, captures side by side."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

from reportlab.lib.colors import white

from station.certificate import fonts
from station.certificate.marks import GREY, INK, RED, RULE, result_sign
from station.certificate.rows import ABSENT, Cell, Row
from station.certificate.sheet import LEFT, RIGHT, ROOM, Sheet

ACROSS = 4                       # captures side by side; more of them make another table below
SMALL = 5.5                      # points; the smallest type on the certificate
_NAME, _UNIT = 101.0, 23.0       # points, columns of the rows without limits
_LINE, _UNDER, _OTHER = 7.5, 5.7, 6.4  # points: a judged row, the limits under its values, another row
_PER_CAPTURE = "under the value"


@dataclass(frozen=True, slots=True)
class _Columns:
    """Widths before the values of a judged table, points."""

    name: float
    unit: float
    tolerance: float
    accept: float

    @property
    def starts(self) -> tuple[float, float, float, float, float]:
        """Return where name, unit, tolerance, accept and the values begin, from the left edge."""
        ends = accumulate((self.name, self.unit, self.tolerance, self.accept), initial=0.0)
        return tuple(ends)  # type: ignore[return-value]  # five of them


_WIDE = _Columns(_NAME, _UNIT, 44.0, 54.0)
_HALF = _Columns(77.0, 14.0, 49.0, 50.0)


def judged_table(sheet: Sheet, title: str, rows: Sequence[Row], labels: Sequence[str]) -> None:
    """Draw the judged rows; acceptance limits that the captures do not share stand under each value."""
    first = LEFT + _WIDE.starts[-1]
    column = (RIGHT - first) / ACROSS
    for start in range(0, len(labels), ACROSS):
        part = labels[start:start + ACROSS]
        shown = [row for row in rows if any(label in row.cells for label in part)]
        _open(sheet, title, shown, part, first)
        for row in shown:
            shared = row.acceptance(part)
            height = sheet.air + _LINE + (_UNDER if shared is None else 0)
            sheet.need(height)
            _limits(sheet, row, _WIDE, LEFT, _PER_CAPTURE if shared is None else shared)
            for index, label in enumerate(part):
                judged_cell(sheet, row.cells.get(label), first + index * column, column, under=shared is None)
            sheet.y -= height
            sheet.rule(width=0.25)
        sheet.heading = None


def rest_table(sheet: Sheet, title: str, rows: Sequence[Row]) -> None:
    """Draw judged rows that belong to no capture, two side by side."""
    if not rows:
        return
    half = ROOM / 2 - 5
    lefts = (LEFT, LEFT + half + 10)

    def heading() -> None:
        sheet.y -= 7
        for left in lefts:
            _heads(sheet, _HALF, left)
            sheet.text(left + _HALF.starts[-1] + 8, sheet.y, "value ± U", 6, font=fonts.BOLD)
        sheet.y -= 2.4
        sheet.rule(colour=INK, width=0.6)
        sheet.y -= 0.7

    sheet.section(title, keep=10 + 2 * _LINE)
    heading()
    sheet.heading = heading
    for start in range(0, len(rows), 2):
        sheet.need(_LINE + sheet.air)
        for left, row in zip(lefts, rows[start:start + 2], strict=False):
            _limits(sheet, row, _HALF, left, row.acceptance([""]) or "")
            judged_cell(sheet, row.cells[""], left + _HALF.starts[-1], half - _HALF.starts[-1], under=False)
        sheet.y -= _LINE + sheet.air
        sheet.rule(width=0.25)
    sheet.heading = None


def other_table(sheet: Sheet, title: str, rows: Sequence[Row], labels: Sequence[str]) -> None:
    """Draw rows without limits, a line each, every value with its own uncertainty."""
    first = LEFT + _NAME + _UNIT
    column = (RIGHT - first) / ACROSS
    for start in range(0, len(labels), ACROSS):
        part = labels[start:start + ACROSS]
        shown = [row for row in rows if any(label in row.cells for label in part)]
        _open(sheet, title, shown, part, first, judged=False)
        for row in shown:
            sheet.need(_OTHER + sheet.air)
            y = sheet.y - 5 - sheet.air / 2
            sheet.fitted(LEFT + 2, y, row.name, _NAME - 5, 5.8)
            sheet.fitted(LEFT + _NAME, y, row.unit, _UNIT - 3, 5.8)
            for index, label in enumerate(part):
                cell = row.cells.get(label)
                sheet.fitted(first + index * column + 8, y, cell.value if cell else ABSENT, column - 12, 5.8)
            sheet.y -= _OTHER + sheet.air
            sheet.rule(width=0.2)
        sheet.heading = None


def other_rest_table(sheet: Sheet, title: str, rows: Sequence[Row]) -> None:
    """Draw rows without limits that belong to no capture, three side by side."""
    if not rows:
        return
    step = ROOM / 3
    sheet.section(title, keep=2 * _OTHER)
    for start in range(0, len(rows), 3):
        sheet.need(_OTHER + sheet.air)
        for index, row in enumerate(rows[start:start + 3]):
            x, y = LEFT + index * step, sheet.y - 5 - sheet.air / 2
            sheet.fitted(x + 2, y, row.name, 80, 5.8)
            sheet.fitted(x + 86, y, row.unit, 20, 5.8)
            sheet.fitted(x + 108, y, row.cells[""].value, step - 112, 5.8)
        sheet.y -= _OTHER + sheet.air
        sheet.rule(width=0.2)


def judged_cell(sheet: Sheet, cell: Cell | None, x: float, room: float, *, under: bool) -> None:
    """Draw sign, value ± U and the word; a failing one white on a dark field, so that it strikes without colour."""
    y = sheet.y - 5.8 - sheet.air / 2
    if cell is None:
        sheet.text(x + 9, y, ABSENT, 6, colour=RULE)
        return
    failing = cell.result == "FAIL"
    height = sheet.air + _LINE + (_UNDER if under else 0)
    if failing:
        sheet.canvas.setFillColor(RED)
        sheet.canvas.rect(x - 1, sheet.y - height + 0.3, room - 1, height - 0.6, stroke=0, fill=1)
    result_sign(sheet.canvas, cell.result, x + 1, y, 4.2)
    font = fonts.REGULAR if cell.result == "PASS" else fonts.BOLD
    ink = white if failing else INK
    sheet.fitted(x + 8, y, f"{cell.value}  {cell.result}", room - 10, 6, font=font, colour=ink)
    if under:
        sheet.fitted(x + 8, y - 5.6, cell.acceptance, room - 10, SMALL, colour=white if failing else GREY)


def _limits(sheet: Sheet, row: Row, columns: _Columns, left: float, accept: str) -> None:
    """Write name, unit, tolerance and acceptance limits of a judged row."""
    name, unit, tolerance, accepted, _ = (left + start for start in columns.starts)
    y = sheet.y - 5.8 - sheet.air / 2
    below = accept == _PER_CAPTURE
    sheet.fitted(name + 2, y, row.name, columns.name - 5, 6, font=fonts.BOLD if row.rank < 2 else fonts.REGULAR)
    sheet.fitted(unit, y, row.unit, columns.unit - 2, 6)
    sheet.fitted(tolerance, y, row.tolerance, columns.tolerance - 3, 6)
    sheet.fitted(accepted, y, accept, columns.accept - 3, SMALL if below else 6, colour=GREY if below else INK)


def _heads(sheet: Sheet, columns: _Columns, left: float) -> None:
    words = ("characteristic", "unit", "tolerance", "accept")
    for start, word, indent in zip(columns.starts, words, (2, 0, 0, 0), strict=False):
        sheet.fitted(left + start + indent, sheet.y, word, 60, 6, font=fonts.BOLD)


def _open(sheet: Sheet, title: str, rows: Sequence[Row], labels: Sequence[str], first: float, *,
          judged: bool = True) -> None:
    """Write the section title and the column heads, which come back after a page turn."""
    if not rows:
        return

    def heading() -> None:
        sheet.y -= 7
        if judged:
            _heads(sheet, _WIDE, LEFT)
        else:
            sheet.text(LEFT + 2, sheet.y, "characteristic", 6, font=fonts.BOLD)
            sheet.text(LEFT + _NAME, sheet.y, "unit", 6, font=fonts.BOLD)
        column = (RIGHT - first) / ACROSS
        for index, label in enumerate(labels):
            sheet.fitted(first + index * column + 8, sheet.y, label, column - 10, 6, font=fonts.BOLD)
        sheet.y -= 2.4
        sheet.rule(colour=INK, width=0.6)
        sheet.y -= 0.7

    sheet.section(title, keep=10 + min(len(rows), 3) * (_LINE + _UNDER))
    heading()
    sheet.heading = heading
