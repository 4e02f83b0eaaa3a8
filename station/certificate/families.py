"""Draws what has one value per line or sensor as a grid: characteristic down, member and capture across."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from station.certificate import fonts
from station.certificate.marks import INK, PALE, RULE
from station.certificate.rows import ABSENT, Cell, Row
from station.certificate.sheet import LEFT, RIGHT, ROOM, Sheet
from station.certificate.tables import ACROSS, SMALL
from station.motor import LINES, SENSORS

_NAME, _UNIT, _HEIGHT = 71.0, 22.0, 6.2     # points
_FIRST = LEFT + _NAME + _UNIT
_GROUP = (RIGHT - _FIRST) / 3               # points, room of a member
_COLUMN = (_GROUP - 3) / (ACROSS + 1)       # points, room of a capture, and of U


@dataclass(frozen=True, slots=True)
class Family:
    """A characteristic with a value for each of three lines or sensors; `rows` by member."""

    stem: str
    unit: str
    members: tuple[str, ...]
    rows: Mapping[str, Row]

    def cell(self, member: str, label: str) -> Cell | None:
        """Return the cell of one member in one capture."""
        return self.rows[member].cells.get(label) if member in self.rows else None


def sort_families(rows: Sequence[Row]) -> tuple[list[Family], list[Row]]:
    """Return the families of lines, then of sensors, and the rows that belong to none."""
    found: dict[tuple[tuple[str, ...], str, str], dict[str, Row]] = {}
    single = []
    for row in rows:
        stem, _, member = row.name.rpartition(".")
        members = next((group for group in (LINES, SENSORS) if member in group), None)
        if stem and members and any(row.cells.keys() - {""}):
            found.setdefault((tuple(members), stem, row.unit), {})[member] = row
        else:
            single.append(row)
    families = [Family(stem, unit, members, of) for (members, stem, unit), of in found.items()]
    return sorted(families, key=lambda family: family.members != tuple(LINES)), single


def family_table(sheet: Sheet, title: str, families: Sequence[Family], labels: Sequence[str]) -> None:
    """Draw the grid; the uncertainty beside the captures of a member is the largest among them."""
    for start in range(0, len(labels) if families else 0, ACROSS):
        part = labels[start:start + ACROSS]
        sheet.section(title, keep=26 + 3 * _HEIGHT)
        members: tuple[str, ...] = ()
        for number, family in enumerate(families):
            if family.members != members:
                members = family.members
                _turn_to(sheet, members, part, first=number == 0)
            sheet.need(_HEIGHT + sheet.air)
            _row(sheet, family, part, shaded=number % 2 == 1)
        sheet.heading = None


def _turn_to(sheet: Sheet, members: tuple[str, ...], labels: Sequence[str], *, first: bool) -> None:
    """Write the heads of these members, and the captures too unless they stand above on this page."""
    sheet.heading = None
    page = sheet.page
    sheet.need(26 + _HEIGHT)
    _heading(sheet, members, labels if first or sheet.page > page else ())
    sheet.heading = lambda: _heading(sheet, members, labels)


def _heading(sheet: Sheet, members: Sequence[str], labels: Sequence[str]) -> None:
    sheet.y -= 7
    for index, member in enumerate(members):
        sheet.text(_FIRST + index * _GROUP + 3, sheet.y, f".{member}", 6.2, font=fonts.BOLD)
    wrapped = [fonts.wrap(label, fonts.BOLD, SMALL, _COLUMN - 1) for label in labels]
    if labels:
        sheet.text(LEFT + 2, sheet.y, "characteristic", 6, font=fonts.BOLD)
        sheet.text(LEFT + _NAME, sheet.y, "unit", 6, font=fonts.BOLD)
        for index in range(len(members)):
            x = _FIRST + index * _GROUP + 3
            for column, lines in enumerate(wrapped):
                for number, line in enumerate(lines):
                    sheet.text(x + column * _COLUMN, sheet.y - 6.4 * (number + 1), line, SMALL, font=fonts.BOLD)
            sheet.text(x + len(labels) * _COLUMN, sheet.y - 6.4, "U", SMALL, font=fonts.BOLD)
        sheet.y -= 6.4 * max(map(len, wrapped))
    sheet.y -= 2.2
    sheet.rule(colour=INK, width=0.6)
    sheet.y -= 0.7


def _row(sheet: Sheet, family: Family, labels: Sequence[str], *, shaded: bool) -> None:
    height = _HEIGHT + sheet.air
    if shaded:
        sheet.canvas.setFillColor(PALE)
        sheet.canvas.rect(LEFT, sheet.y - height, ROOM, height, stroke=0, fill=1)
    y = sheet.y - 4.9 - sheet.air / 2
    sheet.fitted(LEFT + 2, y, family.stem, _NAME - 4, SMALL)
    sheet.fitted(LEFT + _NAME, y, family.unit, _UNIT - 2, SMALL)
    for index, member in enumerate(family.members):
        x = _FIRST + index * _GROUP
        cells = [family.cell(member, label) for label in labels]
        for column, cell in enumerate(cells):
            sheet.fitted(x + 3 + column * _COLUMN, y, _alone(cell), _COLUMN - 2.5, SMALL)
        sheet.fitted(x + 3 + len(labels) * _COLUMN, y, largest(cells), _COLUMN - 2.5, SMALL, font=fonts.BOLD)
        sheet.canvas.setStrokeColor(RULE)
        sheet.canvas.setLineWidth(0.4)
        sheet.canvas.line(x, sheet.y, x, sheet.y - height)
    sheet.y -= height


def _alone(cell: Cell | None) -> str:
    """A value whose uncertainty stands beside it, or with "± ?" if it has none to stand there."""
    if cell is None:
        return ABSENT
    return cell.value if cell.expanded is None else cell.number


def largest(cells: Sequence[Cell | None]) -> str:
    """Return the largest of the expanded uncertainties as printed, "—" if none is known."""
    known = [(cell.expanded, cell.uncertainty) for cell in cells if cell is not None and cell.expanded is not None]
    return max(known)[1] if known else ABSENT
