"""Draws small tables of wrapped texts side by side, or across the page where they are too high for that."""

from collections.abc import Sequence
from dataclasses import dataclass

from station.certificate import fonts
from station.certificate.marks import INK
from station.certificate.sheet import FULL, LEFT, ROOM, SECTION, Sheet

_SIZE, _LINE, _HEAD = 5.8, 6.7, 9.6   # points
_GAP = 10.0                           # points between two tables


@dataclass(frozen=True, slots=True)
class Grid:
    """A table; `heads` may be empty, `widths` say how the columns share the room."""

    title: str
    heads: Sequence[str]
    widths: Sequence[float]
    rows: Sequence[Sequence[str]]

    def starts(self, room: float) -> list[tuple[float, float]]:
        """Return where each column begins and how wide it is, in points."""
        scale = (room - 4) / sum(self.widths)
        return [(2 + scale * sum(self.widths[:i]), scale * width) for i, width in enumerate(self.widths)]

    def cells(self, room: float) -> list[list[list[str]]]:
        """Return for each row and column the lines of text."""
        return [[fonts.wrap(text, fonts.REGULAR, _SIZE, width - 4)
                 for text, (_, width) in zip(row, self.starts(room), strict=True)] for row in self.rows]

    def height(self, room: float) -> float:
        """Return the height with its title, points."""
        lines = sum(max(map(len, row)) for row in self.cells(room))
        return SECTION + (_HEAD if self.heads else 0) + _LINE * lines


def draw_beside(sheet: Sheet, left: Sequence[Grid], right: Sequence[Grid], share: float) -> None:
    """Draw two stacks of tables side by side, the left one on `share` of the room.

    Stacks too high for a page, or one that has nothing beside it, go below each other over the whole room.
    """
    room = share * ROOM - _GAP / 2
    rest = ROOM - room - _GAP
    left, right = ([grid for grid in stack if grid.rows] for stack in (left, right))
    height = max(sum(grid.height(wide) for grid in stack) for stack, wide in ((left, room), (right, rest)))
    if height > FULL or not left or not right:
        for grid in (*left, *right):
            _place(sheet, grid, LEFT, ROOM)
        return
    sheet.need(height)
    top = sheet.y
    for grid in left:
        _place(sheet, grid, LEFT, room)
    sheet.y, bottom = top, sheet.y
    for grid in right:
        _place(sheet, grid, LEFT + room + _GAP, rest)
    sheet.y = min(bottom, sheet.y)


def _place(sheet: Sheet, grid: Grid, left: float, room: float) -> None:
    columns = grid.starts(room)

    def heading() -> None:
        if not grid.heads:
            return
        for (start, width), head in zip(columns, grid.heads, strict=True):
            sheet.fitted(left + start, sheet.y - 7, head, width - 3, _SIZE, font=fonts.BOLD)
        sheet.y -= _HEAD
        sheet.rule(colour=INK, width=0.6, left=left, room=room)

    sheet.section(grid.title, keep=0 if room < ROOM else 24, left=left, room=room)
    heading()
    sheet.heading = heading
    for row in grid.cells(room):
        height = _LINE * max(map(len, row))
        if room == ROOM:
            sheet.need(height)
        for (start, _), lines in zip(columns, row, strict=True):
            for number, line in enumerate(lines):
                sheet.text(left + start, sheet.y - 5.4 - _LINE * number, line, _SIZE)
        sheet.y -= height
    sheet.heading = None
